package measure_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
	"makebreak/testdata/few"
)

// edge is a transition's law by its integral: the area under the level, which goes
// from 0 to 1, up to t seconds after its start.
type edge struct {
	name string
	area func(t float64) float64
	mid  float64 // when it passes 0.5
}

// exponential is 1-exp(-t/tau), an RC.
func exponential(tau float64) edge {
	return edge{fmt.Sprintf("RC, %g ms", tau*1e3), func(t float64) float64 { return t - tau*(1-math.Exp(-t/tau)) }, tau * math.Ln2}
}

// sagging is a step whose top sags by a share with a time constant, as a supply does
// while a coil's current rises.
func sagging(share, tau float64) edge {
	return edge{fmt.Sprintf("step, sags %g %% in %g ms", share*100, tau*1e3),
		func(t float64) float64 { return t + share*tau*(1-math.Exp(-t/tau)) }, 0}
}

// saggingExponential is an RC behind which a supply sags.
func saggingExponential(tau, share, sag float64) edge {
	rc, top := exponential(tau), sagging(share, sag)
	return edge{rc.name, func(t float64) float64 { return top.area(t) - (1+share)*(t-rc.area(t)) }, rc.mid}
}

// sampleEdge samples an edge at begin as a converter does: means over touching
// conversions of one period, with noise, from 0 s to 2 s.
func sampleEdge(e edge, period, begin, noise float64, averaged bool, r *rand.Rand) *capture.Capture {
	span := 0.0
	if averaged {
		span = period
	}
	return sampleSwept(e, period, span, begin, noise, r)
}

// sampleSwept does so with conversions of span seconds, one every period; a span of
// 0 says that the means over a period pass for values at an instant.
func sampleSwept(e edge, period, span, begin, noise float64, r *rand.Rand) *capture.Capture {
	conv := capture.Converter{StepVolts: 0.6125e-3, Span: time.Duration(span * 1e9)}
	if span == 0 {
		span = period
	}
	tr := capture.NewTrace("OUT3", conv)
	area := func(t float64) float64 {
		if t <= 0 {
			return 0
		}
		return e.area(t)
	}
	for end := r.Float64() * period; end < 2; end += period {
		mean := (area(end-begin) - area(end-span-begin)) / span
		tr.Append(capture.FromSeconds(end), 0.65+(13.2-0.65)*mean+noise*r.NormFloat64())
	}
	return &capture.Capture{End: capture.FromSeconds(2), Traces: []*capture.Trace{tr},
		Events: []capture.Event{{Name: "arm-away", At: capture.FromSeconds(0.9)}}}
}

// TestPlacement_Errors shows the error of a crossing placed inside its conversion
// beside that of plain interpolation, for clean steps and for edges that are none.
// The truth is the edge's own law (textbook: a step, 1-exp(-t/tau), an RL sag).
func TestPlacement_Errors(t *testing.T) {
	few.Skip(t)
	const period = 1.0 / 860
	steps := edge{"step", func(t float64) float64 { return t }, 0}
	var rows []string
	rows = append(rows, fmt.Sprintf("%-28s %-14s %8s %8s %8s %10s", "edge at 860 conversions/s", "crossing", "median", "95 %", "most", "U covers"))
	for _, e := range []edge{steps, sagging(0.045, 1.3e-3), exponential(0.1e-3), exponential(1e-3), exponential(10e-3)} {
		for _, averaged := range []bool{true, false} {
			r := rand.New(rand.NewPCG(1, 2))
			const n = 400
			var off []float64
			covered := 0
			for range n {
				begin := 1 + r.Float64()*period
				c := sampleEdge(e, period, begin, 1e-3, averaged, r)
				got, err := diagnose.Examine(nil, c)
				if err != nil {
					t.Fatal(err)
				}
				for _, m := range got.Measurements {
					if m.Quantity != analyze.SwitchingDelay {
						continue
					}
					d := math.Abs(m.Value - (begin + e.mid - 0.9))
					off = append(off, d)
					if d <= m.Expanded {
						covered++
					}
				}
			}
			if len(off) != n {
				t.Fatalf("%s: %d of %d crossings placed", e.name, len(off), n)
			}
			slices.Sort(off)
			p95 := off[n*95/100]
			how := map[bool]string{true: "placed inside", false: "interpolated"}[averaged]
			rows = append(rows, fmt.Sprintf("%-28s %-14s %5.3f ms %5.3f ms %5.3f ms %8.1f %%", e.name, how,
				1e3*off[n/2], 1e3*p95, 1e3*off[n-1], 100*float64(covered)/n))
			if averaged && e.mid == 0 && p95 >= 0.1e-3 {
				t.Errorf("%s: 95 %% of the errors are below %.3g ms, want 0.1 ms", e.name, 1e3*p95)
			}
			if float64(covered) < 0.93*n {
				t.Errorf("%s, %s: the stated uncertainty covers %d of %d errors", e.name, how, covered, n)
			}
		}
	}
	t.Log("\n" + strings.Join(rows, "\n"))
}

// placed are the figures of one kind of edge over all phases.
type placed struct {
	off              []float64 // seconds
	sumU             float64
	covered, without int // by U, and by U without the part for edges too fast to be seen
}

// placeOften draws the phase of an edge many times. The filter of conversions that touch was
// measured.
func placeOften(t *testing.T, e edge, period, span, noise float64) placed {
	t.Helper()
	r := rand.New(rand.NewPCG(3, 4))
	var p placed
	for range 300 {
		begin := 1 + r.Float64()*period
		c := sampleSwept(e, period, span, begin, noise, r)
		if period == span {
			c.Traces[0].Converter.Filter = meansInARow(1).measured(0.003)
		}
		got, err := diagnose.Examine(nil, c)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range got.Measurements {
			if m.Quantity != analyze.SwitchingDelay {
				continue
			}
			d := math.Abs(m.Value - (begin + e.mid - 0.9))
			p.off, p.sumU = append(p.off, d), p.sumU+m.Expanded
			rest := m.Standard * m.Standard
			for _, c := range m.Budget {
				if strings.HasPrefix(string(c.Source), "edge too fast ") {
					rest -= c.Contribution() * c.Contribution()
				}
			}
			if d <= m.Expanded {
				p.covered++
			}
			if d <= m.Coverage*math.Sqrt(math.Max(0, rest)) {
				p.without++
			}
		}
	}
	if len(p.off) != 300 {
		t.Fatalf("%s: %d of 300 crossings placed", e.name, len(p.off))
	}
	slices.Sort(p.off)
	return p
}

// TestPlacement_HiddenEdges goes through time constants from none to a whole
// conversion: an edge that cannot be told from a step is placed late, and the stated
// uncertainty must hold that, whatever the phase, also where the supply sags meanwhile
// and hides it: a coil takes its current with a time constant of 1 ms or more, and a supply
// may be quicker. Quiet samples are the harder ones, where little is doubted. A step itself
// must not suffer for it. The truth is the edge's own law (textbook).
func TestPlacement_HiddenEdges(t *testing.T) {
	if testing.Short() {
		t.Skip("thousands of captures")
	}
	const span = 1.0 / 860
	rows := []string{fmt.Sprintf("%-42s %-5s %8s %8s %8s %9s %12s", "samples, sag, noise", "tau", "95 %", "most", "mean U", "U covers", "U without it")}
	for _, how := range []struct {
		period, sag, sagTau float64
		meanU               float64 // most mean U for a step, seconds
		noise               float64 // volts, 0: 1 mV
	}{
		{period: span, sag: 0, sagTau: 1e-3, meanU: 70e-6},
		{period: span, sag: 0.01, sagTau: 1e-3, meanU: 90e-6}, {period: span, sag: 0.045, sagTau: 1.3e-3, meanU: 60e-6},
		{period: span, sag: 0.02, sagTau: 3e-3, meanU: 60e-6}, {period: span, sag: 0.07, sagTau: 6e-3, meanU: 60e-6},
		{period: span, sag: 0.045, sagTau: 0.6e-3, meanU: 90e-6}, {period: span, sag: 0.07, sagTau: 0.8e-3, meanU: 90e-6},
		{period: span, sag: 0, sagTau: 1e-3, meanU: 60e-6, noise: 0.1e-3},
		{period: span, sag: 0.07, sagTau: 0.3e-3, meanU: 60e-6, noise: 0.1e-3},
		{period: span, sag: 0.07, sagTau: 0.4e-3, meanU: 60e-6, noise: 0.1e-3},
		{period: 2.6e-3, sag: 0, sagTau: 1e-3, meanU: 1e-3},
		{period: 2.6e-3, sag: 0.045, sagTau: 1.3e-3, meanU: 1e-3}, {period: 2.6e-3, sag: 0.02, sagTau: 1.8e-3, meanU: 1e-3},
		{period: 2.6e-3, sag: 0.045, sagTau: 3e-3, meanU: 1e-3}, {period: 2.6e-3, sag: 0.07, sagTau: 6e-3, meanU: 1e-3},
		{period: 3.86e-3, sag: 0.045, sagTau: 3e-3, meanU: 2e-3}, {period: 3.86e-3, sag: 0.07, sagTau: 6e-3, meanU: 2e-3},
		{period: 5.14e-3, sag: 0, sagTau: 1e-3, meanU: 3e-3}, {period: 5.14e-3, sag: 0.045, sagTau: 3e-3, meanU: 3e-3},
	} {
		if how.noise == 0 {
			how.noise = 1e-3
		}
		for _, tau := range []float64{0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.7, 1} {
			e := sagging(how.sag, how.sagTau)
			if tau > 0 {
				e = saggingExponential(tau*span, how.sag, how.sagTau)
			}
			p := placeOften(t, e, how.period, span, how.noise)
			n := len(p.off)
			p95, meanU := p.off[n*95/100], p.sumU/float64(n)
			name := fmt.Sprintf("every %.2f ms, %.3g %% in %g ms, %g mV", 1e3*how.period, 100*how.sag, 1e3*how.sagTau, 1e3*how.noise)
			rows = append(rows, fmt.Sprintf("%-42s %-5s %5.0f us %5.0f us %5.0f us %7.1f %% %10.1f %%", name, fmt.Sprint(tau),
				1e6*p95, 1e6*p.off[n-1], 1e6*meanU, 100*float64(p.covered)/float64(n), 100*float64(p.without)/float64(n)))
			if float64(p.covered) < 0.93*float64(n) {
				t.Errorf("%s, tau %g of a conversion: the stated uncertainty covers %d of %d errors", name, tau, p.covered, n)
			}
			if tau == 0 && meanU > how.meanU {
				t.Errorf("%s: a step's mean uncertainty is %.3g s, want at most %g s", name, meanU, how.meanU)
			}
			if tau == 0 && how.period == span && p95 >= 0.1e-3 {
				t.Errorf("%s: 95 %% of a step's errors are below %.3g s, want 0.1 ms", name, p95)
			}
		}
	}
	t.Log("\n" + strings.Join(rows, "\n"))
}

// TestPlacement_Durations: the stated transition duration of an RC, ln 9 time constants by its
// own law (textbook), whatever it takes beside the sampling interval: a figure's interval holds
// it, and a bound is not exceeded.
func TestPlacement_Durations(t *testing.T) {
	few.Skip(t)
	const period = 1.0 / 860
	for _, w := range []weighing{meansInARow(1), lastPart(0.9), meansInARow(3)} {
		for _, tau := range []float64{0.1e-3, 0.2e-3, 0.5e-3, 0.8e-3, 1e-3, 1.2e-3, 1.5e-3, 1.8e-3, 2e-3, 5e-3, 20e-3} {
			r := rand.New(rand.NewPCG(5, 6))
			durations(t, w.name, tau, func() *capture.Capture {
				return w.sample(exponential(tau), period, period, 1+r.Float64()*period, 1e-3, r)
			})
		}
	}
	for _, span := range []float64{period, period / 2, 1e-6, 0} { // means, swept, values at an instant, not known
		for _, tau := range []float64{0.1e-3, 0.2e-3, 0.5e-3, 0.8e-3, 1e-3, 1.2e-3, 1.5e-3, 1.8e-3, 2e-3, 5e-3, 20e-3} {
			r := rand.New(rand.NewPCG(5, 6))
			durations(t, fmt.Sprintf("conversions of %.3g ms", 1e3*span), tau, func() *capture.Capture {
				return sampleSwept(exponential(tau), period, span, 1+r.Float64()*period, 1e-3, r)
			})
		}
	}
}

// durations measures an RC's transition duration in captures of it.
func durations(t *testing.T, how string, tau float64, draw func() *capture.Capture) {
	t.Helper()
	held, bounds := 0, 0
	const n = 100
	for range n {
		got, err := diagnose.Examine(nil, draw())
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range got.Measurements {
			switch off := m.Value - math.Log(9)*tau; {
			case m.Quantity != analyze.TransitionDuration:
			case m.Bound() != analyze.NoBound:
				bounds++
				if off >= 0 {
					held++
				}
			case math.Abs(off) <= m.Expanded:
				held++
			}
		}
	}
	t.Logf("%s, tau %.3g ms: %d of %d held, %d of them bounds", how, 1e3*tau, held, n, bounds)
	if held < 0.93*n {
		t.Errorf("%s, tau %.3g ms: %d of %d hold the duration", how, 1e3*tau, held, n)
	}
	if tau >= 5e-3 && bounds > 0 {
		t.Errorf("tau %.3g ms: %d bounds", 1e3*tau, bounds)
	}
}

// bouncing is high from 0 s, low again from up to up+down, and high from then on.
func bouncing(up, down float64) edge {
	return edge{fmt.Sprintf("up for %g ms, down for %g ms", up*1e3, down*1e3), func(t float64) float64 {
		return math.Min(t, up) + math.Max(0, t-up-down)
	}, 0}
}

// covered counts how many intervals of the switching delay hold all of an edge's truth, which
// lies from its beginning to lasts seconds later. Samples are kept from before seconds before
// the edge to after seconds after it, and the event is at the first of them where early is not
// set.
func covered(t *testing.T, e edge, period, noise, before, after, lasts float64, early bool) (held, all int) {
	t.Helper()
	const span = 1.0 / 860
	r := rand.New(rand.NewPCG(9, 10))
	for range 200 {
		begin := 1 + r.Float64()*period
		whole := sampleSwept(e, period, span, begin, noise, r)
		whole.Traces[0].Converter.SpanRel = 1e-3 // measured, as a bench does
		tr := capture.NewTrace("OUT3", whole.Traces[0].Converter)
		for ts, vs := range whole.Traces[0].Blocks(capture.FromSeconds(begin-before), capture.FromSeconds(begin+after)) {
			for i := range ts {
				tr.Append(capture.Instant(ts[i]), float64(vs[i]))
			}
		}
		c := &capture.Capture{Start: capture.FromSeconds(begin - before), End: capture.FromSeconds(begin + after),
			Traces: []*capture.Trace{tr}, Events: whole.Events}
		at := begin - 0.05
		if !early {
			at = begin - before
		}
		c.Events[0].At = capture.FromSeconds(at)
		got, err := diagnose.Examine(nil, c)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range got.Measurements {
			if m.Quantity == analyze.SwitchingDelay && !math.IsNaN(m.Value) {
				all++
				if d := m.Value - (begin - at); d <= m.Expanded && d >= lasts-m.Expanded {
					held++
				}
			}
		}
	}
	return held, all
}

// TestPlacement_Hard: an edge that hardly any samples surround, whose samples scatter, or that
// bounces over some conversions, is given an uncertainty that holds it: all its crossings, where
// it bounces and the samples do not look like a slow edge's.
func TestPlacement_Hard(t *testing.T) {
	const span = 1.0 / 860
	step := edge{"step", func(t float64) float64 { return t }, 0}
	for _, c := range []struct {
		name                  string
		e                     edge
		period, noise         float64
		before, after, lasts  float64
		early                 bool
		leastHeld, leastFound float64
	}{
		{"ends at once", step, span, 1e-3, 0.1, 0.5 * span, 0, true, 0.95, 0.2},
		{"ends soon", step, span, 1e-3, 0.1, 1.2 * span, 0, true, 0.95, 1},
		{"ends a little later", step, span, 1e-3, 0.1, 2.2 * span, 0, true, 0.95, 1},
		{"begins just before", step, span, 1e-3, 0.5 * span, 0.2, 0, false, 0.95, 0.4},
		{"begins before", step, span, 1e-3, 1.2 * span, 0.2, 0, false, 0.95, 1},
		{"noise of 2 %", step, span, 0.25, 0.1, 0.2, 0, true, 0.93, 1},
		{"noise of 2 %, swept", step, 2.6e-3, 0.25, 0.1, 0.2, 0, true, 0.93, 1},
		{"noise of 0.1 %, swept", step, 2.6e-3, 12e-3, 0.1, 0.2, 0, true, 0.93, 1},
		{"bounces", bouncing(1*span, 1*span), span, 1e-3, 0.1, 0.2, 2 * span, true, 0.75, 1},
	} {
		held, all := covered(t, c.e, c.period, c.noise, c.before, c.after, c.lasts, c.early)
		t.Logf("%s: %d of %d intervals hold the edge", c.name, held, all)
		if float64(held) < c.leastHeld*float64(all) || float64(all) < 200*c.leastFound {
			t.Errorf("%s: %d of %d intervals hold the edge", c.name, held, all)
		}
	}
}
