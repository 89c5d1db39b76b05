package measure_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
	"makebreak/testdata/few"
	"makebreak/testdata/goldenfile"
)

// rise is how an output goes from 0 to 1 from 0 s on.
type rise func(t float64) float64

// grid is how finely a rise is drawn, in seconds, and grown how long it may last.
const (
	grid  = 10e-6
	grown = 0.25
)

// drawn is a rise with its truth by the terms of IEEE Std 181: the first crossing of the 50 %
// level, and around that the last crossing of 10 % before it and the first of 90 % after.
type drawn struct {
	sum           []float64 // of the rise up to each point of the grid
	value         []float64
	rise          rise
	mid, duration float64 // seconds
}

func drawRise(v rise) drawn {
	d := drawn{rise: v}
	n := int(grown / grid)
	sum, before := 0.0, 0.0
	low, high := 0.0, math.NaN()
	d.mid = math.NaN()
	for i := range n {
		x := v((float64(i) + 0.5) * grid)
		d.sum, d.value = append(d.sum, sum), append(d.value, x)
		sum += x
		passed := func(level float64) float64 { // by bisection
			lo, hi := math.Max(0, (float64(i)-0.5)*grid), (float64(i)+0.5)*grid
			for range 20 {
				if mid := (lo + hi) / 2; v(mid) < level {
					lo = mid
				} else {
					hi = mid
				}
			}
			return hi
		}
		if math.IsNaN(d.mid) && before < 0.1 && x >= 0.1 {
			low = passed(0.1)
		}
		if math.IsNaN(d.mid) && x >= 0.5 {
			d.mid = passed(0.5)
		}
		if !math.IsNaN(d.mid) && math.IsNaN(high) && x >= 0.9 {
			high = passed(0.9)
		}
		before = x
	}
	d.duration = high - low
	return d
}

// area is the integral of the rise up to the instant.
func (d drawn) area(t float64) float64 {
	if t <= 0 {
		return 0
	}
	i := min(int(t/grid), len(d.sum)-1)
	return d.sum[i]*grid + d.value[i]*(t-float64(i)*grid)
}

func (d drawn) at(t float64) float64 {
	if t < 0 {
		return 0
	}
	return d.rise(t)
}

// mean is what a converter gives for the time span before t: a plain mean, or what boxes filters
// of span/boxes in a row give, a sinc filter of that order. The analysis does not know which.
func (d drawn) mean(t, span float64, boxes int) float64 {
	box := span / float64(boxes)
	if t < 0 || t-span > grown {
		return d.at(math.Min(t, grown))
	}
	if boxes == 1 {
		return (d.area(t) - d.area(t-span)) / span
	}
	const parts = 12
	sum := 0.0
	for i := range parts {
		sum += d.mean(t-(float64(i)+0.5)*box/parts, span-box, boxes-1)
	}
	return sum / parts
}

// between draws a number, log the logarithm of one.
func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
func logBetween(r *rand.Rand, lo, hi float64) float64 {
	return lo * math.Pow(hi/lo, r.Float64())
}

// polyline goes straight from point to point: time, value, time, value.
func polyline(points ...float64) rise {
	return func(t float64) float64 {
		for i := 2; i < len(points); i += 2 {
			if t < points[i] {
				share := (t - points[i-2]) / (points[i] - points[i-2])
				return points[i-1] + share*(points[i+1]-points[i-1])
			}
		}
		return points[len(points)-1]
	}
}

// stairs has each value from its time on.
func stairs(points ...float64) rise {
	return func(t float64) float64 {
		v := 0.0
		for i := 0; i < len(points); i += 2 {
			if t >= points[i] {
				v = points[i+1]
			}
		}
		return v
	}
}

// shapes are the classes of edges, drawn without regard to how they are sampled.
var shapes = []struct {
	name  string
	hides bool // one sample between the states does not show that it is no step
	draw  func(r *rand.Rand) rise
}{
	{"clean", false, func(r *rand.Rand) rise { return func(float64) float64 { return 1 } }},
	{"RC", false, func(r *rand.Rand) rise {
		tau := logBetween(r, 0.1e-3, 30e-3)
		return func(t float64) float64 { return -math.Expm1(-t / tau) }
	}},
	{"ramp", false, func(r *rand.Rand) rise { return polyline(0, 0, logBetween(r, 0.2e-3, 50e-3), 1) }},
	{"sag", false, func(r *rand.Rand) rise {
		tau, share, decay := logBetween(r, 0.01e-3, 1e-3), between(r, 0.01, 0.06), logBetween(r, 1e-3, 8e-3)
		return func(t float64) float64 { return -math.Expm1(-t/tau) * (1 + share*math.Exp(-t/decay)) }
	}},
	{"ring", true, func(r *rand.Rand) rise {
		zeta, wn := between(r, 0.05, 0.4), 2*math.Pi*logBetween(r, 60, 3000)
		wd := wn * math.Sqrt(1-zeta*zeta)
		return func(t float64) float64 {
			return 1 - math.Exp(-zeta*wn*t)*(math.Cos(wd*t)+zeta/math.Sqrt(1-zeta*zeta)*math.Sin(wd*t))
		}
	}},
	{"two slopes", true, func(r *rand.Rand) rise {
		knee, first := between(r, 0.15, 0.85), logBetween(r, 0.02e-3, 25e-3)
		return polyline(0, 0, first, knee, first+logBetween(r, 0.02e-3, 25e-3), 1)
	}},
	{"staircase", true, func(r *rand.Rand) rise {
		points, at, v := []float64{}, 0.0, 0.0
		for n := 1 + r.IntN(3); n > 0; n-- {
			v += (1 - v) * between(r, 0.2, 0.7)
			points = append(points, at, v)
			at += logBetween(r, 0.3e-3, 20e-3)
		}
		return stairs(append(points, at, 1)...)
	}},
	{"bouncing", true, func(r *rand.Rand) rise {
		points, at := []float64{}, 0.0
		for n := 1 + r.IntN(6); n > 0; n-- {
			up := logBetween(r, 0.03e-3, 1.5e-3)
			points = append(points, at, 1, at+up, 0)
			at += up + logBetween(r, 0.03e-3, 1.5e-3)
		}
		return stairs(append(points, at, 1)...)
	}},
}

// sampling is how a rise is sampled: as means over the time before each sample, or as values.
type sampling struct {
	rate     float64 // samples per second
	averaged bool
}

func (s sampling) String() string {
	return fmt.Sprintf("%s at %.0f/s", map[bool]string{true: "means", false: "values"}[s.averaged], s.rate)
}

var samplings = []sampling{{860, true}, {475, true}, {250, true}, {128, true}, {860, false}, {475, false}, {128, false}, {20e3, false}}

// edgeCase is a capture of one edge and its truth.
type edgeCase struct {
	capture         *capture.Capture
	delay, duration float64
	shows           bool // more than one sample lies between the states, or one after the middle back before it
}

// sampleRise draws a capture in which an output goes on, or off, as the rise says.
func sampleRise(d drawn, s sampling, r *rand.Rand) edgeCase {
	period, boxes := 1/(s.rate*between(r, 0.9, 1.1)), 1+r.IntN(3)
	conv := capture.Converter{Stamp: 300 * time.Nanosecond}
	if s.averaged {
		conv.Span = time.Duration(period * 1e9)
	}
	from, to, noise := between(r, 0.05, 0.9), between(r, 11, 14), logBetween(r, 0.3e-3, 5e-3)
	if r.IntN(2) == 0 {
		from, to = to, from
	}
	step := 0.0 // what readings are rounded to, volts
	if !s.averaged && r.IntN(2) == 0 {
		step = logBetween(r, 5e-3, 100e-3)
	}
	conv.StepVolts = step
	event := 0.25
	begin := event + between(r, 0.01, 0.12)
	tr := capture.NewTrace("OUT1", conv)
	inside, past, shows := 0, false, false
	for at := r.Float64() * period; at < 0.8; at += period {
		share := d.at(at - begin)
		if s.averaged {
			share = d.mean(at-begin, period, boxes)
		}
		if share > 0.02 && share < 0.98 {
			inside++
		}
		past = past || share >= 0.5
		shows = shows || inside > 1 || past && share < 0.5
		v := from + (to-from)*share + noise*r.NormFloat64()
		if step > 0 {
			v = step * math.Round(v/step)
		}
		tr.Append(capture.FromSeconds(at), v)
	}
	return edgeCase{capture: &capture.Capture{End: capture.FromSeconds(0.8), Traces: []*capture.Trace{tr},
		Events: []capture.Event{{Name: "switch", At: capture.FromSeconds(event), Timed: "file"}}},
		delay: begin - event + d.mid, duration: d.duration, shows: shows}
}

// held counts the figures of one class.
type held struct {
	delays, delaysHeld   int
	figures, figuresHeld int
	bounds, boundsHeld   int
	worst                float64 // in expanded uncertainties
	worstIs              string
}

func (h *held) add(t *testing.T, e edgeCase, name string) {
	t.Helper()
	got, err := diagnose.Examine(nil, e.capture)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range got.Measurements {
		if math.IsNaN(m.Value) {
			continue
		}
		switch m.Quantity {
		case analyze.SwitchingDelay:
			h.delays++
			off := math.Abs(m.Value - e.delay)
			if off <= m.Expanded {
				h.delaysHeld++
			}
			if off/m.Expanded > h.worst {
				h.worst, h.worstIs = off/m.Expanded, fmt.Sprintf("%s: %.3g ± %.2g ms for %.3g ms", name, m.Value*1e3, m.Expanded*1e3, e.delay*1e3)
			}
		case analyze.TransitionDuration:
			if m.Bound() == analyze.UpperBound {
				h.bounds++
				if m.Value >= e.duration {
					h.boundsHeld++
				}
				continue
			}
			h.figures++
			if math.Abs(m.Value-e.duration) <= m.Expanded {
				h.figuresHeld++
			}
		}
	}
}

// most reports whether the share is held; of few draws, but for their chance (two standard deviations).
func most(n, of int, share float64) bool {
	chance := 0.0
	if testing.Short() {
		chance = 2 * math.Sqrt(share*(1-share)*float64(of))
	}
	return float64(n) >= share*float64(of)-chance
}

func percent(n, of int) string {
	if of == 0 {
		return "-"
	}
	return fmt.Sprintf("%.1f %% of %d", 100*float64(n)/float64(of), of)
}

func (h *held) cells() string {
	return fmt.Sprintf("%s | %s | %s", percent(h.delaysHeld, h.delays), percent(h.figuresHeld, h.figures), percent(h.boundsHeld, h.bounds))
}

// TestShapes_Dense: of samples that lie very close an edge's duration is a figure, however slow it is. The
// truth is an RC's own law (textbook).
func TestShapes_Dense(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 9))
	for _, tau := range []float64{0.05e-3, 1e-3, 20e-3} {
		d := drawRise(func(t float64) float64 { return -math.Expm1(-t / tau) })
		got, err := diagnose.Examine(nil, sampleRise(d, sampling{600e3, false}, r).capture)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range rowsOf(got, "switch", "OUT1", analyze.TransitionDuration) {
			if m.Bound() != analyze.NoBound || !(math.Abs(m.Value-math.Log(9)*tau) < 0.01*tau) {
				t.Errorf("tau %g s: %g ± %g s, want %g s", tau, m.Value, m.Expanded, math.Log(9)*tau)
			}
		}
	}
}

// TestShapes_Held draws edges of each class, sampled as means and as values at rates from that of a slow
// converter to that of an oscilloscope, and counts how often what is said of them holds the truth.
//
// Where one sample at most lies between the states, an edge looks like a step: what it did meanwhile is not
// in the samples. Such draws of the classes that are no single edge are counted by themselves, and need not hold.
func TestShapes_Held(t *testing.T) {
	few.Skip(t)
	draws := 80
	if testing.Short() {
		draws = 15
	}
	table := "| edge | first crossing (50 %) | transition, figures | transition, bounds (`≤`) |\n| --- | --- | --- | --- |\n"
	for _, shape := range shapes {
		all, unseen := &held{}, &held{}
		for i, s := range samplings {
			r := rand.New(rand.NewPCG(uint64(i), 77))
			for n := range draws {
				e := sampleRise(drawRise(shape.draw(r)), s, r)
				name := fmt.Sprintf("%s, %v, draw %d", shape.name, s, n)
				if shape.hides && !e.shows {
					unseen.add(t, e, name)
				} else {
					all.add(t, e, name)
				}
			}
		}
		table += fmt.Sprintf("| %s | %s |\n", shape.name, all.cells())
		if shape.hides {
			table += fmt.Sprintf("| %s, looks like a step | %s |\n", shape.name, unseen.cells())
		}
		t.Logf("%s: %s; looks like a step: %s; worst %.1f U, %s", shape.name, all.cells(), unseen.cells(), all.worst, all.worstIs)
		if !most(all.delaysHeld, all.delays, 0.93) || !most(all.figuresHeld, all.figures, 0.93) || !most(all.boundsHeld, all.bounds, 0.97) {
			t.Errorf("%s: held in %s, want 93 %% of the crossings and figures and 97 %% of the bounds", shape.name, all.cells())
		}
		if !most(unseen.boundsHeld, unseen.bounds, 0.97) {
			t.Errorf("%s, looks like a step: held in %s, want 97 %% of the bounds", shape.name, unseen.cells())
		}
	}
	if draws == 80 && runtime.GOARCH == "amd64" {
		goldenfile.Check(t, "shapes.md", table)
	}
}
