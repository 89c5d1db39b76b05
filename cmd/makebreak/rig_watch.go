package main

import (
	"context"
	"errors"
	"time"

	"github.com/spf13/cobra"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/commission"
	"makebreak/rig/problem"
	"makebreak/rig/table"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/sequences"
	"makebreak/sequences/setup"
)

// longestWatch is the longest time that can be asked for.
const longestWatch = 24 * time.Hour

func (a *app) rigWatchCommand() *cobra.Command {
	var lasts string
	c := &cobra.Command{
		Use:   "watch",
		Short: "Show levels and contacts live, for wiring up",
		Long: `Show every output's voltage and every line's state, refreshed four times a
second, with the lowest and highest voltage and the count of edges since the
start. Nothing is switched and nothing is logged. Ctrl-C ends it.

On the simulated bench the events of a built-in sequence are repeated meanwhile, as
if somebody worked the unit. They are not where its supply would have to be switched
on.`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			var d time.Duration
			if lasts != "" {
				s, err := unit.Time.Parse(lasts)
				if err != nil || !(s > 0 && s <= longestWatch.Seconds()) {
					return badUsage("--for %q: must be a time above 0 s, at most 24 h, as in 10s", lasts)
				}
				d = capture.FromSeconds(s).Sub(0)
			}
			return a.rigWatch(c.Context(), d)
		},
	}
	a.forms(c, "text")
	c.Flags().StringVar(&lasts, "for", "", "end after a `time`, as in 10s (default: when interrupted)")
	return c
}

// rigWatch shows the rig live until the time has passed or the context is done. On a
// terminal each view is drawn over the one before; elsewhere only the last one is written.
func (a *app) rigWatch(ctx context.Context, lasts time.Duration) error {
	rig, err := a.seenRig()
	if err != nil {
		return err
	}
	if _, err := a.calibrated(rig, rig.Overdue, 0, nil); err != nil {
		return err
	}
	b, events, err := a.openWatched(rig)
	if err != nil {
		return err
	}
	defer b.Close()
	screen := table.Screen{Out: a.out}
	err = commission.Live(ctx, rig, b, lasts, events, func(v *commission.View, last bool) error {
		if drawable(a.out) && a.file == "" {
			if screen.Columns, screen.Rows = a.size(); last {
				screen.Columns, screen.Rows = 0, 0 // all of the last one
			}
			return screen.Draw(v.Text)
		}
		if !last {
			return nil
		}
		return a.print(v.Text)
	})
	if errors.Is(err, context.Canceled) {
		return problem.New(problem.Interrupted, "interrupted")
	}
	return err
}

// openWatched opens the bench to be looked at. A real one is left at rest; of a simulated
// one the events are returned that bring its unit about.
func (a *app) openWatched(rig *wiring.Rig) (*bench.Bench, []string, error) {
	var seq *sequences.Sequence
	if rig.Simulated && rig.ProgrammedSupply() == nil { // a supply stays at its rest
		seq = setup.Demonstration(rig)
	}
	if seq == nil {
		b, err := a.openAtRest(rig)
		return b, nil, err
	}
	b, err := a.openWith(rig, seq, setup.Simulation{RealTime: true}, bench.Opts{})
	if err != nil {
		return nil, nil, err
	}
	a.note("Simulated: the events of %s go round, as if somebody worked the unit", seq.Name)
	var events []string
	for _, s := range seq.Steps {
		events = append(events, s.Cause)
	}
	return b, events, nil
}
