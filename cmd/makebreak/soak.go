package main

import (
	"errors"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"makebreak/rig/problem"
	"makebreak/sequences/journal"
)

// soakOpts are the flags of soak.
type soakOpts struct {
	runOpts
	resume     string
	goOn       bool
	realRig    bool
	waitForRig time.Duration
	keep       journal.Retention
	tellEvery  int
}

func (a *app) soakCommand() *cobra.Command {
	var o soakOpts
	c := &cobra.Command{
		Use:   "soak SEQUENCE",
		Short: "Run a sequence for very many cycles, resumable, with trends and reliability",
		Long: `Run a sequence unattended for very many cycles. The figures of every cycle are
kept. Captures are kept of the first and the last cycles, of one in so many, and of
those that did not pass or in which a figure was higher or lower than ever before
(--keep-bad all: of every such cycle). A capture takes some 1.5 kB of log for a
relay's cycle of 0.3 s and 22 kB for an output's of 12 s.

No cycle that was reported done is lost, whatever ends the soak: a signal, a power
cut, a full disk or a lost rig. --resume goes on with the next cycle. --go-on, for
services, resumes the unit's unfinished soak of the sequence. It begins one where
there is none, and does nothing where one is complete.`,
		Example: `  makebreak soak relay-only --cycles 1000000 --unit RB-017
  makebreak soak --resume last
  makebreak soak job-card.yaml --rig rig.yaml --cycles 50000 --wait-for-rig 10m --yes
  makebreak soak plan --b10 100000 --confidence 90%
  makebreak soak reliability 2026-11-25-lumora.1 2026-11-25-lumora.2`,
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case o.resume != "" && len(args) > 1:
				return problem.New(problem.Usage, "soak --resume takes one sequence at most, the run's own; it stands in the log with the run")
			case o.resume == "" && len(args) != 1:
				return problem.New(problem.Usage, "soak takes one sequence, a built-in name or a file, or --resume RUN; makebreak run --list shows the built-in ones")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			if err := errors.Join(o.check(c), o.checkAccess(), o.bench(a.rig == "")); err != nil {
				return err
			}
			switch {
			case o.resume != "":
				return a.resumeSoak(c, args, &o)
			case o.goOn:
				return a.goOn(c, args[0], &o)
			}
			return a.beginSoak(c, args[0], &o)
		},
	}
	f := c.Flags()
	a.forms(c, allForms...)
	a.allFlag(c.Flags())
	o.runOpts.flags(f)
	f.StringVar(&o.resume, "resume", "", "go on with a `run` that was interrupted; last is the newest")
	f.BoolVar(&o.goOn, "go-on", false, "resume the unit's unfinished soak of the sequence, or begin one")
	f.BoolVar(&o.realRig, "real-rig", false, "refuse the simulated bench, so that a forgotten --rig does not pass (for services)")
	f.DurationVar(&o.waitForRig, "wait-for-rig", 0, "`time` to wait for a rig that does not answer, as in 10m (default: none)")
	f.IntVar(&o.keep.First, "keep-first", 100, "keep the captures of the first `number` of cycles")
	f.IntVar(&o.keep.Last, "keep-last", 100, "keep the captures of the last `number` of cycles")
	f.IntVar(&o.keep.Every, "keep-every", 10_000, "keep one capture in this `number` of cycles, 0 for none")
	o.keep.Bad = 1000
	f.Var((*countOrAll)(&o.keep.Bad), "keep-bad", "keep at most this `number` of captures of cycles that did not pass or drifted, or all")
	f.IntVar(&o.tellEvery, "tell-every", 0, "`number` of cycles between two lines of progress (default: a line every 10 minutes, where there is no terminal)")
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

func (n *countOrAll) rule() string { return "must be a whole number, 0 or more, or all" }

// bench refuses a simulated bench where a real rig was asked for.
func (o *soakOpts) bench(simulated bool) error {
	if o.realRig && simulated {
		return badUsage("--real-rig: this is the simulated bench, which shows nothing of a unit; name the rig's file with --rig")
	}
	return nil
}

func (o *soakOpts) check(c *cobra.Command) error {
	for name, n := range map[string]int{"--keep-first": o.keep.First, "--keep-last": o.keep.Last, "--keep-every": o.keep.Every} {
		if n < 0 {
			return badUsage("%s %d: must be a whole number, 0 or more", name, n)
		}
	}
	if c.Flags().Changed("tell-every") && o.tellEvery < 1 {
		return badUsage("--tell-every %d: must be a whole number, 1 or more", o.tellEvery)
	}
	if o.waitForRig < 0 {
		return badUsage("--wait-for-rig %s: must be 0s or more, for example 10m", o.waitForRig)
	}
	if o.resume != "" && len(o.fields)+len(o.ask)+len(o.require) > 0 {
		return badUsage("--resume goes on with the fields that the run has; makebreak runs --set-field changes them")
	}
	if o.goOn && o.resume != "" {
		return badUsage("use either --go-on or --resume: --go-on finds the run by unit and sequence")
	}
	return nil
}
