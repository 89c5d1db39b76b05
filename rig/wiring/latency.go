package wiring

import (
	"time"

	"makebreak/rig/capture"
)

// Latency is how late the rig's lines report what one of its drives did, measured
// with the drive looped back into a line. It corrects the instants of events that
// have no reference.
type Latency struct {
	Mean     time.Duration
	Standard time.Duration // standard uncertainty of Mean for a single event
	Drive    string        // that was looped back
	Line     string        // into which
	Pulses   int
	Date     string // as in 2026-03-31
	// Output was looped back as well; empty: none, or its samples came with the edges, as
	// well as that could be told. Samples is how much later than the line's edges they came,
	// and SamplesStandard the standard uncertainty of that.
	Output                   string
	Samples, SamplesStandard time.Duration
	// Filter is what the loop-back found of the converter; nil: nothing.
	Filter *Filter
}

// Filter is what a loop-back found of a converter's filter, for samples that are corrected by
// how late they come. It holds for the chip and the rate that it was measured at, for outputs
// that are followed and lie behind the same resistors.
type Filter struct {
	capture.Filter
	Output string // that was looped back
	Chip   string
	Rate   int // conversions a second, as set
	Steps  int // that showed it
}

// FilterOf is the filter that was measured for an output when its chip follows it; nil: none
// was.
func (r *Rig) FilterOf(output string) *capture.Filter {
	if r.Latency == nil || r.Latency.Filter == nil {
		return nil
	}
	f, o := r.Latency.Filter, r.Output(output)
	looped, chip := r.Output(f.Output), r.Chip(f.Chip)
	if looped == nil || chip == nil || o.Chip != f.Chip || looped.Chip != f.Chip || chip.Rate != f.Rate || looped.Divider != o.Divider {
		return nil
	}
	return &f.Filter
}

// SamplesLate is how much later than edges an output's samples come, and its standard
// uncertainty. It holds for all outputs behind the same resistors as the one that was looped
// back, since it is what a capacitor at them does; 0: nothing is known of it.
func (r *Rig) SamplesLate(output string) (late, standard time.Duration) {
	if r.Latency == nil || r.Latency.Output == "" {
		return 0, 0
	}
	looped, o := r.Output(r.Latency.Output), r.Output(output)
	if looped == nil || looped.Divider != o.Divider {
		return 0, 0
	}
	return r.Latency.Samples, r.Latency.SamplesStandard
}
