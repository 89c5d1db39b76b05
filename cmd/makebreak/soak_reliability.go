package main

import (
	"fmt"
	"io"
	"math"
	"strconv"

	"github.com/spf13/cobra"

	"makebreak/analyze/reliability"
	"makebreak/rig/problem"
	"makebreak/rig/table"
	"makebreak/sequences/soak"
)

// reliabilityOpts are the flags of soak reliability.
type reliabilityOpts struct {
	confidence percent
	shape      float64
	perYear    float64
	plot       string // file of the probability plot; empty: none
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

--plot draws the boards on Weibull paper, into a file that ends in .svg or .png:
the failed ones at their median ranks, the fitted line with its bounds, the B10
and the boards that were stopped.`,
		Example: `  makebreak soak reliability 2026-11-25.1 2026-11-25.2 2026-11-26.1
  makebreak soak reliability 2026-11-25.1 2026-11-25.2 --plot lives.svg
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
			db, err := a.openLog()
			if err != nil {
				return err
			}
			defer db.Close()
			t, err := soak.Lives(db, args)
			if err != nil {
				return readFailed(err)
			}
			r, err := t.Judge(float64(o.confidence), o.shape)
			if err != nil {
				return problem.Of(problem.Usage, err)
			}
			if err := a.plotLives(o.plot, r); err != nil {
				return err
			}
			return a.deliver(func(w io.Writer) error { return a.writeLives(w, r, &o) })
		},
	}
	a.forms(c, "text", "json")
	f := c.Flags()
	f.Var(&o.confidence, "confidence", "confidence level of the bounds, a `share` as in 90%")
	f.Float64Var(&o.shape, "shape", 0, "Weibull shape known from experience, a `number`")
	f.Float64Var(&o.perYear, "cycles-per-year", 0, "`number` of cycles in a year of use, for the mean time to a dangerous failure")
	f.StringVar(&o.plot, "plot", "", "draw a probability plot into a `file` that ends in .svg or .png")
	return c
}

// cyclesText is a number of cycles to four digits at least.
func cyclesText(x float64) string {
	switch {
	case math.IsNaN(x) || math.IsInf(x, 0):
		return "—"
	case x >= 1000:
		return strconv.FormatFloat(x, 'f', 0, 64)
	}
	return strconv.FormatFloat(x, 'g', 4, 64)
}

func (a *app) writeLives(w io.Writer, r *soak.LifeResult, o *reliabilityOpts) error {
	if a.as == "json" {
		return writeJSON(w, r)
	}
	if err := table.Write(w, []string{"board", "cycles", "ended by"}, func(row func(...any)) {
		for _, u := range r.Units {
			how := "stopped, not failed"
			if u.Failed {
				how = "a failure"
			}
			row(u.Name, cyclesText(u.Cycles), how)
		}
	}); err != nil {
		return err
	}
	c := o.confidence.String()
	fmt.Fprintf(w, "\n%s, %d failed; bounds at %s confidence.\n\n", boardsWord(len(r.Units)), r.Failures, c)
	fmt.Fprintf(w, "If failures come at a constant rate: mean cycles between failures at least %s", cyclesText(r.Mean.AtLeast))
	if r.Failures > 0 {
		fmt.Fprintf(w, ",\n  estimated %s (%s to %s)", cyclesText(r.Mean.Value), cyclesText(r.Mean.Lower), cyclesText(r.Mean.Upper))
	}
	fmt.Fprintln(w, ".")
	if f := r.Fit; f != nil {
		writeFit(w, r)
	} else {
		fmt.Fprintf(w, "%s%s.\n", upperFirst(r.NoFit), map[bool]string{true: "", false: "; --shape gives a shape from experience"}[r.Known != nil])
	}
	if k := r.Known; k != nil {
		fmt.Fprintf(w, "With the shape %g from experience: B10 at least %s cycles, scale at least %s.\n", k.Shape, cyclesText(k.B10AtLeast), cyclesText(k.ScaleAtLeast))
	}
	if err := writeDangerous(w, r, o.perYear); err != nil {
		return err
	}
	if len(r.Doubts) > 0 {
		fmt.Fprintln(w, "\nTo keep in mind")
		for _, d := range r.Doubts {
			fmt.Fprintf(w, "  - %s\n", d)
		}
	}
	return nil
}

func writeFit(w io.Writer, r *soak.LifeResult) {
	f := r.Fit
	line := func(name string, e reliability.Estimate, format func(float64) string) {
		fmt.Fprintf(w, "  %-6s %s (%s to %s by likelihood; %s to %s by information)\n", name, format(e.Value),
			format(e.Likelihood.Lower), format(e.Likelihood.Upper), format(e.Fisher.Lower), format(e.Fisher.Upper))
	}
	three := func(x float64) string { return strconv.FormatFloat(x, 'g', 3, 64) }
	fmt.Fprintln(w, "Weibull distribution by maximum likelihood, boards that were stopped counted as living on:")
	line("shape", f.Shape, three)
	line("scale", f.Scale, cyclesText)
	line("B10", r.B10, cyclesText)
	fmt.Fprintln(w, "\nFor a probability plot (x = ln cycles, y = ln(-ln(1 - share failed)); the line is y = shape·(x - ln scale))")
	_ = table.Write(w, []string{"cycles", "share failed", "x", "y", "line"}, func(row func(...any)) {
		for _, p := range r.Points {
			row(cyclesText(p.Cycles), fmt.Sprintf("%.4f", p.Failed), fmt.Sprintf("%.4f", p.X), fmt.Sprintf("%.4f", p.Y),
				fmt.Sprintf("%.4f", f.Shape.Value*(p.X-math.Log(f.Scale.Value))))
		}
	})
}

// writeDangerous says what ISO 13849-1 makes of the B10, taking every failure as dangerous.
func writeDangerous(w io.Writer, r *soak.LifeResult, perYear float64) error {
	b10, what := r.KnownB10()
	if perYear <= 0 || b10 == 0 {
		return nil
	}
	d, err := reliability.DangerousOf(b10, reliability.Use{DaysPerYear: 365, HoursPerDay: 24, SecondsPerCycle: 365 * 24 * 3600 / perYear})
	if err != nil {
		return problem.Of(problem.Usage, err)
	}
	fmt.Fprintf(w, "%s as B10d, every failure taken as dangerous, %s cycles a year: %s\n", upperFirst(what), cyclesText(perYear), dangerousWords(d))
	return nil
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return string(s[0]-'a'+'A') + s[1:]
}

// dangerousWords say what ISO 13849-1 makes of a B10d.
func dangerousWords(d reliability.Dangerous) string {
	text := fmt.Sprintf("mean time to a dangerous failure %.3g years (%s), replace after %.3g years (ISO 13849-1)", d.Capped, d.Level, d.T10d)
	for _, doubt := range d.Doubts {
		text += "; " + doubt
	}
	return text
}
