package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"makebreak/analyze"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/hardware"
	"makebreak/rig/machine"
	"makebreak/rig/problem"
	"makebreak/rig/sim"
	"makebreak/rig/unit"
	"makebreak/rig/web"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/exercise"
	"makebreak/sequences/journal"
	"makebreak/sequences/live"
	"makebreak/sequences/progress"
	"makebreak/sequences/record"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
	"makebreak/sequences/soak"
)

// runOpts are the flags of run.
type runOpts struct {
	list, listFaults     bool
	cycles               int
	stopOnFail, yes      bool
	seed                 uint64
	faults               []string
	realTime             bool
	metrics, metricsFile string
	page                 string
	access               web.Access // to what is served
	fields, ask, require []string
}

func (a *app) runCommand() *cobra.Command {
	var o runOpts
	c := &cobra.Command{
		Use:   "run SEQUENCE",
		Short: "Run a sequence on the unit, measure, judge and log it",
		Long: `Run a sequence (a built-in name or a file) on the unit: bring its events about,
sample outputs and contacts, measure and judge every cycle, and log it.`,
		Example: `  makebreak run armed-high
  makebreak run armed-high --fault wrong-address
  makebreak run job-card.yaml --rig rig.yaml --unit 4711 --by "A. Fitter"
  makebreak run --list`,
		Args: func(c *cobra.Command, args []string) error {
			if o.list || o.listFaults {
				if err := a.choice("run --list", "text"); err != nil {
					return err
				}
				return noArguments(c, args)
			}
			if len(args) != 1 {
				return badUsage("run takes one sequence, a built-in name or a file; makebreak run --list shows the built-in ones")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			switch {
			case o.list:
				return a.listSequences()
			case o.listFaults:
				return a.listFaults()
			}
			if err := o.checkAccess(); err != nil {
				return err
			}
			return a.run(c, args[0], &o)
		},
	}
	f := c.Flags()
	f.BoolVar(&o.list, "list", false, "list the built-in sequences")
	f.BoolVar(&o.listFaults, "list-faults", false, "list the faults that the simulated bench can plant")
	o.flags(f)
	a.allFlag(f)
	a.forms(c, allForms...)
	return c
}

// flags are those that run and soak share.
func (o *runOpts) flags(f *pflag.FlagSet) {
	f.IntVar(&o.cycles, "cycles", 0, "`number` of cycles (default: the sequence's)")
	f.BoolVar(&o.stopOnFail, "stop-on-fail", false, "stop after the first cycle that does not pass")
	o.benchFlags(f)
}

// benchFlags are those of all commands that run something on a unit.
func (o *runOpts) benchFlags(f *pflag.FlagSet) {
	f.BoolVar(&o.yes, "yes", false, "accept the safety notes beforehand (for scripts)")
	f.Uint64Var(&o.seed, "seed", 0, "seed of the simulated bench: the same `number` gives the same result (default: a new one)")
	f.StringArrayVar(&o.faults, "fault", nil, "plant a fault on the simulated bench, `NAME[=VALUE][@PLACE]`; may be repeated")
	f.BoolVar(&o.realTime, "real-time", false, "let the simulated bench take as long as a real one")
	f.StringArrayVar(&o.fields, "field", nil, "note a field with the run, `NAME=VALUE`, as in job=1234; may be repeated")
	f.StringArrayVar(&o.ask, "ask-field", nil, "ask at a terminal for the field of this `name`; may be repeated")
	f.StringArrayVar(&o.require, "require-field", nil, "begin no run without the field of this `name`, asked for at a terminal; may be repeated")
	f.StringVar(&o.metrics, "metrics", "", "serve /metrics at an `address` while the run lasts, as in localhost:9110")
	accessFlags(f, &o.access)
	f.StringVar(&o.page, "page", "", "serve the page of what happens now at an `address` while the run lasts, as in localhost:9120")
	f.StringVar(&o.metricsFile, "metrics-file", "", "write the metrics to a `file` for a collector of text files")
}

// checkAccess refuses words on who may reach what is served where nothing is.
func (o *runOpts) checkAccess() error {
	if o.access != (web.Access{}) && o.page == "" && o.metrics == "" {
		return badUsage("--web-config and --insecure say who may read what is served: add --page or --metrics")
	}
	return nil
}

// allFlag is the flag of commands that write records.
func (a *app) allFlag(f *pflag.FlagSet) {
	f.BoolVar(&a.all, "all", false, "show all figures as text, also those that passed")
	f.StringVar(&a.causeFile, "causes", "", "rank causes by the table in a `file` instead of the program's own")
}

func (a *app) listSequences() error {
	return a.table([]string{"sequence", "cycles", "what it shows"}, func(row func(...any)) {
		for _, s := range sequences.Builtin() {
			row(s.Name, s.Cycles, s.About)
		}
	})
}

// listFaults lists the faults of the simulated bench, group by group.
func (a *app) listFaults() error {
	return a.table([]string{"fault", "value", "usually", "at", "what it does"}, func(row func(...any)) {
		var group sim.FaultGroup
		for _, f := range sim.Faults() {
			if f.Group != group {
				group = f.Group
				row("", "", "", "", "")
				row(words.Capital(string(group))+":", "", "", "", group.About())
			}
			row(f.Name, f.Value, f.Usual, f.Place, f.About)
		}
	})
}

// job is what is to be run: a sequence on a rig.
type job struct {
	seq    *sequences.Sequence
	rig    *wiring.Rig
	units  []*wiring.Unit // of the rig, that it runs on at the same time; nil: there is one
	sim    setup.Simulation
	cycles int
	// calibrations are the rig's.
	calibrations []capture.Calibration
	fields       []journal.Field // that are noted with the run
	open         func() (*bench.Bench, error)
	hubs         []*live.Hub     // of who looks at it: one, or one for each of the units
	before       []live.Before   // what each of these has done already; nil: nothing
	trial        *exercise.Trial // where the run is one of an exercise
	goesOn       *resumption     // what the run goes on with; nil: it begins
	notes        string          // what there is to say of it
}

// prepare reads the sequence and the rig, and how they are to be run.
func (a *app) prepare(c *cobra.Command, name string, o *runOpts) (j job, err error) {
	if err := a.loadCauses(); err != nil {
		return j, err
	}
	if j.seq, err = a.loadSequence(name); err != nil {
		return j, err
	}
	if j.cycles, err = o.planned(c, j.seq); err != nil {
		return j, err
	}
	j.seq.Cycles = j.cycles
	if j.rig, j.units, err = a.loadUnits(j.seq); err != nil {
		return j, err
	}
	if j.sim, err = o.simulation(c, j.rig); err != nil {
		return j, err
	}
	if len(j.units) > 0 {
		return j, a.readyUnits(&j)
	}
	if err := a.atPlace(j.sim.Faults); err != nil {
		return j, err
	}
	if err := a.calibrateFor(&j); err != nil {
		return j, err
	}
	a.readyBench(&j)
	return j, nil
}

// readyBench says how the job's bench is opened, with those in mind who look at it.
func (a *app) readyBench(j *job) {
	j.hubs = []*live.Hub{live.New(live.Of{Sequence: j.seq, Rig: j.rig, Now: a.now, Program: version(), Lower: setup.Measurer(j.rig)})}
	rig, seq, s, opts := j.rig, j.seq, j.sim, bench.Opts{Glances: j.glances()}
	j.open = func() (*bench.Bench, error) { return a.openWith(rig, seq, s, opts) }
}

// run runs a sequence and reports it from the log.
func (a *app) run(c *cobra.Command, name string, o *runOpts) error {
	j, err := a.prepare(c, name, o)
	if err != nil {
		return err
	}
	a.announce(&j)
	if err := a.noteFields(c.Context(), &j, o); err != nil {
		return err
	}
	if err := a.cautioned(c.Context(), j.rig, j.seq, o.yes); err != nil {
		return err
	}
	if len(j.units) > 0 {
		return a.runTogether(c.Context(), &j, o)
	}
	return a.runLogged(c.Context(), &j, o)
}

// announce says on a terminal what happens now: the first line that a newcomer sees, after
// what may have been minutes of building the program.
func (a *app) announce(j *job) {
	if _, tty := terminal(a.err); !tty {
		return
	}
	bench := "rig " + j.rig.Name
	if j.rig.Simulated {
		bench = fmt.Sprintf("the simulated bench %s (nothing real is measured)", j.rig.Name)
	}
	a.note("Running %s on %s: %s of %s each", j.seq.Name, bench, words.Count(j.cycles, "cycle"), unit.Time.Format(j.seq.Duration().Seconds()))
}

// planned is how many cycles are to be done.
func (o *runOpts) planned(c *cobra.Command, seq *sequences.Sequence) (int, error) {
	cycles := seq.Cycles
	if c.Flags().Changed("cycles") {
		cycles = o.cycles
	}
	if cycles < 1 {
		return 0, badUsage("--cycles %d: must be a whole number, 1 or more", cycles)
	}
	if cycles > soak.MaxCycle {
		return 0, badUsage("--cycles %d: must be at most %d", cycles, soak.MaxCycle)
	}
	return cycles, nil
}

// cautioned shows the sequence's cautions and, before a real rig acts, waits until
// the usual ones are acknowledged.
func (a *app) cautioned(ctx context.Context, rig *wiring.Rig, seq *sequences.Sequence, yes bool) error {
	for _, text := range seq.Cautions {
		a.note("%s: %s", seq.File, text)
	}
	if rig.Simulated || !setup.Acts(rig, seq) {
		return nil
	}
	return a.acknowledged(ctx, yes)
}

// simulation reads the flags of the simulated bench.
func (o *runOpts) simulation(c *cobra.Command, rig *wiring.Rig) (setup.Simulation, error) {
	s := setup.Simulation{Seed: o.seed, RealTime: o.realTime}
	if !c.Flags().Changed("seed") {
		s.Seed = uint64(rand.Uint32())
	}
	if err := s.Plant(o.faults); err != nil {
		return s, badUsage("--fault: %w", err)
	}
	if !rig.Simulated && (len(o.faults) > 0 || o.realTime || c.Flags().Changed("seed")) {
		return s, badUsage("--fault, --seed and --real-time are for the simulated bench only; leave them out with a real rig")
	}
	return s, nil
}

// runLogged opens the log and the bench, runs, and reports from the log.
func (a *app) runLogged(ctx context.Context, j *job, o *runOpts) error {
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
	db, err := j.openLog(a.log)
	if err != nil {
		return problem.Of(problem.Storage, err)
	}
	defer db.Close()
	a.reportEnd(a.log, "run "+j.seq.Name)
	b, err := j.open()
	if err != nil && j.trial != nil && j.rig.Simulated {
		return exercise.ErrState // what it says otherwise may name what is hidden
	}
	if err != nil {
		return err
	}
	run, first, err := j.begin(db, a.runInfo(j, b))
	if err != nil {
		return errors.Join(problem.Of(problem.Storage, err), hardware.CloseBench(b))
	}
	a.reportEnd(a.log, run.ID())
	if j.trial != nil {
		if err := j.trial.Began(run.ID()); err != nil {
			return errors.Join(err, hardware.CloseBench(b), run.Finish(journal.RunEnd{Ended: a.now(), Reason: whyIncomplete(err), Ending: capture.EndingOf(err)}))
		}
	}
	shown.Begin(run.Info(), analyze.NoVerdict)
	looking.runs[0].begin(run.Info(), j.doneBefore(0), b)
	store := &runner.Store{Run: run, Sealed: j.trial != nil}
	var watch *machine.Watch // nil: of a simulated bench
	if begin := a.watch(j); begin != nil {
		watch = begin(b)
		store.Machine = watch.Seen
	}
	opts := runner.Opts{First: first, Last: first + j.cycles - 1, StopOnFail: o.stopOnFail,
		Now: a.now, Calibrations: j.calibrations, Recorder: store, Measurer: setup.Measurer(j.rig), OnCycle: shown.Cycle, OnEvent: shown.Event}
	j.hubs[0].Hears(&opts)
	outcome, runErr := runner.Run(ctx, b, j.seq, opts)
	closeErr := hardware.CloseBench(b)
	shown.End()
	end := journal.RunEnd{Ended: a.now(), Gravest: j.gravest(outcome.Gravest), Complete: runErr == nil, Reason: whyIncomplete(runErr), Ending: capture.EndingOf(runErr)}
	if watch != nil {
		end.Machine = watch.End()
	}
	if err := run.Finish(end); err != nil && runErr == nil {
		runErr = problem.Of(problem.Storage, err)
	}
	looking.runs[0].end(end.Ended, runErr)
	return a.finish(db, run.ID(), store.Unstored, errors.Join(runErr, closeErr), shown)
}

// show shows a job's runs as the command asks.
func (a *app) show(j *job, cycles int, o *runOpts) (*progress.Shown, error) {
	opts := progress.Opts{Serve: o.metrics, Access: o.access, File: o.metricsFile, Program: version(), Note: a.note}
	if len(j.units) > 0 {
		opts.Units = words.Texts(j.units, func(u *wiring.Unit) string { return u.Name })
	}
	if drawable(a.err) && !a.quiet {
		opts.Terminal, _ = terminal(a.err)
	}
	return progress.New(j.seq, cycles, opts)
}

// runInfo is what the log keeps of a run besides its figures.
func (a *app) runInfo(j *job, b *bench.Bench) journal.RunInfo {
	info := journal.RunInfo{Unit: a.unit, By: a.by, Sequence: j.seq.Name, SequenceSource: string(j.seq.Source),
		Rig: j.rig.Name, RigSource: a.rigSource, Started: a.now(), Planned: j.cycles, Program: version(),
		Calibrations: capture.CalibrationsOf(j.calibrations, b.Sampled()), Fields: j.fields, Notes: j.notes}
	if j.rig.Simulated {
		info.Seed, info.Faults = &j.sim.Seed, j.sim.Planted()
	} else {
		info.Machine = machine.At(hardware.Computer(j.rig, b), info.Started)
	}
	if j.trial != nil {
		return j.trial.Info(info)
	}
	return info
}

// watch returns what begins to watch the computer that a real bench is on; nil: it is simulated.
func (a *app) watch(j *job) func(*bench.Bench) *machine.Watch {
	if j.rig.Simulated {
		return nil
	}
	return func(b *bench.Bench) *machine.Watch { return hardware.Watch(j.rig, b, a.now) }
}

// whyIncomplete is the reason that goes into the log with a run that ended early.
func whyIncomplete(err error) string {
	switch {
	case err == nil:
		return ""
	case errors.Is(err, context.Canceled):
		return "interrupted"
	}
	return err.Error()
}

// finish reports a run from the log. What ended it comes back, with what went wrong since
// and where the run is; else the verdict counts.
func (a *app) finish(db *journal.DB, id string, unstored []*journal.Cycle, runErr error, shown *progress.Shown) error {
	verdict, err := a.reportRun(db, id, unstored, runErr, shown)
	err = errors.Join(err, shown.WriteFile())
	kind := problem.KindOf(runErr)
	switch {
	case errors.Is(runErr, journal.ErrGone):
		return problem.Of(problem.Storage, runErr) // where the run is stands there
	case errors.Is(runErr, runner.ErrStopped) && kind == problem.Unknown:
		a.note("%v", runErr)
	case kind == problem.Interrupted:
		return problem.Of(kind, errors.Join(fmt.Errorf("interrupted; run %s is in the log, marked as incomplete", id), err))
	case runErr != nil:
		return problem.Of(kind, errors.Join(runErr, fmt.Errorf("run %s is in the log, marked as incomplete", id), err))
	}
	if err != nil {
		return problem.Of(problem.KindOf(err), fmt.Errorf("%w\nrun %s is in the log; makebreak report %s writes its record again", err, id, id))
	}
	a.verdict = verdict
	return nil
}

// reportRun writes a run's record from the log, with what is known of its end.
func (a *app) reportRun(db *journal.DB, id string, unstored []*journal.Cycle, runErr error, shown *progress.Shown) (analyze.Verdict, error) {
	rec, err := db.Find(id)
	if err != nil {
		return "", problem.Of(problem.Storage, err)
	}
	shown.Verdict(rec.Verdict)
	if errors.Is(runErr, bench.ErrLost) {
		shown.RigLost(true)
	}
	r, err := record.Of(rec, db.Path())
	if err != nil {
		return "", problem.Of(problem.Storage, err)
	}
	if !r.Complete && r.Reason == "" {
		r.Reason, r.Ending = whyIncomplete(runErr), capture.EndingOf(runErr) // a full disk may have no room for it
	}
	r.Unstored = record.Unstored(unstored)
	if a.tellRecord != nil {
		return rec.Verdict, a.tellRecord(r)
	}
	return rec.Verdict, a.results(r)
}
