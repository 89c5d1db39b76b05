package measure_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"strconv"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/measure"
	"makebreak/rig/capture"
	"makebreak/testdata/few"
)

// thinned records a drawing once more, sample by sample and edge by edge as a bench would, into
// a capture that thins long states out.
func (d drawing) thinned() drawing {
	c := &capture.Capture{Start: d.Start, End: d.End}
	type next struct {
		at []int64
		v  []float32
	}
	rest := make([]next, len(d.Traces))
	for i, tr := range d.Traces {
		n := capture.NewTrace(tr.Signal, tr.Converter)
		n.NominalVolts = tr.NominalVolts
		c.Traces = append(c.Traces, n)
		for at, v := range tr.Blocks(math.MinInt64, math.MaxInt64) {
			rest[i].at, rest[i].v = append(rest[i].at, at...), append(rest[i].v, v...)
		}
	}
	edges := make([][]capture.Edge, len(d.Tracks))
	for i, tk := range d.Tracks {
		n := *tk
		edges[i], n.Edges = n.Edges, nil
		c.Tracks = append(c.Tracks, &n)
	}
	c.Thin()
	events := d.Events
	for {
		first, due := -1, int64(math.MaxInt64)
		for i := range rest {
			if len(rest[i].at) > 0 && rest[i].at[0] < due {
				first, due = i, rest[i].at[0]
			}
		}
		for i, t := range c.Tracks {
			for ; len(edges[i]) > 0 && int64(edges[i][0].At) <= due; edges[i] = edges[i][1:] {
				c.AddEdge(t, edges[i][0])
			}
		}
		for ; len(events) > 0 && int64(events[0].At) <= due; events = events[1:] {
			c.AddEvent(events[0])
		}
		if first < 0 {
			return drawing{c}
		}
		c.Traces[first].Append(capture.Instant(due), float64(rest[first].v[0]))
		rest[first].at, rest[first].v = rest[first].at[1:], rest[first].v[1:]
	}
}

// held is how many samples a capture holds.
func (d drawing) held() int {
	n := 0
	for _, t := range d.Traces {
		n += t.Len()
	}
	return n
}

// A longState is one drawn state of many minutes: "on" at 2 s, and "off" after it.
type longState struct {
	*rand.Rand
	rate  float64 // samples a second
	off   float64 // seconds
	plan  *analyze.Plan
	d     drawing
	wave  func(float64) float64
	noise float64 // volts
	holes []hole
	share float64 // of a figure's uncertainty by which it may differ
	// drifts says that where the state's settled part begins depends on its level, anyLevel that
	// nothing but the verdict need be the same.
	drifts, anyLevel bool
}

func (x *longState) between(lo, hi float64) float64 { return lo + (hi-lo)*x.Float64() }

// some is an instant after the opening of the state.
func (x *longState) some() float64 { return x.between(100, x.off-5) }

const longOn, longHigh = 2.0, 13.2

// stays is an output that goes high at the event and low at the next one.
func (x *longState) stays() func(float64) float64 {
	return levels(0.6, longOn+0.1234, longHigh, x.off+0.0777, 0.6)
}

// dropped is the output at another level from an instant on for some seconds.
func dropped(f func(float64) float64, at, lasts, volts float64) func(float64) float64 {
	return func(t float64) float64 {
		if t >= at && t < at+lasts {
			return volts
		}
		return f(t)
	}
}

// longStates are what an output, or a contact, may do in a state of hours.
var longStates = map[string]func(x *longState){
	"steady":   func(x *longState) {},
	"noisy":    func(x *longState) { x.noise = x.between(0.1, 0.6) },
	"ripple":   func(x *longState) { x.wave = plus(x.wave, hum(100, x.between(0.05, 0.95))) },
	"slow hum": func(x *longState) { x.wave = plus(x.wave, hum(x.between(0.01, 2), x.between(0.1, 0.9))) },
	"drift":    func(x *longState) { x.drifts = true; x.sag(x.between(-2, 2), x.off) },
	// These have no one level: which of their levels counts is decided by chance.
	"slow sag": func(x *longState) { x.anyLevel = true; x.sag(x.between(-9, -2), x.off) },
	"swings": func(x *longState) {
		x.anyLevel = true
		x.wave = plus(x.wave, hum(x.between(0.01, 2), x.between(1.5, 3)))
	},
	"late sag": func(x *longState) { x.drifts = true; x.sag(x.between(-5, -3), x.between(20, 60)) },
	"a spike":  func(x *longState) { x.wave = dropped(x.wave, x.some(), x.sample(), x.between(0, 24)) },
	"a dropout": func(x *longState) {
		x.wave = dropped(x.wave, x.some(), x.between(1, 3000)*x.sample(), x.between(0, 11))
	},
	"a dropout near the end": func(x *longState) {
		x.wave = dropped(x.wave, x.off-x.between(0.05, 3), x.between(1, 40)*x.sample(), x.between(0, 11))
	},
	"gone till the end": func(x *longState) { x.wave = dropped(x.wave, x.some(), x.off, 0.3) },
	"another level":     func(x *longState) { x.wave = dropped(x.wave, x.some(), x.off, x.between(11, 15)) },
	"many dropouts": func(x *longState) {
		for range 100 {
			x.wave = dropped(x.wave, x.some(), x.between(1, 4)*x.sample(), x.between(0, 3))
		}
		x.wave = dropped(x.wave, x.some(), 9*x.sample(), x.between(0, 3))
	},
	"dropouts in ripple": func(x *longState) {
		x.wave = plus(x.wave, hum(50, x.between(0.5, 0.95)))
		for range 20 {
			x.wave = dropped(x.wave, x.some(), x.between(1, 4)*x.sample(), x.between(0, 3))
		}
	},
	"bursts": func(x *longState) {
		x.share = 1 // many samples lie at the very end of what counts as the level
		for range 20 {
			at, burst, f := x.some(), x.between(0.1, 3), x.wave
			x.wave = func(t float64) float64 {
				if t >= at && t < at+burst {
					return f(t) + 2*math.Sin(2*math.Pi*7*t)
				}
				return f(t)
			}
		}
	},
	"flaps":        func(x *longState) { x.flaps(x.between(0.5, 5), []float64{0.3, 0.7}[x.IntN(2)]) },
	"flaps seldom": func(x *longState) { x.flaps(x.between(20, 60), x.between(0.1, 0.9)) },
	"oscillates":   func(x *longState) { x.flaps(x.between(0.05, 0.3), []float64{0.3, 0.7}[x.IntN(2)]) },
	"late": func(x *longState) {
		at := x.between(120, x.off-60)
		x.wave = levels(0.6, at, longHigh, x.off+0.05, 0.6)
		x.plan.Outputs[0].Expect["on"] = analyze.Expectation{Demand: analyze.High, After: time.Duration((at - longOn) * 1e9), Within: 0.01}
		x.operate(at)
	},
	"late and too late": func(x *longState) {
		at := x.between(200, x.off-60)
		x.wave = levels(0.6, at, longHigh, x.off+0.05, 0.6)
		x.plan.Outputs[0].Expect["on"] = analyze.Expectation{Demand: analyze.High, After: time.Duration((at - longOn) / 2 * 1e9), Within: 0.1}
	},
	"late, then drops out": func(x *longState) {
		at := x.between(120, x.off/2)
		x.wave = levels(0.6, at, longHigh, x.off+0.05, 0.6)
		x.wave = dropped(x.wave, x.between(at+20, x.off-2), x.between(1, 30)*x.sample(), x.between(0, 11))
		x.plan.Outputs[0].Expect["on"] = analyze.Expectation{Demand: analyze.High, After: time.Duration((at - longOn) * 1e9), Within: 0.01}
	},
	"a late slow edge": func(x *longState) {
		at, tau := x.between(120, x.off-120), x.between(0.01, 0.1)
		x.wave = func(t float64) float64 {
			if t < at {
				return 0.6
			}
			return longHigh - (longHigh-0.6)*math.Exp(-(t-at)/tau)
		}
		x.plan.Outputs[0].Expect["on"] = analyze.Expectation{Demand: analyze.High, After: time.Duration((at - longOn) * 1e9), Within: 0.05}
	},
	"a long pulse": func(x *longState) {
		lasts := x.between(120, x.off-60)
		x.wave = levels(0.6, longOn+0.12, longHigh, longOn+0.12+lasts, 0.6)
		x.plan.Outputs[0].Expect["on"] = analyze.Expectation{Demand: analyze.Pulse, After: time.Duration(lasts * 1e9), Within: 0.01}
		x.operate(longOn + 0.12)
		x.release(longOn + 0.12 + lasts)
	},
	"a pulse in a long state": func(x *longState) {
		x.wave = levels(0.6, longOn+0.12, longHigh, longOn+1.12, 0.6)
		x.wave = dropped(x.wave, x.some(), x.between(1, 10)*x.sample(), x.between(2, 14))
		x.plan.Outputs[0].Expect["on"] = analyze.Expectation{Demand: analyze.Pulse, After: time.Second, Within: 0.1}
	},
	"stays low": func(x *longState) {
		x.wave = levels(0.6)
		x.plan.Outputs[0].Expect["on"] = analyze.Expectation{Demand: analyze.Low}
		for range x.IntN(3) {
			x.wave = dropped(x.wave, x.some(), x.between(1, 3)*x.sample(), x.between(1.3, 14))
		}
	},
	"never goes": func(x *longState) { x.wave = levels(0.6) },
	"samples missing": func(x *longState) {
		at := x.some()
		x.holes = append(x.holes, hole{at, at + x.between(0.1, 3)})
	},
	"a contact chatters": func(x *longState) {
		x.operate(longOn + 0.1234)
		period := x.between(0.02, 0.09)
		for t := x.some(); t < x.off-1; t += period {
			x.edge(t, x.IntN(2) == 0)
		}
	},
	"a contact chatters from the first": func(x *longState) {
		x.operate(longOn + 0.1234)
		period := x.between(0.02, 0.09)
		for t := longOn + 0.3; t < x.off-10; t += period {
			x.edge(t, x.IntN(2) == 0)
		}
	},
}

func (x *longState) sample() float64 { return 1 / x.rate }

// sag has the output change its level steadily, by volts, over the last seconds of the state.
func (x *longState) sag(volts, over float64) {
	f, from := x.wave, math.Max(longOn, x.off-over)
	x.wave = func(t float64) float64 {
		if t < from || t > x.off {
			return f(t)
		}
		return f(t) + volts*(t-from)/(x.off-from)
	}
}

func (x *longState) flaps(period, share float64) {
	f := x.wave
	x.wave = func(t float64) float64 {
		if t > longOn+1 && t < x.off && math.Mod(t, period) > share*period*(1+0.1*math.Sin(t)) {
			return 0.6
		}
		return f(t)
	}
}

func (x *longState) edge(at float64, closed bool) {
	t := x.d.Tracks[0]
	if n := len(t.Edges); n > 0 && t.Edges[n-1].Closed == closed {
		closed = !closed
	}
	t.Edges = append(t.Edges, capture.Edge{At: capture.FromSeconds(at), Closed: closed})
}

func (x *longState) operate(at float64) {
	x.d.Tracks[1].Edges = append(x.d.Tracks[1].Edges, capture.Edge{At: capture.FromSeconds(at + 3e-3)})
	x.edge(at+8e-3, true)
	x.edge(at+8.4e-3, false)
	x.edge(at+8.6e-3, true)
}

func (x *longState) release(at float64) {
	x.edge(at+3e-3, false)
	x.d.Tracks[1].Edges = append(x.d.Tracks[1].Edges, capture.Edge{At: capture.FromSeconds(at + 6e-3), Closed: true})
}

// Of long states that are thinned out the verdicts are those of all samples, and the figures
// differ by no more than a small part of their uncertainty.
func TestThinned_SameFigures(t *testing.T) {
	draws, seed := 2, uint64(1)
	if testing.Short() {
		draws = 1
	}
	if n, err := strconv.Atoi(os.Getenv("MAKEBREAK_LONG")); err == nil {
		draws, seed = 10*n, uint64(time.Now().UnixNano())
	}
	var names []string
	for name := range longStates {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names[:few.Of(3, len(names))] {
		t.Run(name, func(t *testing.T) {
			for n := range draws {
				seed := seed + uint64(n)
				t.Run(fmt.Sprint(seed), func(t *testing.T) { sameThinned(t, longStates[name], seed) })
			}
		})
	}
}

// crossings is how often the output crossed the middle in the long state.
func crossings(t *testing.T, plan *analyze.Plan, d drawing) int {
	m, err := measure.NewMeter(plan, d.Capture)
	if err != nil {
		t.Fatal(err)
	}
	return m.State(d.Capture, d.Events[0], d.Events[1].At).Outputs[0].Crossings
}

// words is a text without its figures.
func words(s string) string { return regexp.MustCompile(`[0-9.]+ m?[sV]`).ReplaceAllString(s, "") }

func sameThinned(t *testing.T, kind func(*longState), seed uint64) {
	x := &longState{Rand: rand.New(rand.NewPCG(seed, 11)), plan: fullPlan()}
	x.rate = []float64{60, 100, 195, 860}[x.IntN(4)]
	x.off, x.share = x.between(300, 900), 0.2
	if seed%3 == 0 && x.rate <= 100 { // so that the long form has states of hours as well
		x.off *= 12
	}
	x.noise = []float64{0, 0.004, 0.02}[x.IntN(3)]
	x.wave = x.stays()
	x.d = draw(x.off+3).event("on", longOn).event("off", x.off).contact("K1_NO", false).contact("K1_NC", true)
	kind(x)
	if len(x.d.Tracks[0].Edges) == 0 {
		x.operate(longOn + 0.1234)
	}
	if e := x.d.Tracks[0].Edges; e[len(e)-1].Closed {
		x.release(x.off + 0.0777)
	}
	x.d = x.d.output("OUT1", x.rate, plus(x.wave, jitter(x.noise, seed)), x.holes...)
	conv := capture.Converter{StepVolts: 4e-4}
	if x.IntN(2) == 0 {
		conv = capture.Converter{StepVolts: 4e-4, Span: time.Duration(1e9 / x.rate), SpanRel: 0.01, Stamp: 10 * time.Microsecond}
	}
	x.d.Traces[0].Converter = conv
	thin := x.d.thinned()
	if thin.held() > x.d.held()*2/3 && x.d.held() > 60_000 {
		t.Errorf("%d samples are held of %d", thin.held(), x.d.held())
	}
	all, findings := measured(t, x.plan, x.d)
	some, thinnedFindings := measured(t, x.plan, thin)
	if a, b := crossings(t, x.plan, x.d), crossings(t, x.plan, thin); !x.anyLevel && math.Abs(float64(a-b)) > 2+0.02*float64(a) {
		t.Errorf("%d crossings, and %d of a thinned state", a, b)
	}
	if x.anyLevel {
		if all.Verdict() != some.Verdict() {
			t.Errorf("%v, and %v of a thinned state", all.Verdict(), some.Verdict())
		}
		return
	}
	if words(findings) != words(thinnedFindings) {
		t.Errorf("findings differ:\n%s\nof all samples, and of a thinned state\n%s", findings, thinnedFindings)
	}
	if len(all.Measurements) != len(some.Measurements) {
		t.Fatalf("%d figures, and %d of a thinned state", len(all.Measurements), len(some.Measurements))
	}
	for i, a := range all.Measurements {
		b := some.Measurements[i]
		where := fmt.Sprintf("%s %s %s: %g ± %g %v, and %g ± %g %v of a thinned state", a.Event, a.Signal, a.Quantity,
			a.Value, a.Expanded, a.Verdict, b.Value, b.Expanded, b.Verdict)
		if a.Event != b.Event || a.Signal != b.Signal || a.Quantity != b.Quantity || a.Verdict != b.Verdict || a.Bound() != b.Bound() {
			t.Error(where)
			continue
		}
		if math.IsNaN(a.Value) && math.IsNaN(b.Value) {
			continue
		}
		far := 1e-9 + 1e-3*math.Abs(a.Value)
		switch slow := a.Quantity == analyze.Hold && b.Expanded > 2*a.Expanded; {
		case a.Bound() != analyze.NoBound:
			far = 0.03 * math.Abs(a.Value)
			if x.drifts && a.Quantity == analyze.TransitionDuration {
				continue // it is up to the samples at either end, by a level that is not one
			}
		case slow: // the output passed slowly, in samples that were thinned out
			if far = 2 * b.Expanded; b.Expanded > a.Value/20 {
				t.Errorf("uncertainties differ: %s", where)
			}
		case a.Expanded > 0:
			far = math.Max(x.share*a.Expanded, conv.StepVolts/2)
			if x.drifts {
				far = math.Max(far, a.Expanded/2)
			}
			if x.drifts && a.Quantity == analyze.Ripple {
				far = 0.06 * a.Value
			}
			if math.Abs(b.Expanded-a.Expanded) > a.Expanded+2*conv.StepVolts {
				t.Errorf("uncertainties differ: %s", where)
			}
		}
		if !(math.Abs(a.Value-b.Value) <= far) {
			t.Error(where)
		}
	}
}
