package measure

import "makebreak/rig/capture"

// Stretch is a time for which an output kept one of its two states.
type Stretch struct {
	High     bool
	From, To capture.Instant // it began at the first sample at From, or with the state measured
}

// Stretches returns what an output did in the state measured last: the times for which it kept
// a state, in order, and how many crossings there were beyond those that part them. It is empty
// where the output has no samples, or is not measured.
func (m *Meter) Stretches(signal string) (all []Stretch, more int) {
	for _, o := range m.outputs {
		if o.signal != signal || o.now.o.n == 0 {
			continue
		}
		for _, s := range o.now.o.spans {
			all = append(all, Stretch{High: s.high, From: s.from, To: s.to})
		}
		return all, o.now.o.more
	}
	return nil, 0
}
