package main

import (
	"errors"
	"fmt"
	"io"
	"makebreak/rig/table"
	"math"
	"strconv"

	"github.com/spf13/cobra"

	"makebreak/analyze/reliability"
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
board's life ends with its first failed cycle; one that never failed counts as
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
			t, err := a.lives(args)
			if err != nil {
				return err
			}
			r, err := o.judge(t)
			if err != nil {
				return failed(exitUsage, err)
			}
			if err := a.plotLives(r); err != nil {
				return err
			}
			return a.deliver(func(w io.Writer) error { return a.writeLives(w, r) })
		},
	}
	a.forms(c, "text", "json")
	f := c.Flags()
	f.Var(&o.confidence, "confidence", "`share` of the bounds' confidence, as in 90%")
	f.Float64Var(&o.shape, "shape", 0, "`number` that is the Weibull shape known from experience")
	f.Float64Var(&o.perYear, "cycles-per-year", 0, "`number` of cycles in a year of use, for the mean time to a dangerous failure")
	f.StringVar(&o.plot, "plot", "", "draw a probability plot into a `file` that ends in .svg or .png")
	return c
}

// lifeResult is what boards show about their life.
type lifeResult struct {
	o        *reliabilityOpts
	units    []reliability.Unit
	failures int
	mean     reliability.Exponential
	fit      *reliability.Weibull // nil: nothing to fit
	noFit    string               // why not
	b10      reliability.Estimate
	points   []reliability.Point
	known    *reliability.Weibayes // with the shape given
	doubts   []string
	unreal   string // which boards are simulated; empty: none
}

func (o *reliabilityOpts) judge(t *lifeTest) (*lifeResult, error) {
	units := t.units
	r := &lifeResult{o: o, units: units}
	if t.simulated > 0 {
		r.unreal = fmt.Sprintf("simulated: %s of %d; nothing real was measured of them", boardsWord(t.simulated), len(units))
		r.doubts = append(r.doubts, r.unreal)
	}
	r.doubts = append(r.doubts, t.doubts...)
	for _, u := range units {
		if u.Failed {
			r.failures++
		}
	}
	c := float64(o.confidence)
	var err error
	if r.mean, err = reliability.ExponentialOfUnits(units, c); err != nil {
		return nil, err
	}
	r.doubts = append(r.doubts, r.mean.Doubts...)
	switch w, err := reliability.FitWeibull(units, c); {
	case errors.Is(err, reliability.ErrNoFailures):
		r.noFit = "no board has failed: no Weibull distribution can be fitted"
	case errors.Is(err, reliability.ErrNoSpread):
		r.noFit = "all failures came at one and the last count of cycles: no Weibull distribution can be fitted"
	case err != nil:
		return nil, err
	default:
		r.fit = &w
		r.doubts = append(r.doubts, w.Doubts...)
		if r.b10, err = w.Life(0.1); err != nil {
			return nil, err
		}
	}
	if r.points, err = reliability.Points(units); err != nil {
		return nil, err
	}
	if o.shape > 0 {
		k, err := reliability.WeibayesOf(units, o.shape, c)
		if err != nil {
			return nil, err
		}
		r.known = &k
		r.doubts = append(r.doubts, k.Doubts...)
	}
	r.doubts = unique(r.doubts)
	return r, nil
}

func unique(all []string) []string {
	var out []string
	seen := map[string]bool{}
	for _, s := range all {
		if !seen[s] {
			out = append(out, s)
		}
		seen[s] = true
	}
	return out
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

func (a *app) writeLives(w io.Writer, r *lifeResult) error {
	if a.as == "json" {
		return writeJSON(w, r.object())
	}
	if err := table.Write(w, []string{"board", "cycles", "ended by"}, func(row func(...any)) {
		for _, u := range r.units {
			how := "stopped, not failed"
			if u.Failed {
				how = "a failure"
			}
			row(u.Name, cyclesText(u.Cycles), how)
		}
	}); err != nil {
		return err
	}
	c := r.o.confidence.String()
	fmt.Fprintf(w, "\n%s, %d failed; bounds at %s confidence.\n\n", boardsWord(len(r.units)), r.failures, c)
	fmt.Fprintf(w, "If failures come at a constant rate: mean cycles between failures at least %s", cyclesText(r.mean.AtLeast))
	if r.failures > 0 {
		fmt.Fprintf(w, ",\n  estimated %s (%s to %s)", cyclesText(r.mean.Value), cyclesText(r.mean.Lower), cyclesText(r.mean.Upper))
	}
	fmt.Fprintln(w, ".")
	if f := r.fit; f != nil {
		r.writeFit(w, f)
	} else {
		fmt.Fprintf(w, "%s%s.\n", upperFirst(r.noFit), map[bool]string{true: "", false: "; --shape gives a shape from experience"}[r.known != nil])
	}
	if k := r.known; k != nil {
		fmt.Fprintf(w, "With the shape %g from experience: B10 at least %s cycles, scale at least %s.\n", k.Shape, cyclesText(k.B10AtLeast), cyclesText(k.ScaleAtLeast))
	}
	if err := r.writeDangerous(w); err != nil {
		return err
	}
	if len(r.doubts) > 0 {
		fmt.Fprintln(w, "\nTo keep in mind")
		for _, d := range r.doubts {
			fmt.Fprintf(w, "  - %s\n", d)
		}
	}
	return nil
}

func (r *lifeResult) writeFit(w io.Writer, f *reliability.Weibull) {
	line := func(name string, e reliability.Estimate, format func(float64) string) {
		fmt.Fprintf(w, "  %-6s %s (%s to %s by likelihood; %s to %s by information)\n", name, format(e.Value),
			format(e.Likelihood.Lower), format(e.Likelihood.Upper), format(e.Fisher.Lower), format(e.Fisher.Upper))
	}
	three := func(x float64) string { return strconv.FormatFloat(x, 'g', 3, 64) }
	fmt.Fprintln(w, "Weibull distribution by maximum likelihood, boards that were stopped counted as living on:")
	line("shape", f.Shape, three)
	line("scale", f.Scale, cyclesText)
	line("B10", r.b10, cyclesText)
	fmt.Fprintln(w, "\nFor a probability plot (x = ln cycles, y = ln(-ln(1 - share failed)); the line is y = shape·(x - ln scale))")
	_ = table.Write(w, []string{"cycles", "share failed", "x", "y", "line"}, func(row func(...any)) {
		for _, p := range r.points {
			row(cyclesText(p.Cycles), fmt.Sprintf("%.4f", p.Failed), fmt.Sprintf("%.4f", p.X), fmt.Sprintf("%.4f", p.Y),
				fmt.Sprintf("%.4f", f.Shape.Value*(p.X-math.Log(f.Scale.Value))))
		}
	})
}

// b10Known is the B10 that may be used: what the boards show by a shape from
// experience, or the fit's lower bound.
func (r *lifeResult) b10Known() (b10 float64, what string) {
	switch {
	case r.known != nil:
		return r.known.B10AtLeast, "the B10 with the shape from experience"
	case r.fit != nil:
		return r.b10.Likelihood.Lower, "the lower bound of the B10"
	}
	return 0, ""
}

// writeDangerous says what ISO 13849-1 makes of the B10, taking every failure as dangerous.
func (r *lifeResult) writeDangerous(w io.Writer) error {
	b10, what := r.b10Known()
	if r.o.perYear <= 0 || b10 == 0 {
		return nil
	}
	d, err := reliability.DangerousOf(b10, reliability.Use{DaysPerYear: 365, HoursPerDay: 24, SecondsPerCycle: 365 * 24 * 3600 / r.o.perYear})
	if err != nil {
		return failed(exitUsage, err)
	}
	fmt.Fprintf(w, "%s as B10d, every failure taken as dangerous, %s cycles a year: %s\n", upperFirst(what), cyclesText(r.o.perYear), dangerousWords(d))
	return nil
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return string(s[0]-'a'+'A') + s[1:]
}

// lifeObject is the JSON form.
type lifeObject struct {
	Confidence float64      `json:"confidence"`
	Boards     []boardLife  `json:"boards"`
	Failures   int          `json:"failures"`
	MeanCycles *float64     `json:"mean_cycles_between_failures"`
	MeanAtLest *float64     `json:"mean_at_least"`
	Shape      *estimateOut `json:"shape"`
	Scale      *estimateOut `json:"scale"`
	B10        *estimateOut `json:"b10"`
	B10AtLeast *float64     `json:"b10_at_least"`
	Points     []pointOut   `json:"points"`
	Doubts     []string     `json:"doubts"`
}

type boardLife struct {
	Board  string  `json:"board"`
	Cycles float64 `json:"cycles"`
	Failed bool    `json:"failed"`
}

type estimateOut struct {
	Value float64 `json:"value"`
	Lower float64 `json:"lower"`
	Upper float64 `json:"upper"`
}

type pointOut struct {
	Cycles float64 `json:"cycles"`
	Failed float64 `json:"share_failed"`
	X      float64 `json:"x"`
	Y      float64 `json:"y"`
}

func finiteOrNil(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

func (r *lifeResult) object() lifeObject {
	o := lifeObject{Confidence: float64(r.o.confidence), Failures: r.failures, MeanCycles: finiteOrNil(r.mean.Value), MeanAtLest: finiteOrNil(r.mean.AtLeast),
		Points: []pointOut{}, Doubts: append([]string{}, r.doubts...)}
	for _, u := range r.units {
		o.Boards = append(o.Boards, boardLife{u.Name, u.Cycles, u.Failed})
	}
	if r.fit != nil {
		out := func(e reliability.Estimate) *estimateOut {
			return &estimateOut{e.Value, e.Likelihood.Lower, e.Likelihood.Upper}
		}
		o.Shape, o.Scale, o.B10 = out(r.fit.Shape), out(r.fit.Scale), out(r.b10)
	}
	if r.known != nil {
		o.B10AtLeast = finiteOrNil(r.known.B10AtLeast)
	}
	for _, p := range r.points {
		o.Points = append(o.Points, pointOut{p.Cycles, p.Failed, p.X, p.Y})
	}
	return o
}

// dangerousWords say what ISO 13849-1 makes of a B10d.
func dangerousWords(d reliability.Dangerous) string {
	text := fmt.Sprintf("mean time to a dangerous failure %.3g years (%s), replace after %.3g years (ISO 13849-1)", d.Capped, d.Level, d.T10d)
	for _, doubt := range d.Doubts {
		text += "; " + doubt
	}
	return text
}
