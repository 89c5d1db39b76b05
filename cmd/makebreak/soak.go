package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"makebreak/rig/bench"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/setup"
)

// soakOpts are the flags of soak.
type soakOpts struct {
	runOpts
	resume      string
	named       *sequences.Sequence // beside resume; nil: none
	goOn        bool
	waitForRig  time.Duration
	keep        journal.Retention
	tellEvery   int
	keepChanged bool
}

func (a *app) soakCommand() *cobra.Command {
	var o soakOpts
	c := &cobra.Command{
		Use:   "soak SEQUENCE",
		Short: "Run a sequence for very many cycles, resumable, with trends and reliability",
		Long: `Run a sequence unattended for very many cycles. The figures of every cycle are
kept; captures are kept by policy: of the first and the last cycles, of every
K-th, and of those that did not pass or in which a figure went further than ever
(--keep-bad all: of every one, however many). A capture takes some 1.5 kB of log for
a relay's cycle of 0.3 s and 22 kB for an output's of 12 s.

Whatever ends it (a signal, a power cut, a full disk, a lost rig), no cycle that
was reported done is lost, and --resume goes on with the next one. --go-on, for
services, resumes the unit's unfinished soak of the sequence, begins one where
there is none, and does nothing where one is complete.`,
		Example: `  makebreak soak relay-only --cycles 1000000 --unit RB-017
  makebreak soak --resume last
  makebreak soak job-card.yaml --rig rig.yaml --cycles 50000 --wait-for-rig 10m --yes
  makebreak soak plan --b10 100000 --confidence 90%
  makebreak soak reliability 2026-11-25.1 2026-11-25.2`,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case o.resume != "" && len(args) > 1:
				return failed(exitUsage, errors.New("soak --resume takes one sequence at most, the run's own; it stands in the log with the run"))
			case o.resume == "" && len(args) != 1:
				return failed(exitUsage, errors.New("soak takes one sequence, a built-in name or a file, or --resume RUN; makebreak run --list shows the built-in ones"))
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			o.keepChanged = c.Flags().Changed("keep-first") || c.Flags().Changed("keep-last") || c.Flags().Changed("keep-every") || c.Flags().Changed("keep-bad")
			if err := o.check(c); err != nil {
				return err
			}
			if o.resume != "" {
				return a.resumeSoak(c, o.resume, args, &o)
			}
			return a.beginSoak(c, args[0], &o)
		},
	}
	f := c.Flags()
	a.forms(c, allForms...)
	o.runOpts.flags(f)
	f.StringVar(&o.resume, "resume", "", "go on with a `run` that was interrupted; last is the newest")
	f.BoolVar(&o.goOn, "go-on", false, "resume the unit's unfinished soak of the sequence, or begin one")
	f.DurationVar(&o.waitForRig, "wait-for-rig", 0, "`time` to wait for a rig that does not answer, as in 10m (default: none)")
	f.IntVar(&o.keep.First, "keep-first", 100, "keep the captures of the first `number` of cycles")
	f.IntVar(&o.keep.Last, "keep-last", 100, "keep the captures of the last `number` of cycles")
	f.IntVar(&o.keep.Every, "keep-every", 10_000, "keep one capture in this `number` of cycles, 0 for none")
	o.keep.Bad = 1000
	f.Var((*countOrAll)(&o.keep.Bad), "keep-bad", "keep at most this `number` of captures of cycles that did not pass or drifted, or all")
	f.IntVar(&o.tellEvery, "tell-every", 0, "`number` of cycles after each of which a line is written (default: a line every 10 minutes, where there is no terminal)")
	c.AddCommand(a.soakPlanCommand(), a.soakReliabilityCommand())
	return c
}

// countOrAll is a number as it is typed: 1000 or all.
type countOrAll int

func (n *countOrAll) Set(text string) error {
	if text == "all" {
		*n = journal.KeepAll
		return nil
	}
	x, err := strconv.ParseUint(text, 10, 31)
	if err != nil {
		return err
	}
	*n = countOrAll(x)
	return nil
}

func (n *countOrAll) String() string {
	if *n == journal.KeepAll {
		return "all"
	}
	return strconv.Itoa(int(*n))
}

func (n *countOrAll) Type() string { return "number or all" }

func (n *countOrAll) mayStand() string { return "a whole number from 0, or all," }

func (o *soakOpts) check(c *cobra.Command) error {
	for name, n := range map[string]int{"--keep-first": o.keep.First, "--keep-last": o.keep.Last, "--keep-every": o.keep.Every} {
		if n < 0 {
			return failed(exitUsage, fmt.Errorf("%s %d: a whole number from 0 may stand there", name, n))
		}
	}
	if c.Flags().Changed("tell-every") && o.tellEvery < 1 {
		return failed(exitUsage, fmt.Errorf("--tell-every %d: a whole number from 1 may stand there", o.tellEvery))
	}
	if o.waitForRig < 0 {
		return failed(exitUsage, fmt.Errorf("--wait-for-rig %s: a time from 0 may stand there, as in 10m", o.waitForRig))
	}
	if o.goOn && o.resume != "" {
		return failed(exitUsage, errors.New("--go-on and --resume do not go together: --go-on finds the run by unit and sequence"))
	}
	return nil
}

// beginSoak begins a soak, or goes on with one where that is asked for.
func (a *app) beginSoak(c *cobra.Command, name string, o *soakOpts) error {
	if o.goOn {
		return a.goOn(c, name, o)
	}
	j, err := a.prepare(c, name, &o.runOpts)
	if err != nil {
		return err
	}
	db, err := journal.Open(a.log)
	if err != nil {
		return failed(exitLog, err)
	}
	defer db.Close()
	return a.soakIn(c, db, j, o)
}

// soakIn begins a soak in a log.
func (a *app) soakIn(c *cobra.Command, db *journal.DB, j job, o *soakOpts) error {
	s := &soak{app: a, o: o, db: db, seq: j.seq, rig: j.rig, sim: j.sim, planned: j.cycles, next: 1, keep: o.keep}
	return s.start(c.Context(), func(b *bench.Bench) error { return s.begin(b) })
}

// goOn goes on with the unit's soak of a sequence, or begins one where there is none. Two
// programs that are told to at once must not both begin one, so the first holds them.
func (a *app) goOn(c *cobra.Command, name string, o *soakOpts) error {
	seq, err := loadSequence(name)
	if err != nil {
		return err
	}
	db, err := journal.Open(a.log)
	if err != nil {
		return failed(exitLog, err)
	}
	defer db.Close()
	if err := db.TakeUnit(a.unit, seq.Name); err != nil {
		return failed(exitLog, err)
	}
	id, done, err := a.unfinished(db, seq.Name)
	if err != nil || done {
		return err
	}
	if id != "" {
		return a.resumeIn(c, db, id, o)
	}
	j, err := a.prepare(c, name, &o.runOpts)
	if err != nil {
		return err
	}
	return a.soakIn(c, db, j, o)
}

// unfinished finds the unit's newest soak of a sequence: its ID where it is to go on,
// done where it is complete; neither where there is none.
func (a *app) unfinished(db *journal.DB, sequence string) (id string, done bool, err error) {
	runs, err := db.Runs()
	if err != nil {
		return "", false, failed(exitLog, err)
	}
	for _, r := range runs {
		if r.Unit != a.unit || r.Sequence != sequence || !r.Soak || r.State.Partial() {
			continue
		}
		if !r.Complete {
			return r.Run, false, nil
		}
		a.note("Run %s: %d of %d cycles are done, verdict %s; makebreak report %s writes its record", r.Run, r.Cycles, r.Cycles, verdictWord(string(r.Verdict)), r.Run)
		a.verdict = r.Verdict
		return "", true, nil
	}
	return "", false, nil
}

// resumeSoak goes on with a soak in the log; a sequence may be named beside it.
func (a *app) resumeSoak(c *cobra.Command, id string, sequence []string, o *soakOpts) error {
	for _, name := range sequence {
		seq, err := loadSequence(name)
		if err != nil {
			return err
		}
		o.named = seq
	}
	db, err := a.openLogWith(journal.Open)
	if err != nil {
		return err
	}
	defer db.Close()
	return a.resumeIn(c, db, id, o)
}

// resumeIn goes on with a soak in a log.
func (a *app) resumeIn(c *cobra.Command, db *journal.DB, id string, o *soakOpts) error {
	s, err := a.resumed(c, db, id, o)
	if err != nil {
		return err
	}
	return s.start(c.Context(), func(*bench.Bench) error { return s.resume() })
}

// resumed makes a soak ready to go on as it began. It is held before anything else is
// done: another program that goes on with it stays undisturbed.
func (a *app) resumed(c *cobra.Command, db *journal.DB, id string, o *soakOpts) (*soak, error) {
	rec, err := db.Take(id)
	if err != nil {
		return nil, err
	}
	if err := a.canResume(c, rec, o); err != nil {
		return nil, failed(exitUsage, fmt.Errorf("run %s: %w", rec.ID, err))
	}
	if err := soundAfterCut(c.Context(), db, rec); err != nil {
		return nil, err
	}
	seq, err := sequences.Parse(rec.Sequence, []byte(rec.SequenceSource))
	if err != nil {
		return nil, failed(exitLog, fmt.Errorf("run %s: its sequence in the log cannot be read: %w", rec.ID, err))
	}
	rig, err := a.loadRig(seq)
	if err != nil {
		return nil, err
	}
	if rig.Name != rec.Rig || a.rigSource() != rec.RigSource {
		return nil, failed(exitInput, fmt.Errorf("run %s: the rig is not as it was when the run began (%s); name the same rig file with --rig, or begin a new run", rec.ID, rec.Rig))
	}
	sim, err := o.simulation(c, rig)
	if err != nil {
		return nil, err
	}
	if rec.Seed != nil {
		if err := again(&sim, rec); err != nil {
			return nil, err
		}
	}
	last, err := rec.Last()
	if err != nil {
		return nil, failed(exitLog, err)
	}
	a.unit = rec.Unit
	return &soak{app: a, o: o, db: db, rec: rec, seq: seq, rig: rig, sim: sim, planned: rec.Planned, whole: rec.Cycles, next: last + 1, keep: *rec.Soak}, nil
}

// soundAfterCut says why nothing may be added to the log of a run that was cut off. A
// power cut may have damaged it, and weeks of cycles written into a damaged log may be lost.
func soundAfterCut(ctx context.Context, db *journal.DB, rec *journal.RunRecord) error {
	if !rec.Ended.IsZero() {
		return nil
	}
	err := db.CheckPages(ctx)
	if errors.Is(err, journal.ErrCorrupt) {
		err = failed(exitLog, errors.Join(err, fmt.Errorf("run %s does not go on in it; keep the file, and begin a new run in another log, named with --log", rec.ID)))
	}
	return err
}

// again makes the simulated unit the one that the run began with. A service says the
// same faults each time it starts; others would be another unit.
func again(s *setup.Simulation, rec *journal.RunRecord) error {
	if asked := s.Planted(); len(asked) > 0 && !slices.Equal(asked, rec.Faults) {
		return failed(exitUsage, fmt.Errorf("run %s: the faults of its simulated bench stand in the log (%s), and --fault says others (%s); leave --fault out",
			rec.ID, orNone(rec.Faults), orNone(asked)))
	}
	s.Seed = *rec.Seed
	if err := s.Plant(rec.Faults); err != nil {
		return failed(exitLog, fmt.Errorf("run %s: its faults in the log cannot be planted again: %w", rec.ID, err))
	}
	return nil
}

func orNone(texts []string) string {
	if len(texts) == 0 {
		return "none"
	}
	return strings.Join(texts, ", ")
}

// canResume says why a run cannot go on, or not as asked. What it began with may be said
// again, as where a command is repeated with --resume put to it; --go-on begins with it
// where there is nothing to resume, so that it is not compared there.
func (a *app) canResume(c *cobra.Command, rec *journal.RunRecord, o *soakOpts) error {
	switch {
	case rec.Soak == nil:
		return errors.New("it is not a soak; only a soak can go on")
	case rec.State.Partial():
		return journal.ErrPart
	case rec.Complete:
		return fmt.Errorf("it is complete: %d of %d cycles are done", rec.Planned, rec.Planned)
	case c.Flags().Changed("unit") && a.unit != rec.Unit:
		return fmt.Errorf("it is of the unit %q, not %q", rec.Unit, a.unit)
	case o.named != nil && o.named.Name != rec.Sequence:
		return fmt.Errorf("it is of the sequence %s, not %s; leave the sequence out", rec.Sequence, o.named.Name)
	case o.named != nil && string(o.named.Source) != rec.SequenceSource:
		return fmt.Errorf("its sequence stands in the log, and %s is no longer the same; leave it out, or begin a new run", o.named.File)
	case c.Flags().Changed("cycles") && !o.goOn && o.cycles != rec.Planned:
		return fmt.Errorf("the number of its cycles stands in the log (%d), and --cycles says another; leave --cycles out", rec.Planned)
	case c.Flags().Changed("seed") && !o.goOn && rec.Seed != nil && o.seed != *rec.Seed:
		return fmt.Errorf("the seed of its simulated bench stands in the log (%d), and --seed says another; leave --seed out", *rec.Seed)
	}
	return nil
}
