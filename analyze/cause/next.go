package cause

import "makebreak/rig/yamlfile"

// measure is a measurement that could be made next.
type measure struct{}

func (t *Table) readMeasures(n *yamlfile.Node) {}

func (m *model) addNext(all []*hypothesis) {}
