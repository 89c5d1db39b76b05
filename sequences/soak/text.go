package soak

import (
	"fmt"
	"io"
	"math"
	"strconv"

	"makebreak/analyze/reliability"
	"makebreak/rig/problem"
	"makebreak/rig/table"
	"makebreak/rig/words"
)

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

// Text writes the result for a person. perYear is how many cycles a year of use has, for
// the mean time to a dangerous failure; 0: not known.
func (r *LifeResult) Text(w io.Writer, perYear float64) error {
	if err := table.Write(w, []string{"board", "cycles", "ended by"}, func(row func(...any)) {
		for _, u := range r.Units {
			row(u.Name, cyclesText(u.Cycles), endText(u))
		}
	}); err != nil {
		return err
	}
	fmt.Fprintf(w, "\n%s, %d failed; bounds at %s confidence.\n\n", words.Count(len(r.Units), "board"), r.Failures, percentText(r.Confidence))
	fmt.Fprintf(w, "If failures come at a constant rate: mean cycles between failures at least %s", cyclesText(r.Mean.AtLeast))
	if r.Failures > 0 {
		fmt.Fprintf(w, ",\n  estimated %s (%s to %s)", cyclesText(r.Mean.Value), cyclesText(r.Mean.Lower), cyclesText(r.Mean.Upper))
	}
	fmt.Fprintln(w, ".")
	if r.Fit != nil {
		r.writeFit(w)
	} else {
		fmt.Fprintf(w, "%s%s.\n", words.Capital(r.NoFit), map[bool]string{true: "", false: "; --shape gives a shape from experience"}[r.Known != nil])
	}
	if k := r.Known; k != nil {
		fmt.Fprintf(w, "With the shape %g from experience: B10 at least %s cycles, scale at least %s.\n", k.Shape, cyclesText(k.B10AtLeast), cyclesText(k.ScaleAtLeast))
	}
	if err := r.writeDangerous(w, perYear); err != nil {
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

func (r *LifeResult) writeFit(w io.Writer) {
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
func (r *LifeResult) writeDangerous(w io.Writer, perYear float64) error {
	d, what, err := r.dangerous(perYear)
	if d != nil {
		fmt.Fprintf(w, "%s as B10d, every failure taken as dangerous, %s cycles a year: %s\n", words.Capital(what), cyclesText(perYear), dangerousText(*d))
	}
	return err
}

// dangerous is what ISO 13849-1 makes of the B10, with what that is; nil: it is not known, or
// not how many cycles a year has.
func (r *LifeResult) dangerous(perYear float64) (d *reliability.Dangerous, what string, err error) {
	b10, what := r.KnownB10()
	if perYear <= 0 || b10 == 0 {
		return nil, "", nil
	}
	of, err := reliability.DangerousOf(b10, reliability.Use{DaysPerYear: 365, HoursPerDay: 24, SecondsPerCycle: 365 * 24 * 3600 / perYear})
	if err != nil {
		return nil, "", problem.Of(problem.Usage, err)
	}
	return &of, what, nil
}

// dangerousText says what ISO 13849-1 makes of a B10d.
func dangerousText(d reliability.Dangerous) string {
	text := fmt.Sprintf("mean time to a dangerous failure %.3g years (%s), replace after %.3g years (ISO 13849-1)", d.Capped, d.Level, d.T10d)
	for _, doubt := range d.Doubts {
		text += "; " + doubt
	}
	return text
}

// percentText is a share in percent, as it is typed.
func percentText(share float64) string { return strconv.FormatFloat(100*share, 'g', -1, 64) + "%" }

// CSV writes the plan's tests as CSV.
func (p *Plan) CSV(w io.Writer) error {
	c := table.NewCSV(w, "boards", "cycles_each", "cycles_in_all")
	whole := func(x float64) table.Cell { return table.Number(strconv.FormatFloat(x, 'f', 0, 64)) }
	for _, t := range p.Tests {
		if err := c.Row(table.Count(t.Boards), whole(t.Each), whole(t.All)); err != nil {
			return err
		}
	}
	return c.Flush()
}

// Text writes the plan for a person.
func (p *Plan) Text(w io.Writer) error {
	failed := "no board failed"
	if p.Claim.Allowed > 0 {
		failed = "at most " + words.Count(p.Claim.Allowed, "board") + " failed"
	}
	fmt.Fprintf(w, "To show a B10 of at least %.0f cycles at %s confidence, shape %g,\n", p.Claim.Cycles, percentText(p.Claim.Confidence), p.Claim.Shape)
	fmt.Fprintf(w, "with %s:\n\n", failed)
	err := table.Write(w, []string{"boards", "cycles each", "cycles in all"}, func(row func(...any)) {
		for _, t := range p.Tests {
			row(t.Boards, fmt.Sprintf("%.0f", t.Each), fmt.Sprintf("%.0f", t.All))
		}
	})
	if len(p.Tests) > 1 || p.Tests[0].Each != p.Claim.Cycles {
		fmt.Fprintln(w, "\nBoards that run longer or shorter than the claim are evidence for it only if the\nshape is right.")
	}
	return err
}
