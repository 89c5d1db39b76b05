package main

import (
	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/sequences"
	"makebreak/sequences/journal"
)

// record makes a run's record from the log alone.
func record(rec *journal.RunRecord, logPath string) (*report.Record, error) {
	plan, about := &analyze.Plan{}, ""
	if seq, err := sequences.Parse(rec.Sequence, []byte(rec.SequenceSource)); err == nil {
		plan, about = &seq.Plan, seq.About
	}
	var symptoms []analyze.Symptom
	for s, err := range rec.Symptoms() {
		if err != nil {
			return nil, err
		}
		symptoms = append(symptoms, s)
	}
	r := &report.Record{
		Run: rec.ID, Unit: rec.Unit, Sequence: rec.Sequence, About: about, By: rec.By, Rig: rec.Rig,
		Started: rec.Started, Cycles: rec.Cycles, Planned: rec.Planned, Complete: rec.Complete, Reason: rec.Reason,
		Verdict: rec.Verdict, Measurements: rec.Measurements(), Findings: analyze.Findings(plan, symptoms, rec.Cycles),
		Counts: rec.Counts, LogPath: logPath, Signals: signals(plan), Steps: plan.Steps,
	}
	if rec.Seed != nil {
		r.Simulated, r.Seed = true, *rec.Seed
	}
	if rec.Notes != "" {
		r.Notes = append(r.Notes, rec.Notes)
	}
	return r, nil
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
