package record

import (
	"slices"

	"makebreak/analyze/compare"
	"makebreak/rig/capture"
	"makebreak/rig/wiring"
	"makebreak/sequences"
	"makebreak/sequences/journal"
)

// sameRig reports whether two runs were surely made on one rig. A simulated one is drawn from
// its seed. A real one is known by its name and the log that it writes: where that was begun
// anew or is another machine's, it may be another rig with the same file.
func sameRig(a, b *journal.RunRecord) bool {
	switch {
	case a.Rig != b.Rig || (a.Seed == nil) != (b.Seed == nil):
		return false
	case a.Seed != nil:
		return *a.Seed == *b.Seed
	}
	return a.LogWord() == b.LogWord()
}

// basisOf says what two runs have in common, and which outputs of one rig have another
// calibration or wiring in the one than in the other.
func basisOf(now, before *journal.RunRecord) (basis compare.Basis, recalibrated []string, err error) {
	if !sameRig(now, before) {
		return compare.Basis{}, nil, nil
	}
	a, b := RigOf(now), RigOf(before)
	if a == nil || b == nil { // a file that cannot be read any more does not say how it was wired
		return compare.Basis{}, nil, nil
	}
	chips := alikeOutputs(a, b)
	x, err := calibrationsAtEnd(now)
	if err != nil {
		return compare.Basis{}, nil, err
	}
	y, err := calibrationsAtEnd(before)
	if err != nil {
		return compare.Basis{}, nil, err
	}
	chains := map[string]bool{}
	for output, alike := range chips {
		chains[output] = alike && sameCalibration(x[output], y[output])
		if !chains[output] && (x[output] != nil || y[output] != nil) {
			recalibrated = append(recalibrated, output)
		}
	}
	slices.Sort(recalibrated)
	behind := outputsBehind(now)
	of := func(known map[string]bool) func(string) bool {
		return func(signal string) bool {
			output, found := behind[signal]
			if !found {
				output = signal
			}
			return known[output]
		}
	}
	return compare.Basis{SameRig: true, SameChain: of(chains), SameChip: of(chips)}, recalibrated, nil
}

// alikeOutputs says of each output of both rigs whether it is wired alike.
func alikeOutputs(a, b *wiring.Rig) map[string]bool {
	alike := map[string]bool{}
	for i := range a.Outputs {
		x := &a.Outputs[i]
		y := b.Output(x.Name)
		alike[x.Name] = y != nil && *x == *y && sameChip(a.Chip(x.Chip), b.Chip(y.Chip))
	}
	return alike
}

// sameChip compares what bears on a converter's readings.
func sameChip(a, b *wiring.Chip) bool {
	if a == nil || b == nil {
		return false
	}
	return a.Model == b.Model && a.Address == b.Address && a.Range == b.Range && a.Rate == b.Rate && a.Mode == b.Mode
}

// several is the state of an output that had more than one calibration in a run. No log has it.
const several capture.CalibrationState = "several"

// calibrationsAtEnd are those that held at the end of a run, by the outputs. Where another one
// came in the course of the run, none is known to hold for its figures.
func calibrationsAtEnd(rec *journal.RunRecord) (map[string]*capture.Calibration, error) {
	all, err := rec.Calibrations()
	if err != nil {
		return nil, err
	}
	last := map[string]*capture.Calibration{}
	for i := range all {
		c := &all[i]
		if was := last[c.Output]; was != nil && !sameCalibration(was, c) {
			c = &capture.Calibration{Output: c.Output, State: several}
		}
		last[c.Output] = c
	}
	return last, nil
}

// sameCalibration reports whether readings were corrected alike: by one calibration, whether it
// was overdue or not, or by none. Of runs from before it was kept nothing is known.
func sameCalibration(a, b *capture.Calibration) bool {
	if a == nil || b == nil || a.State == several || b.State == several {
		return false
	}
	if !a.Applied() || !b.Applied() {
		return !a.Applied() && !b.Applied()
	}
	return a.Meter == b.Meter && a.By == b.By && a.Made == b.Made && a.Rig == b.Rig && a.Gain == b.Gain && a.Offset == b.Offset
}

// outputsBehind are the outputs on which the figures of relays and contacts rest.
func outputsBehind(rec *journal.RunRecord) map[string]string {
	behind := map[string]string{}
	seq, err := sequences.Parse(rec.Sequence, []byte(rec.SequenceSource))
	if err != nil {
		return behind
	}
	for i := range seq.Plan.Outputs {
		o := &seq.Plan.Outputs[i]
		if k := seq.Plan.Relay(o.Relay); k != nil {
			behind[k.Signal], behind[k.Make], behind[k.Break] = o.Signal, o.Signal, o.Signal
		}
	}
	return behind
}
