package drawnpanel

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
	"makebreak/sequences/survey"
)

// Watch is for how long a survey of a drawn panel watches each state: longer than all that is
// programmed. The product's default is longer still.
const Watch = LongestDelay + LongestPulse + 2*time.Second

// Written surveys the panel with a log in a folder, and returns what is written of it as a
// sequence.
func (p *Panel) Written(ctx context.Context, folder string, times int) (*sequences.Sequence, string, error) {
	ready, err := survey.Prepare(survey.Request{Rig: p.Rig, Times: times, Watch: Watch})
	if err != nil {
		return nil, "", err
	}
	db, err := journal.Open(filepath.Join(folder, "log.db"))
	if err != nil {
		return nil, "", err
	}
	defer db.Close()
	seq := ready.Sequence
	run, err := db.Begin(journal.RunInfo{Sequence: seq.Name, SequenceSource: string(seq.Source), Rig: p.Rig.Name, RigSource: p.RigFile, Started: day, Planned: seq.Cycles, Seed: &p.Seed})
	if err != nil {
		return nil, "", err
	}
	outcome, err := p.Run(ctx, seq, 0, &runner.Store{Run: run})
	if err := errors.Join(err, run.Finish(journal.RunEnd{Ended: day, Gravest: outcome.Gravest, Complete: err == nil})); err != nil {
		return nil, "", err
	}
	rec, err := db.Find(run.ID())
	if err != nil {
		return nil, "", err
	}
	r, err := survey.Read(rec, survey.Settings{Rig: p.Rig})
	if err != nil {
		return nil, "", err
	}
	var text strings.Builder
	if err := r.Sequence(&text, survey.Writing{Limiting: survey.Limiting{Coverage: 0.95, Confidence: 0.95}, Now: day}); err != nil {
		return nil, "", err
	}
	written, err := sequences.Parse("written.yaml", []byte(text.String()))
	return written, text.String(), err
}

// Complaints runs a sequence on the panel and lists what it finds wrong.
func (p *Panel) Complaints(ctx context.Context, seq *sequences.Sequence, take uint64, faults ...sim.Fault) ([]string, analyze.Verdict, error) {
	var log kept
	outcome, err := p.Run(ctx, seq, take, &log, faults...)
	var all []string
	for _, c := range log {
		for _, s := range c.Symptoms {
			all = append(all, fmt.Sprintf("cycle %d: %s %s %s", c.N, s.Kind, s.Signal, s.Event))
		}
		for i := range c.Measurements {
			if m := &c.Measurements[i]; m.Verdict == analyze.Fail || m.Verdict == analyze.Undecided {
				all = append(all, fmt.Sprintf("cycle %d: %s, %s %s at %s: %g ± %g", c.N, m.Verdict, m.Signal, m.Quantity, m.Event, m.Value, m.Expanded)+fmt.Sprint(m.Doubts))
			}
		}
	}
	return all, outcome.Gravest, err
}

// day is when all runs on drawn panels begin.
var day = time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)

// kept keeps cycles in the place of a log.
type kept []*journal.Cycle

func (k *kept) Append(all ...*journal.Cycle) error {
	*k = append(*k, all...)
	return nil
}

// world makes the panel's bench.
func (p *Panel) world(take uint64, faults ...sim.Fault) (*sim.World, error) {
	opts := p.Opts(p.Seed)
	opts.Take, opts.Faults = take, faults
	return sim.NewWorld(p.Rig, opts)
}

// Run runs a sequence on the panel as the product does, in virtual time. Take tells one run from
// the others: what differs from time to time differs, the panel's parts do not. 0 is the survey's.
func (p *Panel) Run(ctx context.Context, seq *sequences.Sequence, take uint64, record runner.Recorder, faults ...sim.Fault) (runner.Outcome, error) {
	world, err := p.world(take, faults...)
	if err != nil {
		return runner.Outcome{}, err
	}
	lines, err := world.Lines(bench.Requests(p.Rig))
	if err != nil {
		return runner.Outcome{}, err
	}
	b, err := bench.Open(p.Rig, world.Bus(), lines, bench.Opts{Outputs: seq.Sampled(p.Rig), Mode: seq.Sample})
	if err != nil {
		return runner.Outcome{}, err
	}
	outcome, err := runner.Run(ctx, b, seq, runner.Opts{First: 1, Last: seq.Cycles, Now: func() time.Time { return day }, Recorder: record,
		Keep: func(*journal.Cycle) journal.Kept { return journal.KeptAll }})
	return outcome, errors.Join(err, b.Close())
}

// Survey has the panel surveyed: all events in all states, so many times, and the table made of
// what the log would have kept.
func (p *Panel) Survey(ctx context.Context, times int) (*survey.Table, error) {
	ready, err := survey.Prepare(survey.Request{Rig: p.Rig, Times: times, Watch: Watch})
	if err != nil {
		return nil, fmt.Errorf("seed %d: %w", p.Seed, err)
	}
	var log kept
	if _, err := p.Run(ctx, ready.Sequence, 0, &log); err != nil {
		return nil, fmt.Errorf("seed %d: %w", p.Seed, err)
	}
	return survey.Of(log.captures, survey.Settings{Rig: p.Rig})
}

// captures are those that the cycles were kept with.
func (k *kept) captures(yield func(survey.Capture, error) bool) {
	for _, c := range *k {
		x := &capture.Capture{}
		err := x.UnmarshalBinary(c.Capture)
		if !yield(survey.Capture{Capture: x, Cycle: c.N, Whole: c.Complete, Anew: c.N == 1}, err) || err != nil {
			return
		}
	}
}

// Told is what a survey says of one output, beside what it does.
type Told struct {
	Panel  *Panel
	Output *Output
	As     string   // the survey's kind and words
	Kind   bool     // the kind is right
	Wrong  []string // what of its conditions, times and counts is not
}

// Right reports whether all that is told of the output is what it does.
func (t *Told) Right() bool { return t.Kind && len(t.Wrong) == 0 }

// Judge compares a survey's table with what the panel's outputs do. The relays that are told
// behind other outputs are said apart.
func (p *Panel) Judge(t *survey.Table) (all []Told, relays []string) {
	for i := range p.Outputs {
		o := &p.Outputs[i]
		told := Told{Panel: p, Output: o, As: "nothing"}
		if b := t.Output(o.Name); b != nil {
			told.As = kindWords(b)
			told.Kind = p.kindRight(o, b)
			told.Wrong = p.actsWrong(o, b, t)
		}
		all = append(all, told)
	}
	for _, k := range p.Relays {
		i := slices.IndexFunc(t.Relays, func(r survey.RelayBehaviour) bool { return r.Plan.Signal == k.Name })
		switch {
		case !p.output(k.Output).Moves(): // nothing could tell
		case i < 0 || !slices.Contains(t.Relays[i].Behind.Outputs, k.Output) || t.Relays[i].Swapped:
			said := "nothing"
			if i >= 0 {
				said = fmt.Sprintf("%s (%d of %d changes, swapped %v)", strings.Join(t.Relays[i].Behind.Outputs, ", "), t.Relays[i].Behind.Matched, t.Relays[i].Behind.Changes, t.Relays[i].Swapped)
			}
			relays = append(relays, fmt.Sprintf("seed %d: %s is behind %s, %s, with the contacts %q and %q; said %s", p.Seed, k.Name, k.Output, p.output(k.Output).Behaviour, k.Make, k.Break, said))
		}
	}
	return all, relays
}

func (p *Panel) output(name string) *Output {
	return &p.Outputs[slices.IndexFunc(p.Outputs, func(o Output) bool { return o.Name == name })]
}

func kindWords(b *survey.Behaviour) string {
	text := string(b.Kind)
	if b.Inverted {
		text += ", inverted"
	}
	if b.Kind == survey.NeverMoves && b.High {
		text += ", high"
	}
	return text
}

// kindRight reports whether the survey's word for an output is one that a person would take for
// what it does.
func (p *Panel) kindRight(o *Output, b *survey.Behaviour) bool {
	is := func(kinds ...survey.Kind) bool { return slices.Contains(kinds, b.Kind) && !b.Inverted }
	switch o.Kind {
	case NeverMoves:
		return is(survey.NeverMoves) && !b.High
	case AlwaysOn:
		return is(survey.NeverMoves) && b.High
	case ArmedBoth, ExitDelay, LateOff:
		return is(survey.FollowsArming)
	case ArmedOne:
		return is(survey.FollowsOne)
	case InvertedBoth:
		return b.Kind == survey.FollowsArming && b.Inverted
	case InvertedOne:
		return b.Kind == survey.FollowsOne && b.Inverted
	case ArmedPulse, DisarmedPulse, DelayedPulse, BellTime, AlarmPulse:
		return is(survey.PulsesAt)
	case ArmedTrain, Chirps, AlarmTrain:
		return is(survey.TrainAt)
	case ArmedFlashing, Strobe:
		return is(survey.FlashesAt)
	case EntryBuzzer: // a few whole pulses and a flashing for so long are the same
		return is(survey.FlashesAt, survey.TrainAt)
	case LatchArmed, LatchAlways, EntryDelay:
		return is(survey.Latches)
	case FollowsAlarm:
		return is(survey.Latches, survey.FollowsEvents)
	case ArmedAndAlarmed:
		return is(survey.FollowsEvents)
	}
	return false
}

// actsWrong says which acts are not what the output does, at each event after each event that
// arms or disarms.
func (p *Panel) actsWrong(o *Output, b *survey.Behaviour, t *survey.Table) (wrong []string) {
	for _, e := range p.Events.All() {
		for _, last := range append(slices.Clone(p.Events.Arms), p.Events.Disarm) {
			is, said := o.at(e, last), saidAt(b, t, e, last)
			if why := p.differs(o, is, said); why != "" {
				wrong = append(wrong, fmt.Sprintf("%s after %s: %s", e, last, why))
			}
		}
	}
	return wrong
}

// at is what the output does at an event; nil: nothing.
func (o *Output) at(event, last string) *Act {
	for i := range o.Acts {
		if a := &o.Acts[i]; a.Event == event && (len(a.While) == 0 || slices.Contains(a.While, last)) {
			return a
		}
	}
	return nil
}

// saidAt is what the survey says that it does. Events that do not arm may decide by the survey
// as well: then all that is said after them counts as not said.
func saidAt(b *survey.Behaviour, t *survey.Table, event, last string) *survey.Effect {
	for i := range b.Acts {
		if a := &b.Acts[i]; a.Event == event && (a.While == nil || slices.Contains(a.While, last) || !slices.Contains(t.Deciding, last)) {
			return &a.Effect
		}
	}
	return nil
}

// rests reports whether the output can be on for good, so that going off can be seen.
func (o *Output) rests() bool {
	return o.Rest || slices.ContainsFunc(o.Acts, func(a Act) bool { return a.Does == GoesOn || a.Does == Flashes && a.For == 0 })
}

// Survey's times may be off by the sampling of eight outputs in turn, the panel's own spread and
// its own delay.
func near(seconds float64, is time.Duration) bool {
	d := time.Duration(seconds*1e9) - is
	return d.Abs() <= 40*time.Millisecond+is/50
}

// differs says how what a survey tells of an event differs from what the output does; empty: it
// does not.
func (p *Panel) differs(o *Output, is *Act, said *survey.Effect) string {
	if said == nil {
		return "nothing is said"
	}
	told := fmt.Sprintf("%s %d × %.3g/%.3g s after %.3g s for %.3g s", said.Do, said.Pulses, said.On, said.Off, said.After, said.Lasts)
	late := func(a *Act) bool { return !near(said.After, a.After+p.unit.Delay) }
	switch {
	case is == nil:
		if said.Do != survey.Stays {
			return told + ", does nothing"
		}
		return ""
	case is.Does == GoesOff && !o.rests():
		if said.Do != survey.Stays {
			return told + ", was off before"
		}
		return ""
	case is.Does == GoesOn && (said.Do != survey.Rises || late(is)), is.Does == GoesOff && said.Do != survey.Falls:
		return told + ", is " + is.String()
	case is.Does == GoesOff && late(is) && is.After > 0:
		return told + ", is " + is.String()
	case is.Does == Pulses && (said.Do != survey.Pulses || late(is) || said.Pulses != is.Pulses || !near(said.On, is.On) || is.Pulses > 1 && !near(said.Off, is.Off)):
		return told + ", is " + is.String()
	case is.Does == Flashes && !p.flashesRight(is, said, late(is)):
		return told + ", is " + is.String()
	}
	return ""
}

// flashesRight compares a flashing. One for a time is as well told as so many pulses, where the
// last one is whole.
func (p *Panel) flashesRight(is *Act, said *survey.Effect, late bool) bool {
	if late || !near(said.On, is.On) || !near(said.Off, is.Off) {
		return false
	}
	if is.For == 0 {
		return said.Do == survey.Flashes && said.Lasts == 0
	}
	all := is.switchings(is.After + is.For)
	end := all[len(all)-1].After - is.After
	whole := near((end - all[len(all)-2].After + is.After).Seconds(), is.On)
	switch said.Do {
	case survey.Flashes:
		return near(said.Lasts, end)
	case survey.Pulses:
		return whole && said.Pulses == len(all)/2
	}
	return false
}
