package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/hardware"
	"makebreak/rig/machine"
	"makebreak/rig/problem"
	"makebreak/rig/table"
	"makebreak/rig/wiring"
	"makebreak/sequences/journal"
	"makebreak/sequences/progress"
	"makebreak/sequences/record"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
)

// unitRun is the run of one of several units.
type unitRun struct {
	unit     *wiring.Unit
	id       string
	store    *runner.Store // nil: of a soak, which has it
	shown    *progress.Unit
	looked   *looked
	now      func() time.Time
	unstored []*journal.Cycle // that the log could not take
	err      error            // how it ended
}

// runTogether runs a sequence on several units at the same time and reports their runs.
func (a *app) runTogether(ctx context.Context, j *job, o *runOpts) error {
	serials, err := a.serialsOf(ctx, j.units)
	if err != nil {
		return err
	}
	return a.runOn(ctx, j, o, serials)
}

// runOn runs a sequence on units with these serials, by their names in the rig file, at the same
// time, and reports their runs.
func (a *app) runOn(ctx context.Context, j *job, o *runOpts, serials map[string]string) error {
	shown, err := a.show(j, j.cycles, o)
	if err != nil {
		return err
	}
	defer shown.Close()
	looking, err := a.onlookers(j, o)
	if err != nil {
		return err
	}
	defer looking.close()
	db, err := journal.Open(a.log)
	if err != nil {
		return problem.Of(problem.Storage, err)
	}
	defer db.Close()
	a.reportEnd(a.log, "run "+j.seq.Name)
	b, err := a.openTogether(j)
	if err != nil {
		return err
	}
	runs, err := a.beginUnits(db, j, b, serials)
	if err != nil {
		return errors.Join(err, hardware.CloseBench(b))
	}
	a.reportEnd(a.log, runs[0].store.Run.ID())
	shown.Started(j.cycles)
	var watch *machine.Watch // nil: of a simulated bench
	if begin := a.watch(j); begin != nil {
		watch = begin(b)
		runs[0].store.Machine = watch.Seen
	}
	stores := make([]*runner.Store, len(runs))
	t := runner.Together{Rig: j.rig, Sequence: j.seq, OnEvent: shown.Event, OnCycle: shown.Ended}
	for i := range runs {
		r := &runs[i]
		stores[i], r.shown, r.looked, r.now = r.store, shown.Unit(i), looking.runs[i], a.now
		r.shown.Begin(stores[i].Run.Info(), analyze.NoVerdict)
		r.looked.begin(stores[i].Run.Info(), j.doneBefore(i), b)
		opts := runner.Opts{First: 1, Last: j.cycles, StopOnFail: o.stopOnFail, Now: a.now, OnCycle: r.shown.Cycle,
			Calibrations: seenBy(r.unit, j.calibrations), Recorder: stores[i], Measurer: setup.Measurer(j.rig)}
		r.looked.hub.Hears(&opts)
		t.Parts = append(t.Parts, runner.Part{Unit: r.unit, OnEnd: r.over, Opts: opts})
	}
	t.Store = func(cycles [][]*journal.Cycle) error { return runner.AppendAll(stores, cycles) }
	ended := runner.RunTogether(ctx, b, t)
	closeErr := hardware.CloseBench(b)
	shown.End()
	var seen []capture.MachineFact
	if watch != nil {
		seen = watch.End()
	}
	for i := range runs {
		runs[i].finish(ended[i], journal.RunEnd{Ended: a.now(), Machine: seen})
	}
	err = a.finishUnits(db, runs, closeErr)
	return joined(err, shown.WriteFile())
}

// joined is an error of the first one's kind, or of the second's where there is no first.
func joined(err, other error) error {
	switch {
	case err == nil:
		return other
	case other == nil:
		return err
	}
	return problem.Of(problem.KindOf(err), errors.Join(err, other))
}

// over shows that no more is done with the unit, while others go on.
func (r *unitRun) over(err error) {
	r.shown.End()
	r.shown.RigLost(errors.Is(err, bench.ErrLost))
	r.looked.end(r.now(), err)
}

// openTogether opens the bench for a job's units.
func (a *app) openTogether(j *job) (*bench.Bench, error) {
	opts := bench.Opts{Glances: j.glances()}
	if setup.Prompts(j.rig.For(j.units[0]), j.seq) {
		opts.Prompter = a.prompter()
	}
	return setup.OpenTogether(j.rig, j.units, j.seq, j.sim, opts)
}

// beginUnits begins a run for each unit, bound by a mark.
func (a *app) beginUnits(db *journal.DB, j *job, b *bench.Bench, serials map[string]string) ([]unitRun, error) {
	mark := a.mark()
	var runs []unitRun
	for _, u := range j.units {
		run, err := db.Begin(a.unitInfo(j, b, u, serials[u.Name], mark, nil))
		if err != nil {
			return nil, problem.Of(problem.Storage, err)
		}
		runs = append(runs, unitRun{unit: u, id: run.ID(), store: &runner.Store{Run: run}})
	}
	return runs, nil
}

// unitInfo is what the log keeps of one unit's run.
func (a *app) unitInfo(j *job, b *bench.Bench, u *wiring.Unit, serial, mark string, soak *journal.Retention) journal.RunInfo {
	info := a.runInfo(j, b)
	info.Unit, info.Soak = serial, soak
	info.Fields = append(slices.Clone(j.fields), journal.Field{Name: positionField, Value: u.Name}, journal.Field{Name: togetherField, Value: mark})
	info.Calibrations = seenBy(u, info.Calibrations)
	if j.rig.Simulated {
		own := j.sim
		own.Faults = setup.FaultsOf(own.Faults, u.Name)
		info.Faults = own.Planted()
	}
	return info
}

// finish stores how a unit's run ended.
func (r *unitRun) finish(e runner.Ended, end journal.RunEnd) {
	end.Gravest, end.Complete, end.Reason, end.Ending = e.Gravest, e.Err == nil, whyIncomplete(e.Err), capture.EndingOf(e.Err)
	r.err, r.unstored = e.Err, r.store.Unstored
	if err := r.store.Run.Finish(end); err != nil && r.err == nil {
		r.err = problem.Of(problem.Storage, err)
	}
	r.looked.end(end.Ended, r.err)
}

// finishUnits reports the units' runs from the log. What ended one of them comes back, and where all
// came to their ends the gravest verdict counts.
func (a *app) finishUnits(db *journal.DB, runs []unitRun, closeErr error) error {
	var records []*report.Record
	var list []unitLine
	errs := []error{closeErr}
	for i := range runs {
		r := &runs[i]
		id := r.id
		rec, err := db.Find(id)
		if err != nil {
			return errors.Join(problem.Of(problem.Storage, err), r.err)
		}
		one, err := record.Of(rec, db.Path())
		if err != nil {
			return errors.Join(problem.Of(problem.Storage, err), r.err)
		}
		if !one.Complete && one.Reason == "" {
			one.Reason, one.Ending = whyIncomplete(r.err), capture.EndingOf(r.err)
		}
		one.Unstored = record.Unstored(r.unstored)
		records = append(records, one)
		list = append(list, unitLine{r.unit.Name, rec.Unit, rec.Verdict, id})
		a.verdict = a.verdict.Worse(rec.Verdict)
		r.shown.Verdict(rec.Verdict)
		if errors.Is(r.err, bench.ErrLost) {
			r.shown.RigLost(true)
		}
		errs = append(errs, a.unitError(r, id))
	}
	if a.tellRecords != nil {
		errs = append(errs, a.tellRecords(list, records))
	} else {
		errs = append(errs, a.unitResults(list, records))
	}
	err := errors.Join(errs...)
	if err != nil {
		return problem.Of(problem.KindOf(err), err)
	}
	return nil
}

// unitError is how a unit's run ended otherwise than by its end, nil where it was stopped by a
// verdict.
func (a *app) unitError(r *unitRun, id string) error {
	kind := problem.KindOf(r.err)
	switch {
	case r.err == nil:
		return nil
	case errors.Is(r.err, runner.ErrStopped) && kind == problem.Unknown:
		a.note("Unit %s: %v", r.unit.Name, r.err)
		return nil
	case kind == problem.Interrupted:
		return problem.Of(kind, fmt.Errorf("unit %s: interrupted; run %s is in the log, marked as incomplete", r.unit.Name, id))
	case errors.Is(r.err, journal.ErrGone):
		return problem.Of(problem.Storage, r.err)
	}
	return problem.Of(kind, fmt.Errorf("unit %s: %w\nrun %s is in the log, marked as incomplete", r.unit.Name, r.err, id))
}

// unitLine is one unit of those that were tested at the same time.
type unitLine struct {
	place, serial string
	verdict       analyze.Verdict
	run           string
}

// unitResults writes the units' records. As text a line for each unit comes first, and the records
// of those that did not pass, or of all where all figures are asked for.
func (a *app) unitResults(list []unitLine, records []*report.Record) error {
	if a.as != "text" {
		return a.results(records...)
	}
	var shown []*report.Record
	for _, r := range records {
		if r.CauseTable = a.causes; a.all || r.Verdict != analyze.Pass {
			shown = append(shown, r)
		}
	}
	return a.deliver(func(w io.Writer) error {
		page := &table.Page{W: w, Columns: a.width(), Hang: 2}
		if err := table.Write(page, []string{"verdict", "unit", "serial", "run"}, func(row func(...any)) {
			for _, l := range list {
				row(l.verdict.Name(), l.place, l.serial, l.run)
			}
		}); err != nil {
			return err
		}
		if len(shown) < len(records) {
			fmt.Fprintln(page, "\nAll figures of a unit: makebreak report RUN --all")
		}
		if len(shown) > 0 {
			fmt.Fprintln(page)
		}
		return a.write(w, shown)
	})
}
