package sequences

import (
	"fmt"
	"slices"
	"time"

	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
)

// Fits says whether the rig can run the sequence. The error names everything that the rig
// lacks, as *yamlfile.Error at its place in the sequence file, or says that the rig is of
// another kind. Cautions say what can be run and not shown.
func (s *Sequence) Fits(r *wiring.Rig) (cautions []string, err error) {
	if err := s.otherBench(r); err != nil {
		return nil, err
	}
	doc, err := yamlfile.Parse(s.File, s.Source)
	if err != nil {
		doc = &yamlfile.Doc{File: s.File} // not read from a file: no places
	}
	f := &fitter{seq: s, rig: r, doc: doc, left: map[string]bool{}}
	f.signals()
	f.steps()
	f.needs()
	f.sampling()
	f.trains()
	f.repeats()
	f.held()
	f.ramps()
	return f.cautions, doc.Err()
}

// NamedBy reports whether the rig has all outputs, contacts and events that the sequence
// names, and a supply where it moves one. It may not fit for another reason.
func (s *Sequence) NamedBy(r *wiring.Rig) bool {
	doc := &yamlfile.Doc{}
	f := &fitter{seq: s, rig: r, doc: doc}
	f.signals()
	for i := range s.Steps {
		step := &s.Steps[i]
		if step.Supply != nil && r.Supply == nil || step.Supply == nil && r.Cause(step.Cause) == nil {
			return false
		}
	}
	return doc.Err() == nil
}

// fitter compares a sequence with a rig.
type fitter struct {
	seq      *Sequence
	rig      *wiring.Rig
	doc      *yamlfile.Doc
	cautions []string
	noSupply bool            // it has been said that the rig has none
	left     map[string]bool // drives of which it has been said that they stay on
}

// among says which names of the rig can be used.
func (f *fitter) among(read string, names []string) string {
	if len(names) == 0 {
		return "rig " + f.rig.Name + " has none: use another rig or another sequence"
	}
	return words.UseOneOf(read, names) + " (rig " + f.rig.Name + ")"
}

func (f *fitter) signals() {
	outputs := make([]string, len(f.rig.Outputs))
	for i := range f.rig.Outputs {
		outputs[i] = f.rig.Outputs[i].Name
	}
	contacts := make([]string, len(f.rig.Contacts))
	for i := range f.rig.Contacts {
		contacts[i] = f.rig.Contacts[i].Name
	}
	for _, o := range f.seq.Plan.Outputs {
		if !slices.Contains(outputs, o.Signal) {
			f.doc.Report("outputs."+o.Signal, o.Signal, "the rig has no output of this name", f.among(o.Signal, outputs))
		}
	}
	for _, k := range f.seq.Plan.Relays {
		for _, c := range []struct{ key, contact string }{{"make", k.Make}, {"break", k.Break}} {
			if c.contact != "" && !slices.Contains(contacts, c.contact) {
				f.doc.Report("relays."+k.Signal+"."+c.key, c.contact, "the rig has no contact of this name", f.among(c.contact, contacts))
			}
		}
	}
}

func (f *fitter) steps() {
	events := make([]string, len(f.rig.Causes))
	for i := range f.rig.Causes {
		events[i] = f.rig.Causes[i].Event
	}
	reported := map[string]bool{}
	for i, step := range f.seq.Steps {
		path := fmt.Sprintf("steps[%d]", i)
		if step.Supply != nil {
			f.supply(path+".supply", step.Supply)
			continue
		}
		cause := f.rig.Cause(step.Cause)
		switch {
		case reported[step.Cause]:
		case cause == nil:
			f.doc.Report(path+".event", step.Cause, "the rig file does not define this event", f.among(step.Cause, events))
		case cause.Drive != "" && cause.Pulse >= step.Hold:
			f.doc.Report(path+".hold", "", "the drive's pulse lasts "+unit.Time.Format(cause.Pulse.Seconds())+" by the rig file", "must be longer than the pulse")
		default:
			continue
		}
		reported[step.Cause] = true
	}
}

// sets returns the drive that a step sets and leaves, and whether on or off; no name
// where it does neither.
func (f *fitter) sets(step *Step) (drive string, on bool) {
	if mv := step.Supply; mv != nil {
		if s := f.rig.Supply; s != nil && s.Stage != nil {
			on, _ = s.Stage.At(float64(mv.To))
			return s.Stage.Drive, on
		}
		return "", false
	}
	if c := f.rig.Cause(step.Cause); c != nil && c.Drive != "" && c.Pulse == 0 {
		return c.Drive, c.On
	}
	return "", false
}

// rounds is how many cycles must be looked at: the second begins as the first ends, and all
// others as the second.
func (f *fitter) rounds() int {
	if f.seq.Cycles == 1 {
		return 1
	}
	return 2
}

// held refuses steps that would leave a drive on for longer than it may be. What one
// cycle leaves on the next may switch off.
func (f *fitter) held() {
	on := map[string]time.Duration{}
	reported := map[string]bool{}
	for i := range f.rounds() * len(f.seq.Steps) {
		step := f.seq.Steps[i%len(f.seq.Steps)]
		if drive, goesOn := f.sets(&step); goesOn {
			on[drive] += 0 // it may be on already
		} else {
			delete(on, drive)
		}
		for j := range f.rig.Drives {
			d := &f.rig.Drives[j]
			since, isOn := on[d.Name]
			if !isOn {
				continue
			}
			on[d.Name] = since + step.Hold
			if reported[d.Name] || f.left[d.Name] || since+step.Hold <= d.LongestOn {
				continue
			}
			reported[d.Name] = true
			f.doc.Report(fmt.Sprintf("steps[%d].hold", i%len(f.seq.Steps)), "",
				"drive "+d.Name+" would be on for longer than "+unit.Time.Format(d.LongestOn.Seconds()), "make it shorter, or the rig's longest_on longer")
		}
	}
}
