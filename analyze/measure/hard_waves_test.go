package measure_test

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
	"makebreak/rig/capture/csvfile"
)

// outputPlan demands of one output what the events say, with the limits given.
func outputPlan(limits analyze.Limits, expect map[string]analyze.Expectation) *analyze.Plan {
	return &analyze.Plan{Steps: []string{"on", "off"}, Outputs: []analyze.OutputPlan{{Signal: "OUT1", Expect: expect, Limits: limits}}}
}

var (
	goHigh  = analyze.Expectation{Demand: analyze.High}
	goLow   = analyze.Expectation{Demand: analyze.Low}
	unmoved = analyze.Expectation{Demand: analyze.Unmoved}
	pulse1s = analyze.Expectation{Demand: analyze.Pulse, After: 1 * time.Second, Within: 0.1}
	delayed = analyze.Expectation{Demand: analyze.High, After: 2 * time.Second, Within: 0.05}
)

// Trains of pulses that are expected.
var (
	three    = analyze.Expectation{Demand: analyze.Train, Within: 0.1, Pulses: 3, On: 200 * time.Millisecond, Off: 300 * time.Millisecond}
	flashing = analyze.Expectation{Demand: analyze.Train, Within: 0.1, On: 200 * time.Millisecond, Off: 200 * time.Millisecond}
	forTwo   = analyze.Expectation{Demand: analyze.Train, Within: 0.1, On: 200 * time.Millisecond, Off: 200 * time.Millisecond, For: 1800 * time.Millisecond}
)

// pulses is an output that goes high at an instant and changes after each of the times given.
func pulses(at float64, times ...float64) func(float64) float64 {
	xs := []float64{0.1, at, 12.6}
	for i, t := range times {
		at += t
		xs = append(xs, at, [2]float64{0.1, 12.6}[i%2])
	}
	return levels(xs[0], xs[1:]...)
}

// flashes are the times of n pulses, of which the last is of another length.
func flashes(n int, on, off, last float64) []float64 {
	var times []float64
	for range n - 1 {
		times = append(times, on, off)
	}
	return append(times, last)
}

// usual are the limits of a 12 V output.
func usual() analyze.Limits {
	return analyze.Limits{
		analyze.HighLevel: {Lower: 11.5, Upper: 14.5}, analyze.LowLevel: atMost(1),
		analyze.SwitchingDelay: atMost(0.5), analyze.Ripple: atMost(0.7), analyze.Hold: atMost(0),
	}
}

func without(l analyze.Limits, qs ...analyze.Quantity) analyze.Limits {
	for _, q := range qs {
		delete(l, q)
	}
	return l
}

// Waveforms on which a plain reading of levels and edges goes wrong. Events are at
// 1 s ("on") and 4 s ("off") of 7 s, unless the case draws its own.
func TestHardWaves(t *testing.T) {
	nan := math.NaN()
	both := map[string]analyze.Expectation{"on": goHigh, "off": goLow}
	plain := func(v func(float64) float64, holes ...hole) drawing {
		return draw(7).output("OUT1", 1000, v, holes...).event("on", 1).event("off", 4)
	}
	good := levels(0.1, 1.2, 12.6, 4.2, 0.1)
	zeta, wn := 0.5, 2*math.Pi*10
	wd := wn * math.Sqrt(1-zeta*zeta)
	for _, tc := range []struct {
		name    string
		meaning string // of sensibly
		limits  analyze.Limits
		expect  map[string]analyze.Expectation
		d       drawing
		figures []figure
		verdict analyze.Verdict
		says    []string
	}{
		{name: "good", meaning: "everything passes and nothing is said",
			limits: usual(), expect: both, d: plain(good),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 0.1995, 1e-6, analyze.Pass}, {"off", "OUT1", analyze.SwitchingDelay, 0.1995, 1e-6, analyze.Pass},
				{"on", "OUT1", analyze.HighLevel, 12.6, 1e-5, analyze.Pass}, {"off", "OUT1", analyze.LowLevel, 0.1, 1e-5, analyze.Pass},
				{"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "never moves", meaning: "no delay, and why; the level judged is the low one; one finding for both",
			limits: usual(), expect: both, d: plain(levels(0.1)),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, nan, 0, analyze.Fail}, {"off", "OUT1", analyze.LowLevel, 0.1, 1e-5, analyze.Pass},
				{"on", "OUT1", analyze.Hold, nan, 0, analyze.Undecided}, {"off", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Fail, says: []string{"OUT1 did not go high at on: it stays at 100 mV"}},
		{name: "moves twice", meaning: "delay to the first crossing; it left its state for 0.5 s",
			limits: usual(), expect: both, d: plain(levels(0.1, 1.2, 12.6, 2.5, 0.1, 3, 12.6, 4.2, 0.1)),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 0.1995, 1e-6, analyze.Pass}, {"on", "OUT1", analyze.Hold, 0.5, 1e-6, analyze.Fail},
				{"on", "OUT1", analyze.HighLevel, 12.6, 1e-5, analyze.Pass}},
			verdict: analyze.Fail, says: []string{"OUT1 left its state for 500 ms at on"}},
		{name: "moves twice and nobody limits hold", meaning: "the demand itself is to keep the state",
			limits: without(usual(), analyze.Hold), expect: both, d: plain(levels(0.1, 1.2, 12.6, 2.5, 0.1, 3, 12.6, 4.2, 0.1)),
			verdict: analyze.Fail, says: []string{"OUT1 left its state for 500 ms at on"}},
		{name: "flickers within the hold allowed", meaning: "the limit of hold decides how long an excursion may last",
			limits: analyze.Limits{analyze.Hold: atMost(0.1)}, expect: both, d: plain(levels(0.1, 1.2, 12.6, 2.5, 0.1, 2.52, 12.6, 4.2, 0.1)),
			figures: []figure{{"on", "OUT1", analyze.Hold, 0.02, 2e-3, analyze.Pass}}, verdict: analyze.Pass},
		{name: "ramps slowly", meaning: "delay to the middle of the ramp, 1.6 s its duration, no excursion, level reached at its end",
			limits: without(usual(), analyze.SwitchingDelay), expect: both,
			d: plain(func(t float64) float64 {
				return 0.1 + 12.5*math.Max(0, math.Min(1, (t-1.2)/2))*levels(1, 4.2, 0)(t)
			}),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 1.2, 1e-3, analyze.NoVerdict}, {"on", "OUT1", analyze.TransitionDuration, 1.6, 2e-3, analyze.NoVerdict},
				{"on", "OUT1", analyze.HighLevel, 12.6, 0.02, analyze.Pass}, {"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "sits at the middle", meaning: "it moved, and its high level is 6 V: low when on",
			limits: usual(), expect: both, d: plain(levels(0.1, 1.2, 6.0, 4.2, 0.1)),
			figures: []figure{{"on", "OUT1", analyze.HighLevel, 6, 1e-5, analyze.Fail}, {"on", "OUT1", analyze.SwitchingDelay, 0.1995, 1e-6, analyze.Pass}},
			verdict: analyze.Fail, says: []string{"OUT1 is low when on: 6.00 V"}},
		{name: "droops while on", meaning: "one state that droops, not two; and it is said so",
			limits: usual(), expect: both,
			d:       plain(func(t float64) float64 { return levels(0.1, 1.2, 12.6-1.2*math.Max(0, t-1.2), 4.2, 0.1)(t) }),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 0.2, 2e-3, analyze.Pass}},
			verdict: analyze.Fail, says: []string{"OUT1 is low when on: 10.5 V", "OUT1 does not hold its level: it drifts"}},
		{name: "droops while unmoved", meaning: "a drift by 3.5 V is no switching",
			limits: analyze.Limits{analyze.Hold: atMost(0)}, expect: map[string]analyze.Expectation{"on": unmoved, "off": unmoved},
			d:       plain(func(t float64) float64 { return 12.6 - 1.2*math.Max(0, math.Min(2.9, t-1)) }),
			verdict: analyze.Fail, says: []string{"OUT1 does not hold its level: it drifts"}},
		{name: "rings", meaning: "delay and level as without it; the first 0.2 s are settling, no excursion",
			limits: usual(), expect: both,
			d: plain(func(t float64) float64 {
				if x := t - 1.2; x >= 0 && t < 4.2 {
					return 0.1 + 12*(1-math.Exp(-zeta*wn*x)*(math.Cos(wd*x)+zeta/math.Sqrt(1-zeta*zeta)*math.Sin(wd*x)))
				}
				return 0.1
			}),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 0.2 + 20.59528e-3, 3e-5, analyze.Pass}, {"on", "OUT1", analyze.TransitionDuration, 26.0628e-3, 6e-5, analyze.NoVerdict},
				{"on", "OUT1", analyze.HighLevel, 12.1, 1e-3, analyze.Pass}, {"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "hum of 50 Hz", meaning: "level as without it, ripple its peak to peak",
			limits: usual(), expect: both, d: plain(plus(good, hum(50, 0.5))),
			figures: []figure{{"on", "OUT1", analyze.HighLevel, 12.6, 5e-3, analyze.Pass}, {"on", "OUT1", analyze.Ripple, 0.5, 2e-3, analyze.Pass},
				{"off", "OUT1", analyze.LowLevel, 0.1, 5e-3, analyze.Pass}, {"on", "OUT1", analyze.SwitchingDelay, 0.1995, 1e-4, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "hum of 60 Hz over the limit", meaning: "ripple fails, nothing else",
			limits: usual(), expect: both, d: plain(plus(good, hum(60, 0.9))),
			figures: []figure{{"on", "OUT1", analyze.HighLevel, 12.6, 9e-3, analyze.Pass}, {"on", "OUT1", analyze.Ripple, 0.9, 4e-3, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 is not steady: 899 mV peak to peak"}},
		{name: "5 s missing at the crossing", meaning: "a delay of 2.5 ± 2.4 s: undecided for what is missing, not late",
			limits: usual(), expect: both,
			d:       draw(14).output("OUT1", 1000, levels(0.1, 1.3, 12.6, 10.2, 0.1), hole{0.9, 5.9}).event("on", 1).event("off", 10),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 2.4, 0.01, analyze.Undecided}, {"on", "OUT1", analyze.HighLevel, 12.6, 1e-5, analyze.Pass}},
			verdict: analyze.Undecided, says: []string{"Samples of OUT1 are missing at on, for 5.00 s"}},
		{name: "5 s missing in a settled part", meaning: "the level stands; what the output did meanwhile is not known",
			limits: usual(), expect: both,
			d: draw(14).output("OUT1", 1000, levels(0.1, 1.2, 12.6, 10.2, 0.1), hole{3, 8}).event("on", 1).event("off", 10),
			figures: []figure{{"on", "OUT1", analyze.HighLevel, 12.6, 1e-5, analyze.Pass}, {"on", "OUT1", analyze.Hold, 0, 0, analyze.Undecided},
				{"off", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Undecided, says: []string{"Samples of OUT1 are missing at on, for 5.00 s"}},
		{name: "samples end early", meaning: "what came after is not known",
			limits: usual(), expect: both, d: plain(good, hole{5, 8}),
			figures: []figure{{"off", "OUT1", analyze.LowLevel, 0.1, 1e-5, analyze.Pass}, {"off", "OUT1", analyze.Hold, 0, 0, analyze.Undecided}},
			verdict: analyze.Undecided, says: []string{"Samples of OUT1 are missing at off, for 2.00 s"}},
		{name: "no samples in a state", meaning: "nothing is known, of the next transition either",
			limits: usual(), expect: both, d: plain(good, hole{0.9999, 3.9999}),
			figures: []figure{{"on", "OUT1", analyze.HighLevel, nan, 0, analyze.Undecided}, {"on", "OUT1", analyze.SwitchingDelay, nan, 0, analyze.Undecided},
				{"on", "OUT1", analyze.Hold, nan, 0, analyze.Undecided}, {"off", "OUT1", analyze.LowLevel, 0.1, 1e-5, analyze.Pass}},
			verdict: analyze.Undecided, says: []string{"OUT1 gave no samples at on"}},
		{name: "no samples at all", meaning: "undecided, said once",
			limits: usual(), expect: both, d: plain(good, hole{-1, 8}),
			figures: []figure{{"on", "OUT1", analyze.HighLevel, nan, 0, analyze.Undecided}},
			verdict: analyze.Undecided, says: []string{"OUT1 gave no samples at on, off"}},
		{name: "one sample a state", meaning: "a level, from one sample and so with much uncertainty; a delay as wide as the time between samples; and whether the state was kept nobody saw",
			limits: analyze.Limits{analyze.HighLevel: {Lower: 11, Upper: 14.5}, analyze.LowLevel: atMost(2)}, expect: both,
			d: draw(7).output("OUT1", 0.4, good).event("on", 1).event("off", 4),
			figures: []figure{{"on", "OUT1", analyze.HighLevel, 12.6, 1e-5, analyze.Pass}, {"off", "OUT1", analyze.LowLevel, 0.1, 1e-5, analyze.Pass},
				{"on", "OUT1", analyze.SwitchingDelay, 0.25, 1e-3, analyze.NoVerdict}, {"on", "OUT1", analyze.Ripple, nan, 0, analyze.NoVerdict},
				{"on", "OUT1", analyze.Hold, 0, 0, analyze.Undecided}},
			verdict: analyze.Undecided, says: []string{"Hold of OUT1 cannot be decided at on, off. The reason stands with each figure"}},
		{name: "1.4 s missing in a state without a limit of hold", meaning: "that it stays high is demanded, and was not watched",
			limits: analyze.Limits{analyze.HighLevel: {Lower: 11, Upper: 14.5}}, expect: both, d: plain(good, hole{1.9, 3.3}),
			figures: []figure{{"on", "OUT1", analyze.Hold, 0, 0, analyze.Undecided}, {"off", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Undecided, says: []string{"Samples of OUT1 are missing at on"}},
		{name: "a duration of a transition that nobody could place", meaning: "its limit is not met unseen, with or without one of the delay",
			limits: analyze.Limits{analyze.TransitionDuration: atMost(0.01)}, expect: both,
			d:       draw(6).output("OUT1", 1000, good, hole{-1, 1.3}).event("on", 1).event("off", 4),
			figures: []figure{{"on", "OUT1", analyze.TransitionDuration, nan, 0, analyze.Undecided}},
			verdict: analyze.Undecided, says: []string{"Samples of OUT1 are missing at on, for 300 ms"}},
		{name: "20 ms missing while it should keep its state", meaning: "it may have dropped out and come back",
			limits: analyze.Limits{analyze.Hold: atMost(0)}, expect: both, d: plain(good, hole{2, 2.02}),
			figures: []figure{{"on", "OUT1", analyze.Hold, 0, 0, analyze.Undecided}, {"off", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Undecided, says: []string{"Samples of OUT1 are missing at on, for 20"}},
		{name: "5 ms missing while it should keep its state", meaning: "no more than a few samples",
			limits: analyze.Limits{analyze.Hold: atMost(0)}, expect: both, d: plain(good, hole{2, 2.005}),
			figures: []figure{{"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "one sample a state, and it should be kept", meaning: "one sample cannot say that a state was kept",
			limits: analyze.Limits{analyze.Hold: atMost(0)}, expect: both,
			d:       draw(7).output("OUT1", 0.4, good).event("on", 1).event("off", 4),
			figures: []figure{{"on", "OUT1", analyze.Hold, 0, 0, analyze.Undecided}},
			verdict: analyze.Undecided, says: []string{"Hold of OUT1 cannot be decided at on, off. The reason stands with each figure"}},
		{name: "0.2 s missing at the crossing", meaning: "anywhere in these 0.2 s, whether samples are means or not",
			limits: usual(), expect: both, d: plain(good, hole{1.1, 1.3}),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 0.2, 1e-3, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "a duration of which there is only a bound", meaning: "neither that it is too long nor that it is near a limit",
			limits: analyze.Limits{analyze.TransitionDuration: atMost(0.01)}, expect: both, d: plain(good, hole{1.1, 1.3}),
			figures: []figure{{"on", "OUT1", analyze.TransitionDuration, 0.2, 0, analyze.Undecided}, {"off", "OUT1", analyze.TransitionDuration, 1e-3, 0, analyze.Pass}},
			verdict: analyze.Undecided, says: []string{"Transition duration of OUT1 cannot be decided at on. The reason stands with each figure"}},
		{name: "millivolts for volts", meaning: "no charger is at 12600 V",
			limits: usual(), expect: both, d: plain(levels(100, 1.2, 12600, 4.2, 100)),
			figures: []figure{{"on", "OUT1", analyze.HighLevel, 12600, 1e-3, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 reads up to 12600 V at on, off, which it cannot have. Check whether the file's column holds millivolts"}},
		{name: "clock step", meaning: "time jumps on by 5 s in a settled part: as if samples were missing",
			limits: usual(), expect: both,
			d: func() drawing {
				d := draw(14).event("on", 1).event("off", 9)
				tr := capture.NewTrace("OUT1", capture.Converter{})
				for i := range 9000 {
					at := float64(i) / 1000
					if i >= 2000 {
						at += 5
					}
					tr.Append(capture.FromSeconds(at), levels(0.1, 1.2, 12.6, 9.2, 0.1)(at))
				}
				d.Traces = append(d.Traces, tr)
				return d
			}(),
			figures: []figure{{"on", "OUT1", analyze.HighLevel, 12.6, 1e-5, analyze.Pass}, {"on", "OUT1", analyze.Hold, 0, 0, analyze.Undecided}},
			verdict: analyze.Undecided, says: []string{"Samples of OUT1 are missing at on, for 5.00 s"}},
		{name: "negative voltage", meaning: "it moved, the wrong way: wires swapped, and no complaint of an output that stays",
			limits: usual(), expect: both, d: plain(levels(-0.1, 1.2, -12.6, 4.2, -0.1)),
			verdict: analyze.Fail, says: []string{"OUT1 is at -12.6 V at on, off, below zero"}},
		{name: "8 samples a second", meaning: "delay within 0.125 s; the duration only bounded",
			limits: usual(), expect: both, d: draw(7).output("OUT1", 8, good).event("on", 1).event("off", 4),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 0.2, 0.0625, analyze.Pass}, {"on", "OUT1", analyze.TransitionDuration, 0.125, 0.01, analyze.NoVerdict},
				{"on", "OUT1", analyze.HighLevel, 12.6, 1e-5, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "1 million samples a second", meaning: "microseconds are resolved",
			limits: usual(), expect: both,
			d: draw(0.7).output("OUT1", 1e6, levels(0.1, 0.1512345, 12.6, 0.4512345, 0.1)).event("on", 0.1).event("off", 0.4),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 0.0512345, 1e-6, analyze.Pass}, {"off", "OUT1", analyze.SwitchingDelay, 0.0512345, 1e-6, analyze.Pass},
				{"on", "OUT1", analyze.HighLevel, 12.6, 1e-5, analyze.Pass}, {"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "output with a bouncing contact", meaning: "delay to the first closing, and bounce is settling",
			limits: usual(), expect: both,
			d:       draw(3).output("OUT1", 10e3, levels(0, 1.1, 12, 1.1005, 0, 1.101, 12, 1.1015, 0, 1.102, 12, 2.1, 0)).event("on", 1).event("off", 2),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 0.1, 1e-4, analyze.Pass}, {"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "exit delay kept", meaning: "its own time is the limit",
			limits: usual(), expect: map[string]analyze.Expectation{"on": delayed, "off": goLow}, d: plain(levels(0.1, 3.01, 12.6, 4.2, 0.1)),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 2.0095, 1e-5, analyze.Pass}}, verdict: analyze.Pass},
		{name: "exit delay skipped", meaning: "early, and it stayed",
			limits: usual(), expect: map[string]analyze.Expectation{"on": delayed, "off": goLow}, d: plain(good),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 0.1995, 1e-5, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 switches early at on: after 0.200 s"}},
		{name: "wrong state early in the exit delay", meaning: "it was high too early, and fell back before the time",
			limits: usual(), expect: map[string]analyze.Expectation{"on": delayed, "off": goLow}, d: plain(levels(0.1, 1.2, 12.6, 1.7, 0.1, 3.01, 12.6, 4.2, 0.1)),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 0.1995, 1e-5, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 left its state", "OUT1 switches early at on"}},
		{name: "rings far beyond the supply", meaning: "the level is where it settles; that it went so far is said, and is nobody's limit",
			limits: usual(), expect: both,
			d: draw(7).output("OUT1", 10e3, func(t float64) float64 {
				// Textbook: a second-order step with a damping of 0.2 goes 52.7 % beyond its level.
				ring := func(since float64) float64 {
					w := 2 * math.Pi * 500 * math.Sqrt(1-0.2*0.2)
					return 1 - math.Exp(-0.2*2*math.Pi*500*since)*(math.Cos(w*since)+0.2/math.Sqrt(1-0.2*0.2)*math.Sin(w*since))
				}
				switch {
				case t < 1.2:
					return 0.1
				case t < 4.2:
					return 0.1 + 12.5*ring(t-1.2)
				}
				return 12.6 - 12.5*ring(t-4.2)
			}).event("on", 1).event("off", 4),
			figures: []figure{{"on", "OUT1", analyze.HighLevel, 12.6, 0.02, analyze.Pass}, {"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass},
				{"off", "OUT1", analyze.LowLevel, 0.1, 0.02, analyze.Pass}},
			verdict: analyze.Pass, says: []string{"OUT1 overshoots at on: it goes up to 19.2 V before it settles at 12.6 V", "OUT1 undershoots at off: it goes down to -6.47 V before it settles at 100 mV"}},
		{name: "a coil's diode", meaning: "the terminal goes a diode's voltage below zero, which is sound",
			limits: usual(), expect: both, d: plain(levels(0.6, 1.2, 12.6, 4.2, -0.75, 4.21, 0.6)), verdict: analyze.Pass},
		{name: "a coil's diode and a high off level", meaning: "below zero counts, not below the level",
			limits: analyze.Limits{}, expect: both, d: plain(levels(2.8, 1.2, 12.6, 4.2, -0.75, 4.21, 2.8)), verdict: analyze.Pass},
		{name: "pulse", meaning: "its length, and both levels",
			limits: usual(), expect: map[string]analyze.Expectation{"on": pulse1s, "off": unmoved}, d: plain(levels(0.1, 1.2, 12.6, 2.22, 0.1)),
			figures: []figure{{"on", "OUT1", analyze.PulseDuration, 1.02, 1e-6, analyze.Pass}, {"on", "OUT1", analyze.HighLevel, 12.6, 1e-5, analyze.Pass},
				{"on", "OUT1", analyze.LowLevel, 0.1, 1e-5, analyze.Pass}, {"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "pulse too long", meaning: "its length, not its hold",
			limits: usual(), expect: map[string]analyze.Expectation{"on": pulse1s, "off": unmoved}, d: plain(levels(0.1, 1.2, 12.6, 2.6, 0.1)),
			figures: []figure{{"on", "OUT1", analyze.PulseDuration, 1.4, 1e-6, analyze.Fail}, {"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Fail, says: []string{"OUT1 pulses for 1.40 s"}},
		{name: "pulse missing", meaning: "it did not go high",
			limits: usual(), expect: map[string]analyze.Expectation{"on": pulse1s, "off": unmoved}, d: plain(levels(0.1)),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, nan, 0, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 did not go high at on"}},
		{name: "pulse that does not end", meaning: "no pulse, and no second complaint",
			limits: usual(), expect: map[string]analyze.Expectation{"on": pulse1s, "off": goLow}, d: plain(good),
			figures: []figure{{"on", "OUT1", analyze.PulseDuration, nan, 0, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 went high at on and did not come back"}},
		{name: "double pulse", meaning: "the first one's length, and that there were two",
			limits: without(usual(), analyze.Hold), expect: map[string]analyze.Expectation{"on": pulse1s, "off": unmoved},
			d:       plain(levels(0.1, 1.2, 12.6, 2.2, 0.1, 2.6, 12.6, 3.4, 0.1)),
			figures: []figure{{"on", "OUT1", analyze.PulseDuration, 1, 1e-6, analyze.Pass}},
			verdict: analyze.Fail, says: []string{"OUT1 pulsed 2 times at on"}},
		{name: "short pulse before the right one", meaning: "the length of the longer one, from its own rise",
			limits: without(usual(), analyze.Hold), expect: map[string]analyze.Expectation{"on": pulse1s, "off": unmoved},
			d:       plain(levels(0.1, 1.2, 12.6, 1.4, 0.1, 1.9, 12.6, 2.9, 0.1)),
			figures: []figure{{"on", "OUT1", analyze.PulseDuration, 1, 1e-6, analyze.Pass}},
			verdict: analyze.Fail, says: []string{"OUT1 pulsed 2 times at on"}},
		{name: "train", meaning: "their number, the times farthest from what is expected, both levels, and nothing of it is an excursion",
			limits: usual(), expect: map[string]analyze.Expectation{"on": three, "off": unmoved}, d: plain(pulses(1.2, 0.2, 0.3, 0.21, 0.28, 0.2)),
			figures: []figure{{"on", "OUT1", analyze.PulseCount, 3, 0, analyze.Pass}, {"on", "OUT1", analyze.OnTime, 0.21, 1e-6, analyze.Pass},
				{"on", "OUT1", analyze.OffTime, 0.28, 1e-6, analyze.Pass}, {"on", "OUT1", analyze.HighLevel, 12.6, 1e-5, analyze.Pass},
				{"on", "OUT1", analyze.LowLevel, 0.1, 1e-5, analyze.Pass}, {"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass},
				{"on", "OUT1", analyze.SwitchingDelay, 0.1995, 1e-6, analyze.Pass}, {"off", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "train of bouncing contacts", meaning: "what is over within 20 ms is no pulse",
			limits: without(usual(), analyze.SwitchingDelay), expect: map[string]analyze.Expectation{"on": three, "off": unmoved},
			d:       plain(pulses(1.2, 0.003, 0.004, 0.193, 0.3, 0.1, 0.008, 0.092, 0.3, 0.19, 0.005, 0.005)),
			figures: []figure{{"on", "OUT1", analyze.PulseCount, 3, 0, analyze.Pass}, {"on", "OUT1", analyze.OnTime, 0.2, 0.011, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "train with a pulse too few", meaning: "its number alone",
			limits: usual(), expect: map[string]analyze.Expectation{"on": three, "off": unmoved}, d: plain(pulses(1.2, 0.2, 0.3, 0.2)),
			figures: []figure{{"on", "OUT1", analyze.PulseCount, 2, 0, analyze.Fail}, {"on", "OUT1", analyze.OnTime, 0.2, 1e-6, analyze.Pass},
				{"on", "OUT1", analyze.OffTime, 0.3, 1e-6, analyze.Pass}, {"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Fail, says: []string{"OUT1 pulsed only 2 times at on, 3 expected"}},
		{name: "train with a pulse too many", meaning: "its number, and that it was not at rest after the third",
			limits: without(usual(), analyze.Hold), expect: map[string]analyze.Expectation{"on": three, "off": unmoved}, d: plain(pulses(1.2, 0.2, 0.3, 0.2, 0.3, 0.2, 0.3, 0.2)),
			figures: []figure{{"on", "OUT1", analyze.PulseCount, 4, 0, analyze.Fail}, {"on", "OUT1", analyze.Hold, 0.2, 2e-3, analyze.NoVerdict}},
			verdict: analyze.Fail, says: []string{"OUT1 pulsed 4 times at on, 3 expected"}},
		{name: "train with one pulse too long", meaning: "that one is shown",
			limits: usual(), expect: map[string]analyze.Expectation{"on": three, "off": unmoved}, d: plain(pulses(1.2, 0.2, 0.3, 0.25, 0.3, 0.2)),
			figures: []figure{{"on", "OUT1", analyze.OnTime, 0.25, 1e-6, analyze.Fail}, {"on", "OUT1", analyze.PulseCount, 3, 0, analyze.Pass}},
			verdict: analyze.Fail, says: []string{"OUT1 stays on too long at on: for 250 ms each time; the nearest limit is 220 ms"}},
		{name: "steady instead of pulses", meaning: "one pulse that has not ended",
			limits: usual(), expect: map[string]analyze.Expectation{"on": three, "off": goLow}, d: plain(good),
			figures: []figure{{"on", "OUT1", analyze.PulseCount, 1, 0, analyze.Fail}, {"on", "OUT1", analyze.OnTime, 2.79, 0.01, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 is steady at on"}},
		{name: "train that does not come", meaning: "one finding",
			limits: usual(), expect: map[string]analyze.Expectation{"on": three, "off": unmoved}, d: plain(levels(0.1)),
			figures: []figure{{"on", "OUT1", analyze.PulseCount, 0, 0, analyze.Fail}, {"on", "OUT1", analyze.SwitchingDelay, nan, 0, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 did not go high at on"}},
		{name: "train with a hole in its samples", meaning: "a pulse may have been in it",
			limits: without(usual(), analyze.Hold), expect: map[string]analyze.Expectation{"on": three, "off": unmoved},
			d:       plain(pulses(1.2, 0.2, 0.3, 0.2, 0.3, 0.2), hole{2.5, 3}),
			figures: []figure{{"on", "OUT1", analyze.PulseCount, 3, 0, analyze.Undecided}, {"on", "OUT1", analyze.OnTime, 0.2, 1e-6, analyze.Undecided}},
			verdict: analyze.Undecided, says: []string{"Samples of OUT1 are missing at on"}},
		{name: "train with a hole and a pulse too many", meaning: "what was seen is enough to fail",
			limits: without(usual(), analyze.Hold), expect: map[string]analyze.Expectation{"on": three, "off": unmoved},
			d:       plain(pulses(1.2, 0.2, 0.3, 0.2, 0.3, 0.2, 0.3, 0.2), hole{3.1, 3.5}),
			figures: []figure{{"on", "OUT1", analyze.PulseCount, 4, 0, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 pulsed 4 times at on, 3 expected", "Samples of OUT1 are missing at on"}},
		{name: "flashing", meaning: "till the next event, wherever that finds it; low from where it no longer flashes",
			limits: usual(), expect: map[string]analyze.Expectation{"on": flashing, "off": goLow}, d: plain(pulses(1.1, flashes(8, 0.2, 0.2, 0.12)...)),
			figures: []figure{{"on", "OUT1", analyze.PulseCount, 8, 0, analyze.NoVerdict}, {"on", "OUT1", analyze.OnTime, 0.2, 1e-6, analyze.Pass},
				{"on", "OUT1", analyze.OffTime, 0.2, 1e-6, analyze.Pass}, {"off", "OUT1", analyze.SwitchingDelay, 0.0195, 1e-3, analyze.Pass}, {"off", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "flashing, low when the next event comes", meaning: "there is no delay to measure",
			limits: usual(), expect: map[string]analyze.Expectation{"on": flashing, "off": goLow}, d: plain(pulses(1.25, flashes(7, 0.2, 0.2, 0.2)...)),
			figures: []figure{{"on", "OUT1", analyze.OffTime, 0.2, 1e-6, analyze.Pass}, {"off", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "flashing too slowly", meaning: "both times",
			limits: usual(), expect: map[string]analyze.Expectation{"on": flashing, "off": goLow}, d: plain(pulses(1.25, flashes(6, 0.25, 0.26, 0.25)...)),
			figures: []figure{{"on", "OUT1", analyze.OnTime, 0.25, 1e-6, analyze.Fail}, {"on", "OUT1", analyze.OffTime, 0.26, 1e-6, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 stays on too long at on", "OUT1 stays off too long at on"}},
		{name: "flashing that goes on once after the event", meaning: "until the unit has acted",
			limits: usual(), expect: map[string]analyze.Expectation{"on": flashing, "off": goLow}, d: plain(pulses(1.3, flashes(8, 0.2, 0.2, 0.1)...)),
			figures: []figure{{"off", "OUT1", analyze.SwitchingDelay, 0.1995, 1e-3, analyze.Pass}, {"off", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "flashing that the event ends as a pulse begins", meaning: "no excursion, and no delay to measure",
			limits: usual(), expect: map[string]analyze.Expectation{"on": flashing, "off": goLow}, d: plain(pulses(1.25, append(flashes(7, 0.2, 0.2, 0.2), 0.2, 0.004)...)),
			figures: []figure{{"off", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "flashing that does not end", meaning: "it was to be low",
			limits: usual(), expect: map[string]analyze.Expectation{"on": flashing, "off": goLow}, d: plain(pulses(1.2, flashes(20, 0.2, 0.2, 0.2)...)),
			verdict: analyze.Fail, says: []string{"OUT1 goes on flashing at off"}},
		{name: "flashing that stops", meaning: "off for longer than that",
			limits: usual(), expect: map[string]analyze.Expectation{"on": flashing, "off": goLow}, d: plain(pulses(1.2, flashes(3, 0.2, 0.2, 0.2)...)),
			figures: []figure{{"on", "OUT1", analyze.OffTime, 1.79, 0.01, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 stops flashing 1.20 s after on"}},
		{name: "steady instead of flashing", meaning: "high for longer than that",
			limits: usual(), expect: map[string]analyze.Expectation{"on": flashing, "off": goLow}, d: plain(good),
			figures: []figure{{"on", "OUT1", analyze.OnTime, 2.79, 0.01, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 is steady at on"}},
		{name: "flashing for a time", meaning: "from the first rise to the last fall, the last one cut short",
			limits: usual(), expect: map[string]analyze.Expectation{"on": forTwo, "off": unmoved}, d: plain(pulses(1.2, flashes(5, 0.2, 0.2, 0.1)...)),
			figures: []figure{{"on", "OUT1", analyze.FlashingDuration, 1.7, 1e-6, analyze.Pass}, {"on", "OUT1", analyze.OnTime, 0.2, 1e-6, analyze.Pass}, {"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "flashing for a time, the last one cut short by little", meaning: "its length says nothing",
			limits: usual(), expect: map[string]analyze.Expectation{"on": forTwo, "off": unmoved}, d: plain(pulses(1.2, flashes(5, 0.2, 0.2, 0.1801)...)),
			figures: []figure{{"on", "OUT1", analyze.OnTime, 0.2, 1e-6, analyze.Pass}}, verdict: analyze.Pass},
		{name: "flashing for too short a time", meaning: "from the first rise to the last fall",
			limits: usual(), expect: map[string]analyze.Expectation{"on": forTwo, "off": unmoved}, d: plain(pulses(1.2, flashes(3, 0.2, 0.2, 0.2)...)),
			figures: []figure{{"on", "OUT1", analyze.FlashingDuration, 1, 1e-6, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 flashes for only 1.00 s at on"}},
		{name: "flashing that does not end in its time", meaning: "no less than what was seen",
			limits: usual(), expect: map[string]analyze.Expectation{"on": forTwo, "off": goLow}, d: plain(pulses(1.2, flashes(7, 0.2, 0.2, 0.2)...)),
			figures: []figure{{"on", "OUT1", analyze.FlashingDuration, 2.79, 0.01, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"OUT1 flashes for 2.79 s at on, at most 1.98 s"}},
		{name: "changes exactly at the event", meaning: "a delay of nothing, within one interval",
			limits: usual(), expect: both, d: plain(levels(0.1, 1, 12.6, 4, 0.1)),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, -0.0005, 1e-6, analyze.Pass}, {"off", "OUT1", analyze.SwitchingDelay, -0.0005, 1e-6, analyze.Pass},
				{"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "crosses between the last sample before the event and the first after", meaning: "the same; it is this event's crossing",
			limits: usual(), expect: both,
			d:       draw(7).output("OUT1", 1000, levels(0.1, 1.0003, 12.6, 4.0003, 0.1)).event("on", 1.0002).event("off", 4.0002),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 0.0003, 1e-6, analyze.Pass}, {"off", "OUT1", analyze.SwitchingDelay, 0.0003, 1e-6, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "event at the very end", meaning: "too soon to say anything of it",
			limits: usual(), expect: both, d: draw(4).output("OUT1", 1000, good).event("on", 1).event("off", 4),
			figures: []figure{{"off", "OUT1", analyze.SwitchingDelay, nan, 0, analyze.Undecided}, {"on", "OUT1", analyze.HighLevel, 12.6, 1e-5, analyze.Pass}},
			verdict: analyze.Undecided, says: []string{"OUT1 was watched for only 0 ms at off"}},
		{name: "watched for less than it may take", meaning: "not late yet",
			limits: usual(), expect: both, d: draw(4.15).output("OUT1", 1000, good).event("on", 1).event("off", 4),
			figures: []figure{{"off", "OUT1", analyze.SwitchingDelay, nan, 0, analyze.Undecided}},
			verdict: analyze.Undecided, says: []string{"OUT1 was watched for only 150 ms at off"}},
		{name: "no lead-in", meaning: "where it goes up it was low before; where nothing moves nothing is known of a delay",
			limits: usual(), expect: map[string]analyze.Expectation{"on": goHigh, "off": goHigh},
			d:       draw(6).output("OUT1", 1000, levels(12.6)).event("on", 0).event("off", 3),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, nan, 0, analyze.Undecided}, {"on", "OUT1", analyze.HighLevel, 12.6, 1e-5, analyze.Pass}},
			verdict: analyze.Undecided},
		{name: "no lead-in, but a transition", meaning: "measured as any",
			limits: usual(), expect: both, d: draw(6).output("OUT1", 1000, levels(0.1, 0.2, 12.6, 3.2, 0.1)).event("on", 0).event("off", 3),
			figures: []figure{{"on", "OUT1", analyze.SwitchingDelay, 0.1995, 1e-6, analyze.Pass}},
			verdict: analyze.Pass},
		{name: "readings that are none", meaning: "left out, as if they were not there",
			limits: usual(), expect: both,
			d: plain(func(t float64) float64 {
				switch i := int(math.Round(t * 1000)); {
				case i%7 == 3:
					return math.NaN()
				case i%501 == 250:
					return math.Inf(i%2*2 - 1)
				}
				return good(t)
			}),
			figures: []figure{{"on", "OUT1", analyze.HighLevel, 12.6, 1e-5, analyze.Pass}, {"on", "OUT1", analyze.SwitchingDelay, 0.2, 1e-3, analyze.Pass},
				{"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass}},
			verdict: analyze.Pass},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Log("sensibly: " + tc.meaning)
			plan := outputPlan(tc.limits, tc.expect)
			r, findings := measured(t, plan, tc.d)
			for _, f := range tc.figures {
				f.check(t, r)
			}
			if got := r.Verdict(); got != tc.verdict {
				t.Errorf("verdict %q, want %q", got, tc.verdict)
			}
			says(t, findings, tc.says...)
			if _, err := diagnose.Examine(nil, tc.d.Capture); err != nil {
				t.Error(err)
			}
		})
	}
}

// Where 0.2 s of samples are missing at a step, it is somewhere in these: nobody takes
// the samples for means over so long.
func TestHardWaves_HoleAtTheStep(t *testing.T) {
	d := draw(7).output("OUT1", 1000, levels(0.1, 1.2, 12.6), hole{1.1, 1.3}).event("on", 1)
	r, _ := measured(t, outputPlan(usual(), map[string]analyze.Expectation{"on": goHigh}), d)
	x := rowsOf(r, "on", "OUT1", analyze.SwitchingDelay)[0]
	if want := 0.95 * 0.1; math.Abs(x.Expanded-want) > 1e-3 {
		t.Errorf("U = %g s, want 95 %% of ± 0.1 s, %g s", x.Expanded, want)
	}
}

// Of a hundred outputs one moves that should not: it alone is named.
func TestHardWaves_HundredOutputs(t *testing.T) {
	d := draw(7)
	for i := range 100 {
		v := levels(0.1)
		switch i {
		case 0:
			v = levels(0.1, 1.2, 12.6, 4.2, 0.1)
		case 41:
			v = levels(0.1, 2.5, 12.6)
		}
		d = d.output(fmt.Sprintf("OUT%d", i+1), 50, v)
	}
	d = d.event("on", 1).event("off", 4)
	plan := outputPlan(usual(), map[string]analyze.Expectation{"on": goHigh, "off": goLow})
	plan.OthersUnmoved = true
	r, findings := measured(t, plan, d)
	says(t, findings, "OUT42 moved at on and should have kept its state")
	if n := len(rowsOf(r, "on", "OUT77", analyze.Hold)); n != 1 {
		t.Errorf("%d rows of hold for OUT77, want 1", n)
	}
}

// Events 1 ms apart: whatever the sampling, no failure is made of states that nobody
// could have watched.
func TestHardWaves_EventsClose(t *testing.T) {
	plan := outputPlan(usual(), map[string]analyze.Expectation{"on": goHigh, "off": goLow})
	for _, rate := range []float64{100, 860, 20e3} {
		d := draw(3).output("OUT1", rate, levels(0.1))
		for i := range 20 {
			d = d.event([]string{"on", "off"}[i%2], 1+float64(i)*1e-3)
		}
		r, findings := measured(t, plan, d)
		if r.Verdict() != analyze.Undecided {
			t.Errorf("%g samples/s: verdict %q:\n%s", rate, r.Verdict(), findings)
		}
	}
}

// Cells that are no number and time that runs backwards are refused by the reader,
// with their place; a cell that says NaN is a reading that is missing.
func TestHardWaves_Cells(t *testing.T) {
	read := func(rows string) (*capture.Capture, error) {
		r, err := csvfile.NewReader(strings.NewReader("time_s,OUT1_V,event\n"+rows), "hard.csv", 0)
		if err != nil {
			t.Fatal(err)
		}
		for err == nil {
			_, err = r.Next()
		}
		if errors.Is(err, io.EOF) {
			err = nil
		}
		return r.Capture(), err
	}
	for rows, want := range map[string]string{
		"0,0.1,\n1,twelve,on\n":       "hard.csv:3: column 2 (OUT1_V): \"twelve\"",
		"0,0.1,\n1,0.1,on\n0.5,12,\n": "hard.csv:4: column 1 (time_s)",
		"0,Inf,\n":                    "hard.csv:2: column 2 (OUT1_V)",
	} {
		if _, err := read(rows); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: error %v, want one with %q", rows, err, want)
		}
	}
	var b strings.Builder
	for i := range 600 {
		cell := "0.1"
		if i >= 320 {
			cell = "12.5"
		}
		if i%5 == 0 {
			cell = "NaN"
		}
		event := ""
		if i == 300 {
			event = "on"
		}
		fmt.Fprintf(&b, "%.2f,%s,%s\n", float64(i)/100, cell, event)
	}
	c, err := read(b.String())
	if err != nil {
		t.Fatal(err)
	}
	if c.Traces[0].Missing != 120 {
		t.Errorf("%d readings missing, want 120", c.Traces[0].Missing)
	}
	plan := outputPlan(usual(), map[string]analyze.Expectation{"on": goHigh})
	r, findings := measured(t, plan, drawing{c})
	figure{"on", "OUT1", analyze.HighLevel, 12.5, 1e-5, analyze.Pass}.check(t, r)
	figure{"on", "OUT1", analyze.SwitchingDelay, 0.19, 0.011, analyze.Pass}.check(t, r)
	says(t, findings)
}

// The names that a plan has and the capture has not are an error that says what there is.
func TestHardWaves_Names(t *testing.T) {
	d := draw(1).output("OUT2", 10, levels(0)).contact("K1_NO", false)
	plan := outputPlan(nil, nil)
	if _, err := diagnose.NewExaminer(plan, d.Capture); err == nil || !strings.Contains(err.Error(), "no output OUT1") || !strings.Contains(err.Error(), "OUT2") {
		t.Errorf("error %v", err)
	}
	plan = &analyze.Plan{Relays: []analyze.RelayPlan{{Signal: "K1", Make: "K1_NO", Break: "K1_NC"}}}
	if _, err := diagnose.NewExaminer(plan, d.Capture); err == nil || !strings.Contains(err.Error(), "no contact K1_NC of relay K1 (it has: K1_NO)") {
		t.Errorf("error %v", err)
	}
}

// A slow edge with noise on it: the stated uncertainty of its instant and of its
// duration must hold their errors, of 19 in 20 draws at least.
func TestHardWaves_NoisyRamp(t *testing.T) {
	const draws = 100
	outside := map[analyze.Quantity]int{}
	for seed := range uint64(draws) {
		ramp := func(t float64) float64 { return 12 * math.Max(0, math.Min(1, (t-1.2)/1.5)) }
		d := draw(7).output("OUT1", 1000, plus(ramp, jitter(0.5, seed*0x9E3779B9+1))).event("on", 1)
		r, err := diagnose.Examine(nil, d.Capture)
		if err != nil {
			t.Fatal(err)
		}
		for q, want := range map[analyze.Quantity]float64{analyze.SwitchingDelay: 0.95, analyze.TransitionDuration: 1.2} {
			x := rowsOf(r, "on", "OUT1", q)[0]
			if !(math.Abs(x.Value-want) <= x.Expanded) {
				outside[q]++
			}
		}
	}
	t.Logf("outside of their expanded uncertainty, of %d: %v", draws, outside)
	for q, n := range outside {
		if n > draws/20+5 { // binomial, 3 standard deviations
			t.Errorf("%s: %d of %d errors outside of the expanded uncertainty", q, n, draws)
		}
	}
}

// One sample says nothing of its own scatter: the level's uncertainty must not be the
// resolution alone.
func TestHardWaves_OneSample(t *testing.T) {
	d := draw(1.9).output("OUT1", 1, levels(12.3)).event("on", 1)
	r, err := diagnose.Examine(nil, d.Capture)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range r.Measurements {
		if x.Quantity == analyze.HighLevel && !(x.Expanded > 0.3) {
			t.Errorf("%q: level %g ± %g V from few samples", x.Event, x.Value, x.Expanded)
		}
	}
	if n := len(rowsOf(r, "", "OUT1", analyze.HighLevel)); n != 1 {
		t.Errorf("%d rows of the level before the first event", n)
	}
}

// A calibration's points pull a reading to either side, so one of their doubts is
// negative: the ripple keeps its uncertainty, and its guard band.
func TestRipple_BehindACalibration(t *testing.T) {
	d := draw(4).output("OUT1", 860, plus(levels(0, 1, 13), hum(50, 0.5))).event("on", 1)
	d.Traces[0].Converter.Doubts = []capture.Doubt{
		{Source: capture.MeterAccuracy, Distribution: "rectangular", Relative: -0.0004, Volts: 0.005},
		{Source: capture.MeterAccuracy, Distribution: "rectangular", Relative: 0.006},
	}
	plan := &analyze.Plan{Steps: []string{"on"}, Outputs: []analyze.OutputPlan{{Signal: "OUT1",
		Expect: map[string]analyze.Expectation{"on": {Demand: analyze.High}}, Limits: analyze.Limits{analyze.Ripple: atMost(0.5)}}}}
	r, _ := measured(t, plan, d)
	x := rowsOf(r, "on", "OUT1", analyze.Ripple)
	if len(x) != 1 || !(x[0].Expanded > 0) || x[0].Verdict != analyze.Undecided {
		t.Errorf("ripple of 0.5 V at its limit: %+v", x)
	}
}
