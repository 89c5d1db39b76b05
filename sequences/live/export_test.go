package live

import "time"

// Quicken has the hub make states and results as often as it is told to.
func (h *Hub) Quicken(every time.Duration) { h.refresh, h.settle = every, every }

// Hear and MostHearers are the other end of what Tell tells.
var Hear = hear

const MostHearers = mostHearers
