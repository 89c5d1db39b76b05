package picture

import (
	"math"

	"makebreak/analyze"
)

// edgeTime is what an output takes at most to settle at an edge, bounce included, in seconds; what
// is over sooner is no pulse.
const edgeTime = 0.02

// turns are when the output of a train went high and low, in turn, by its samples, in seconds.
func (s *scene) turns() []float64 {
	mid := s.mid()
	if s.output == nil || s.expect.Demand != analyze.Train || math.IsNaN(mid) {
		return nil
	}
	var all []float64
	high, last := false, math.NaN()
	s.points(s.output, s.zero, s.till, func(p sampled) {
		if up := p.v > mid; up != high {
			at := p.at
			if !math.IsNaN(last) && !p.broken {
				at = (at + last) / 2
			}
			if n := len(all); n > 0 && at-all[n-1] < edgeTime {
				all = all[:n-1] // it bounces
			} else {
				all = append(all, at)
			}
			high = up
		}
		last = p.at
	})
	return all
}

// placePhase places how long an output was high, or low between two pulses: the time that was as
// long, the first one of several.
func (s *scene) placePhase(d *Dimension, m *analyze.Measurement) {
	all := s.turns()
	first := 0
	if m.Quantity == analyze.OffTime {
		first = 1
	}
	best := math.Inf(1)
	for i := first; i < len(all); i += 2 {
		to := s.sec(s.till)
		if i+1 < len(all) {
			to = all[i+1]
		} else if m.Bound() != analyze.LowerBound {
			break
		}
		if off := math.Abs(to - all[i] - m.Value); off < best {
			best, d.From, d.To = off, all[i], to
		}
	}
	d.starts, d.ends = m.Signal, m.Signal
}

// placeFlashing places how long an output flashed.
func (s *scene) placeFlashing(d *Dimension, m *analyze.Measurement) {
	if all := s.turns(); len(all) > 0 && !math.IsNaN(m.Value) {
		d.From, d.To, d.starts, d.ends = all[0], all[0]+m.Value, m.Signal, m.Signal
	}
}

// placeAmongTurns places a relay's time at an edge of a train: from the one after which its contact
// closed as long as measured.
func (s *scene) placeAmongTurns(d *Dimension, m *analyze.Measurement, contact string, first int) {
	t := s.of.Capture.Track(contact)
	if t == nil || math.IsNaN(m.Value) {
		return
	}
	all, best := s.turns(), math.Inf(1)
	for i := first; i < len(all); i += 2 {
		for _, e := range t.Edges {
			at := s.sec(e.At)
			if off := math.Abs(at - all[i] - m.Value); e.Closed && off < math.Min(best, edgeTime) {
				best, d.From, d.To, d.ends = off, at-m.Value, at, contact
				d.starts = s.output.Signal
			}
		}
	}
	if d.To < d.From {
		d.From, d.To, d.starts, d.ends = d.To, d.From, d.ends, d.starts
	}
}
