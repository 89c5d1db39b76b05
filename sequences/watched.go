package sequences

import (
	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

// Sampled lists the outputs that the sequence has sampled on a rig; nil means all. A chip
// that follows one output follows the first of them that it has, so those of which
// something is demanded by name come first.
func (s *Sequence) Sampled(r *wiring.Rig) []string {
	var names, free []string
	for i := range s.Plan.Outputs {
		if o := &s.Plan.Outputs[i]; s.Plan.Demands(o) {
			names = append(names, o.Signal)
		} else {
			free = append(free, o.Signal)
		}
	}
	if s.Plan.OthersUnmoved {
		for i := range r.Outputs {
			if o := r.Outputs[i].Name; s.Plan.Output(o) == nil {
				names = append(names, o)
			}
		}
	}
	return append(names, free...)
}

// sampling refuses a sequence that demands something of several outputs of a chip that
// follows one: what is not watched cannot pass.
func (f *fitter) sampling() {
	followed := map[string]string{} // by chip
	unwatched := map[string][]string{}
	var chips []string
	for _, name := range f.seq.Sampled(f.rig) {
		chip := f.follows(name)
		if chip == "" {
			continue
		}
		plan := f.seq.Plan.Output(name)
		switch other, taken := followed[chip]; {
		case !taken:
			followed[chip] = name
		case plan == nil:
			if unwatched[chip] == nil {
				chips = append(chips, chip)
			}
			unwatched[chip] = append(unwatched[chip], name)
		case f.seq.Plan.Demands(plan):
			f.doc.Report("outputs."+name, name, "chip "+chip+" follows "+other+" and can follow one output only", "add sample: sweep to the sequence")
		}
	}
	for _, chip := range chips {
		all := words.And(unwatched[chip])
		f.doc.Report("others", "unmoved", "chip "+chip+" follows "+followed[chip]+", so "+all+" would not be watched",
			"use sample: sweep in the sequence, or for the chip in the rig file; or name "+all+" under outputs with expect: any")
	}
}

// follows returns the output's chip where it follows one output, else nothing.
func (f *fitter) follows(output string) string {
	o := f.rig.Output(output)
	if o == nil {
		return ""
	}
	chip := f.rig.Chip(o.Chip)
	if chip == nil || f.seq.Sample == wiring.Sweep || f.seq.Sample == "" && chip.Mode != wiring.Follow {
		return ""
	}
	return chip.Name
}
