// Package record makes the records that are reported: of a run from its log alone, and of
// a capture file.
package record

import (
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/cause"
	"makebreak/analyze/diagnose"
	"makebreak/analyze/report"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/soak"
)

// Of makes a run's record from the log alone.
func Of(rec *journal.RunRecord, logPath string) (*report.Record, error) {
	plan, about := &analyze.Plan{}, ""
	seq, err := sequences.Parse(rec.Sequence, []byte(rec.SequenceSource))
	if err == nil {
		plan, about = &seq.Plan, seq.About
	}
	rig := RigOf(rec)
	if rig != nil {
		plan.Coils = rig.SwitchesCoils()
	}
	var symptoms diagnose.Gathering
	evidence := cause.New(plan)
	evidence.Unreferenced = rig != nil && err == nil && !seq.Referenced(rig)
	for s, err := range rec.Symptoms() {
		if err != nil {
			return nil, err
		}
		symptoms.Add(s)
		evidence.Symptom(s)
	}
	r := &report.Record{
		Run: rec.ID, RunID: rec.UUID, Program: rec.Program, Unit: rec.Unit, Sequence: rec.Sequence, About: about, By: rec.By, Rig: rec.Rig,
		Started: rec.Started, Ended: rec.Ended, Cycles: rec.Cycles, Planned: rec.Planned, Complete: rec.Complete, Reason: rec.WhyIncomplete(), Ending: rec.Ending, Converters: rec.Converters,
		Verdict: rec.Verdict, Measurements: rec.Measurements(),
		Counts: rec.Counts, LogPath: logPath, Fields: fieldsOf(rec.Fields), Since: sincePrevious(rec, logPath), Plan: plan, Signals: signals(plan), Steps: plan.Steps, CycleStart: cycleStarts(rec),
	}
	if r.Captures, err = rec.Captured(); err != nil {
		return nil, err
	}
	r.Cycle = func(n int) iter.Seq2[analyze.Measurement, error] {
		return rec.MeasurementsIn(analyze.Cycles{First: n, Last: n})
	}
	r.CaptureOf = func(n int) (*capture.Capture, error) { return captureAt(rec, n) }
	if r.Calibrations, err = rec.Calibrations(); err != nil {
		return nil, err
	}
	if r.Machine, err = rec.Machine(); err != nil {
		return nil, err
	}
	r.Cautions = append(r.Cautions, capture.MachineCautions(r.Machine)...)
	if rec.Seed != nil {
		r.Simulated, r.Seed, r.Faults = true, seedOf(rec), rec.Faults
		if rec.Faults == nil {
			r.Cautions = append(r.Cautions, "whether faults were planted on the simulated bench was not kept when this run was made")
		}
	}
	if rec.Notes != "" {
		r.Notes = append(r.Notes, rec.Notes)
	}
	if len(plan.Relays) > 0 {
		r.Cautions = append(r.Cautions, ShortestBounce(bench.EdgeLatency))
	}
	if err := addSoak(r, rec); err != nil {
		return nil, err
	}
	limited, err := rec.Limited()
	if err != nil {
		return nil, err
	}
	if text := unjudged(plan, limited); r.Verdict == analyze.Pass && text != "" {
		r.Cautions = append(r.Cautions, text)
	}
	if report.IsSealed(rec.Faults) || slices.ContainsFunc(rec.Fields, func(f journal.Field) bool { return strings.EqualFold(f.Name, exerciseField) }) {
		return r, nil
	}
	if r.Findings, err = findings(r, &symptoms, plan); err != nil {
		return nil, err
	}
	return r, addEvidence(r, evidence)
}

// addEvidence adds to a record what its causes are ranked by: beside the symptoms its figures,
// of a soak what they come to. They are read only where there is something to explain.
func addEvidence(r *report.Record, e *cause.Evidence) error {
	e.Cycles, e.Complete, e.Counts, e.Converters, e.Ending = r.Cycles, r.Complete, r.Counts, r.Converters, r.Ending
	r.Evidence = e
	if e.Quiet() {
		return nil
	}
	if r.Tally != nil {
		for _, row := range r.Tally.Rows {
			e.Row(row)
		}
		return nil
	}
	for m, err := range r.Measurements {
		if err != nil {
			return err
		}
		e.Figure(&m)
	}
	return nil
}

// exerciseField is noted with a run of an exercise, also on a real rig, of which no fault is
// known.
const exerciseField = "exercise"

// seedOf is the seed of a run's simulated bench; nil: it has none, or what is planted is sealed.
func seedOf(rec *journal.RunRecord) *uint64 {
	if report.IsSealed(rec.Faults) {
		return nil
	}
	return rec.Seed
}

// findings says what a record's symptoms mean, with figures as its table writes them.
func findings(r *report.Record, symptoms *diagnose.Gathering, plan *analyze.Plan) ([]analyze.Finding, error) {
	if symptoms.Empty() {
		return nil, nil
	}
	scale, err := report.Scale(r)
	if err != nil {
		return nil, err
	}
	return symptoms.Findings(plan, r.Cycles, scale), nil
}

// RigOf is the rig that a run was made on, as the unit sees it where it has several; nil where its
// file cannot be read any more.
func RigOf(rec *journal.RunRecord) *wiring.Rig {
	if rec.RigSource != "" {
		rig, err := rigfile.Parse(rec.Rig, []byte(rec.RigSource))
		if err != nil {
			return nil
		}
		if u := rig.Unit(journal.Noted(rec.Fields, journal.PositionField)); u != nil {
			return rig.For(u)
		}
		return rig
	}
	for _, rig := range rigfile.Builtin() {
		if rig.Name == rec.Rig {
			return rig
		}
	}
	return nil
}

// startsAtOnce is of how many cycles the starts are read together.
const startsAtOnce = 1000

// cycleStarts returns what says when a run's cycles began. It is quickest where it is asked
// for one cycle after the other.
func cycleStarts(rec *journal.RunRecord) func(int) (time.Time, error) {
	var held analyze.Cycles
	starts := map[int]time.Time{}
	return func(n int) (time.Time, error) {
		if n >= held.First && n <= held.Last {
			return starts[n], nil
		}
		clear(starts)
		held = analyze.Cycles{First: n, Last: n + startsAtOnce - 1}
		for c, err := range rec.CycleInfosIn(held) {
			if err != nil {
				held = analyze.Cycles{}
				return time.Time{}, err
			}
			starts[c.N] = c.Started
		}
		return starts[n], nil
	}
}

// ShortestBounce says what bounces cannot be detected with time stamps of this standard
// uncertainty: the opening and the closing of one must be told apart.
func ShortestBounce(stamp time.Duration) string {
	return fmt.Sprintf("bounces under %s cannot be detected (twice the uncertainty of an edge's time stamp)",
		unit.Time.Short(2*stamp.Seconds(), 2))
}

// signals is the order in which a plan's signals are shown: each output, then the
// relay behind it with its contacts.
func signals(plan *analyze.Plan) []string {
	var all []string
	for _, o := range plan.Outputs {
		all = append(all, o.Signal)
		if r := plan.Relay(o.Relay); r != nil {
			all = append(all, r.Signal, r.Make, r.Break)
		}
	}
	return all
}

// addSoak adds to a record what is known of a soak.
func addSoak(r *report.Record, rec *journal.RunRecord) error {
	if rec.Soak == nil {
		return nil
	}
	t, err := soak.Tally(rec)
	if err != nil {
		return err
	}
	gaps, err := rec.Interruptions()
	if err != nil {
		return err
	}
	r.Tally = t
	r.Lives = func() (*report.Lives, error) { return soak.OfKind(rec) }
	for _, g := range gaps {
		r.Interruptions = append(r.Interruptions, report.Interruption(g))
	}
	return nil
}
