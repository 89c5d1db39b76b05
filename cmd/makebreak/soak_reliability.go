package main

import (
	"errors"
	"io"

	"github.com/spf13/cobra"

	"makebreak/rig/problem"
	"makebreak/sequences/archive"
	"makebreak/sequences/journal"
	"makebreak/sequences/soak"
)

// reliabilityOpts are the flags of soak reliability.
type reliabilityOpts struct {
	confidence percent
	shape      float64
	perYear    float64
	plot       string // file of the probability plot; empty: none
	logs       []string
}

func (a *app) soakReliabilityCommand() *cobra.Command {
	o := reliabilityOpts{confidence: 0.9}
	c := &cobra.Command{
		Use:   "reliability RUN...",
		Short: "Say what several boards' soaks show about their life",
		Long: `Say what the soaks of several boards, one run each, show about their life. A
board's life ends with its first failed cycle. One that never failed counts as
living on after its last cycle.

With failures a Weibull distribution is fitted. Without any, --shape gives the
shape from experience, and the cycles bound the life.

--log may be given several times, for boards that were soaked on several rigs.

--plot draws the boards on Weibull paper, into a file that ends in .svg or .png:
the failed ones at their median ranks, the fitted line with its bounds, the B10
and the boards that were stopped. --as html writes a page with the same drawing and
all figures.`,
		Example: `  makebreak soak reliability 2026-11-25-lumora.1 2026-11-25-lumora.2 2026-11-26-lumora.1
  makebreak soak reliability 2026-11-25-lumora.1 2026-11-25-lumora.2 --plot lives.svg
  makebreak soak reliability 2026-11-25-lumora.1 2026-11-25-besilo.1 --log a.db --log b.db
  makebreak soak reliability 2026-11-25-lumora.1 2026-11-25-lumora.2 --as html -o lives.html
  makebreak soak reliability last --shape 2`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return badUsage("soak reliability takes one or more runs, as makebreak runs lists them")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			if c.Flags().Changed("shape") && !(o.shape > 0) || c.Flags().Changed("cycles-per-year") && !(o.perYear > 0) {
				return badUsage("--shape and --cycles-per-year must be above 0")
			}
			if err := o.canPlot(); err != nil {
				return err
			}
			t, err := a.lives(o.logs, args)
			if err != nil {
				return err
			}
			r, err := t.Judge(float64(o.confidence), o.shape)
			if err != nil {
				return problem.Of(problem.Usage, err)
			}
			if err := a.plotLives(o.plot, r); err != nil {
				return err
			}
			return a.print(a.chosen(writers{
				"text": func(w io.Writer) error { return r.Text(w, o.perYear) },
				"json": asJSON(r),
				"html": func(w io.Writer) error { return r.HTML(w, o.perYear) },
			}))
		},
	}
	a.forms(c, "text", "json", "html")
	f := c.Flags()
	f.StringArrayVar(&o.logs, "log", []string{a.log}, "log `file`; may be given several times")
	f.Lookup("log").DefValue = a.log
	f.Var(&o.confidence, "confidence", "confidence level of the bounds, a `share` as in 90%")
	f.Float64Var(&o.shape, "shape", 0, "Weibull shape known from experience, a `number`")
	f.Float64Var(&o.perYear, "cycles-per-year", 0, "`number` of cycles in a year of use, for the mean time to a dangerous failure")
	f.StringVar(&o.plot, "plot", "", "draw a probability plot into a `file` that ends in .svg or .png")
	return c
}

// lives reads the runs' lives from the logs.
func (a *app) lives(paths, runs []string) (t *soak.LifeTest, err error) {
	var logs []*journal.DB
	defer func() {
		for _, db := range logs {
			err = errors.Join(err, db.Close())
		}
	}()
	a.wanted = archive.Wanted{Names: runs, Lives: true}
	for _, a.log = range paths {
		db, err := a.openLog()
		if err != nil {
			return nil, err
		}
		logs = append(logs, db)
	}
	t, err = soak.Lives(logs, runs)
	if err != nil {
		return nil, readFailed(err)
	}
	return t, nil
}
