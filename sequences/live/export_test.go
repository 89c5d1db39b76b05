package live

import (
	"context"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/wiring"
)

// Quicken has the hub make states and results as often as it is told to.
func (h *Hub) Quicken(every time.Duration) { h.refresh, h.settle = every, every }

// Forget has the hub take it that nobody has looked for long.
func (h *Hub) Forget() { h.looked = time.Now().Add(-unwatched) }

// Hear and MostHearers are the other end of what Tell tells.
var Hear = hear

const MostHearers = mostHearers

// ShareOf is what a hub takes for its unit of a glance at the whole rig, and the outputs' names.
func ShareOf(rig *wiring.Rig, u *wiring.Unit, sampled []string, g *bench.Glance) (*bench.Glance, []string) {
	s, names := shareOf(rig, u, sampled)
	return s.of(g), names
}

// OfHub is a hub's run for a page in the run's own process.
func OfHub(h *Hub) Source { return hubSource{h} }

type hubSource struct{ hub *Hub }

func (s hubSource) Next(ctx context.Context, since uint64) ([]Run, uint64, error) {
	state, number, err := s.hub.Next(ctx, since)
	if err != nil {
		return nil, 0, err
	}
	return []Run{{State: state, Plan: &s.hub.of.Sequence.Plan}}, number, nil
}
