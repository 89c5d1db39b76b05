package analyze

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"makebreak/analyze/gum"
)

var open = math.NaN()

// figure is a measurement with a budget, as the meter makes one, and judged.
func figure(q Quantity, value float64, limit Limit, rule Rule, budget ...gum.Component) *Measurement {
	m := Meter{plan: &Plan{Decide: rule}}
	m.row(Measurement{Signal: "X", Quantity: q, Value: value, Limit: limit}, budget)
	return m.lastRow()
}

func repeats(u, dof float64) gum.Component {
	return gum.Component{Source: "repeatability of the samples", Distribution: "normal", Standard: u, Sensitivity: 1, DegreesOfFreedom: dof}
}

func TestJudge_Rules(t *testing.T) {
	u := repeats(0.05, math.Inf(1)) // U = 0.098
	limit := Limit{12, 14.5}
	for _, c := range []struct {
		value           float64
		guarded, simple Verdict
	}{
		{13, Pass, Pass}, {12.2, Pass, Pass}, {12.05, Undecided, Pass}, {11.95, Undecided, Fail},
		{11.8, Fail, Fail}, {14.45, Undecided, Pass}, {14.55, Undecided, Fail}, {14.7, Fail, Fail},
	} {
		for rule, want := range map[Rule]Verdict{Guarded: c.guarded, "": c.guarded, Simple: c.simple} {
			x := figure(HighLevel, c.value, limit, rule, u)
			if x.Verdict != want {
				t.Errorf("%g V, rule %q: %s, want %s", c.value, rule, x.Verdict, want)
			}
			if (x.Reason != "") != (want == Undecided) {
				t.Errorf("%g V, rule %q: reason %q", c.value, rule, x.Reason)
			}
		}
	}
	// The probability is the same by either rule: 12.05 is one standard uncertainty
	// above the limit (normal distribution).
	for _, rule := range []Rule{Guarded, Simple} {
		if x := figure(HighLevel, 12.05, limit, rule, u); math.Abs(x.Conformance-0.841345) > 1e-5 {
			t.Errorf("rule %s: conformance %.6f", rule, x.Conformance)
		}
	}
	// Ten samples: Student's distribution, 9 degrees of freedom; p(t < 1) = 0.8283 (any
	// table of it).
	if x := figure(HighLevel, 12.05, Limit{12, open}, Guarded, repeats(0.05, 9)); math.Abs(x.Conformance-0.8283) > 5e-5 {
		t.Errorf("conformance %.5f with 9 degrees of freedom", x.Conformance)
	}
}

// What is proposed, worked out by hand beside each case.
func TestSettle(t *testing.T) {
	stamp := gum.Component{Source: "time stamp of the contact's edge", Distribution: "normal", Standard: 14e-6, Sensitivity: 1, DegreesOfFreedom: math.Inf(1)}
	for _, c := range []struct {
		name   string
		x      *Measurement
		reason string
	}{
		{
			// U = 1.96·0.1·s <= 0.1 for s = 0.510: 1/s² = 3.8 cycles.
			"scatter", figure(HighLevel, 12.1, Limit{12, 14.5}, Guarded, repeats(0.1, math.Inf(1))),
			"mostly the scatter of the samples (100 %): the mean of 4 cycles (or a state held 4 times as long) would settle it",
		},
		{
			// Ripple's noise; d = 0.01: s = 0.0255, 1537 cycles.
			"scatter, nearly at the limit", figure(Ripple, 0.49, Limit{open, 0.5}, Guarded, component("noise of two samples", "normal", 0.2, 1)),
			"mostly the scatter of the samples (100 %): the mean of 2000 cycles would settle it",
		},
		{
			// Resistors of 1 % behind 39k/10k at 12.06 V: half-width 0.796·0.1206 = 96 mV each.
			// d = 60 mV = 1.93·√(2·a²/3 + 2·7² mV²), with two drifts of 12 mV/√3 = 7 mV and the
			// meter's ±a counted twice: a = 36 mV.
			"resistors", figure(HighLevel, 12.06, Limit{12, 14.5}, Guarded, component("upper resistor", "rectangular", 0.096, 1), component("lower resistor", "rectangular", 0.096, 1)),
			"mostly the resistors and the converter (100 %): calibrating the output against a meter good to ± 30 mV or better would settle it",
		},
		{
			// d = 10 mV, less than what the drift of two resistors leaves (1.90·12.01 mV·√(2/3) = 18.6 mV).
			"resistors, nearly at the limit", figure(HighLevel, 12.01, Limit{12, 14.5}, Guarded, component("upper resistor", "rectangular", 0.096, 1), component("lower resistor", "rectangular", 0.096, 1)),
			"mostly the resistors and the converter (100 %); too close to the limit for this rig: with all that can be bettered, ± 20 mV would be left",
		},
		{
			// Rectangular: U = 1.645·u, u = T/√12, d = 0.5 ms: T = 1.05 ms.
			"sampling", figure(SwitchingDelay, 0.4995, Limit{open, 0.5}, Guarded, component("sampling interval", "rectangular", 2.4e-3/2, 1)),
			"mostly the sampling interval (100 %): samples at most 1 ms apart (now about 2.5 ms: sample the output alone, or faster) would settle it",
		},
		{
			// Both lines go with the interval: U = 1.65·T/√3·√(0.1² + 0.02²), d = 0.05 ms: T = 0.515 ms.
			"duration", figure(TransitionDuration, 9.95e-3, Limit{open, 10e-3}, Guarded, component("sampling interval", "rectangular", 1.2e-3, 0.1), component("sampling interval", "rectangular", 1.2e-3, 0.02)),
			"mostly the sampling interval (100 %): samples at most 500 µs apart (now about 1.2 ms: sample the output alone, or faster) would settle it",
		},
		{
			// Of hold: triangular with the interval as its half-width; U = 1.902·T/√6, d = 0.4 ms: T = 0.515 ms.
			"excursion", figure(Hold, 0.4e-3, Limit{open, 0}, Guarded, component("sampling interval", "triangular", 2.4e-3, 1)),
			"mostly the sampling interval (100 %): samples at most 500 µs apart (now about 2.5 ms: sample the output alone, or faster) would settle it",
		},
		{
			// d = 0.1 s, U = 1.96·u: 51 ms.
			"key press", figure(SwitchingDelay, 0.4, Limit{open, 0.5}, Guarded, component("instant of the event", "normal", 0.2, 1), component("time stamp", "normal", 10e-6, 1)),
			"mostly the instant of the event (100 %): a reference wired to the event, which gives its instant to ± 50 ms or better (now ± 200 ms) would settle it",
		},
		{
			// d = 10 µs, U = 1.96·14 µs·s: s = 0.364, 5.1 µs or 7.5 cycles.
			"stamps", figure(BounceTime, 4.99e-3, Limit{open, 5e-3}, Guarded, stamp),
			"mostly the time stamps (100 %): edges stamped to ± 5 µs or better (now ± 15 µs) (or the mean of 8 cycles) would settle it",
		},
		{
			// d = 50 mV. The resolution alone leaves 0.95·60 = 57 mV, so both are needed:
			// U = 0.118 V now, s = 0.42, 1/s² = 5.6 cycles and 120 mV·s = 50.7 mV.
			"two causes", figure(HighLevel, 12.05, Limit{12, 14.5}, Guarded, repeats(0.05, math.Inf(1)), component("resolution", "rectangular", 0.06, 1)),
			"mostly the scatter of the samples (70 %): the mean of 6 cycles (or a state held 6 times as long), and steps of 50 mV or finer (now 120 mV) would settle it together",
		},
		{
			"means", figure(SwitchingDelay, 0.4999, Limit{open, 0.5}, Guarded, component(samplesMayBeMeans, "rectangular", 0.3e-3, 1)),
			"mostly that samples may be means (100 %): saying whether the samples are means (--averaged) would settle it",
		},
		{
			// d = 4 mV = 1.93·√(2·a²/3 + 0.6² mV²): a = 2.4 mV.
			"calibrated", figure(HighLevel, 12.004, Limit{12, 14.5}, Guarded, component("meter accuracy", "rectangular", 12e-3, 1), component("ADC gain drift", "rectangular", 1e-3, 1)),
			"mostly the calibration (100 %): calibrating again, against a meter good to ± 2 mV or better would settle it",
		},
		{
			// Followed, at most 0.134 conversions (by what the simulated relays show, and so
			// computed beforehand): 0.134·1.16 ms/√3 = 90 µs standard, now 0.4·1.16 ms/√2 = 328 µs.
			// U = 1.645·90 µs = 148 µs <= 200 µs.
			"swept", figure(SwitchingDelay, 0.4998, Limit{open, 0.5}, Guarded, component(hiddenEdgeSwept, "U-shaped", 0.4, 1.16e-3)),
			"mostly how fast the edge is (100 %): following the output (sample: follow), which leaves some ± 100 µs of that (now ± 300 µs) would settle it",
		},
		{
			// The same nearer to the limit: 148 µs > 100 µs.
			"swept, following is not enough", figure(SwitchingDelay, 0.4999, Limit{open, 0.5}, Guarded, component(hiddenEdgeSwept, "U-shaped", 0.4, 1.16e-3)),
			"mostly how fast the edge is (100 %); too close to the limit for this rig: with all that can be bettered, ± 150 µs would be left",
		},
		{
			// What is 0.1 of a conversion already would be no less if the output were followed:
			// U = 1.44·0.1·1.16 ms/√2 = 118 µs stays, whatever else is done.
			"swept, as good as followed", figure(SwitchingDelay, 0.4999, Limit{open, 0.5}, Guarded, component(hiddenEdgeSwept, "U-shaped", 0.1, 1.16e-3), component("time stamp", "normal", 10e-6, 1)),
			"mostly how fast the edge is (100 %); too close to the limit for this rig: with all that can be bettered, ± 120 µs would be left",
		},
		{
			// U = 1.645·0.1/√3·T = 0.095·T <= 50 µs: T = 526 µs.
			"followed", figure(SwitchingDelay, 0.49995, Limit{open, 0.5}, Guarded, component(hiddenEdge, "rectangular", 0.1, 1.16e-3)),
			"mostly how fast the edge is (100 %): conversions of 500 µs or shorter (now 1.2 ms: a faster rate or converter) would settle it",
		},
		{
			// 0.095·T <= 20 µs: T = 210 µs, and there is none below 303 µs: 28.8 µs are left.
			"followed, beyond any converter", figure(SwitchingDelay, 0.49998, Limit{open, 0.5}, Guarded, component(hiddenEdge, "rectangular", 0.1, 1.16e-3)),
			"mostly how fast the edge is (100 %); too close to the limit for this rig: with all that can be bettered, ± 30 µs would be left",
		},
		{
			// Half of a move by 1 V: u = 0.5 V/√12 = 0.144 V, U = 0.283 V; d = 0.2 V: 0.71 V.
			"droop", figure(HighLevel, 12.2, Limit{12, 14.5}, Guarded, component(levelMoves, "normal", 0.5/math.Sqrt(12), 1)),
			"mostly that the level moves during the state (100 %): an output that moves by no more than 600 mV during the state (now 1 V) would settle it",
		},
		{
			// Shares of 36, 32 and 32 %; U = 1.96·14.2 µs·s <= 10 µs: s = 0.36. Without the third
			// 15.7 µs would be left.
			"no main cause", figure(SwitchingDelay, 0.49999, Limit{open, 0.5}, Guarded, component("instant of the event", "normal", 8e-6, 1), component("time stamp", "normal", 8.5e-6, 1), component("conversion time", "normal", 8e-6, 1)),
			"more than anything else the time stamps (40 %): edges stamped to ± 3 µs or better (now ± 8 µs) (or the mean of 8 cycles), and a reference wired to the event, which gives its instant to ± 2.5 µs or better (now ± 8 µs), and conversion time known to ± 2.5 µs or better (now ± 8 µs) would settle it together",
		},
		{
			"unknown source", figure(SwitchingDelay, 0.49, Limit{open, 0.5}, Guarded, component("conversion time", "normal", 0.01, 1)),
			"mostly conversion time (100 %): conversion time known to ± 5 ms or better (now ± 10 ms) would settle it",
		},
		{
			"at the limit itself", figure(HighLevel, 12, Limit{12, 14.5}, Guarded, repeats(0.1, math.Inf(1))),
			"mostly the scatter of the samples (100 %); too close to the limit for this rig: with all that can be bettered, ± 2 mV would be left",
		},
		{
			"nothing to be done", figure(HighLevel, 12, Limit{12, 14.5}, Guarded, component("ADC nonlinearity", "rectangular", 0.0006, 1)),
			"mostly drift and nonlinearity (100 %); too close to the limit for this rig: with all that can be bettered, ± 600 µV would be left", // 0.95·0.6 mV
		},
	} {
		if c.x.Verdict != Undecided || c.x.Reason != c.reason {
			t.Errorf("%s: %s\n got %q\nwant %q", c.name, c.x.Verdict, c.x.Reason, c.reason)
		}
	}
}

func TestSettle_OtherReasons(t *testing.T) {
	m := Meter{plan: &Plan{}}
	m.row(Measurement{Quantity: HighLevel, Value: 12.05, Limit: Limit{12, open}, Reason: fewSamples + "5 samples, too few for a histogram"}, []gum.Component{repeats(0.1, 4)})
	if r := m.lastRow().Reason; !strings.HasPrefix(r, "mean of 5 samples, too few for a histogram; mostly the scatter") {
		t.Errorf("a mean's reason: %q", r)
	}
	m.row(Measurement{Quantity: HighLevel, Value: 12.05, Limit: Limit{12, open}, Reason: "another doubt"}, []gum.Component{repeats(0.1, 4)})
	if r := m.lastRow().Reason; r != "another doubt" {
		t.Errorf("a reason that was there: %q", r)
	}
}

func TestJudge_UpperBound(t *testing.T) {
	for _, c := range []struct {
		limit  Limit
		want   Verdict
		reason string
	}{
		{Limit{open, 3e-3}, Pass, upperBound},
		{Limit{3e-3, open}, Fail, upperBound},
		{Limit{open, 1.1e-3}, Undecided, upperBound + "; samples at most 250 µs apart would settle it"}, // a fourth of 1.1 ms
		{Limit{1e-3, open}, Undecided, upperBound + "; only samples closer than the transition takes would settle it"},
	} {
		m := Meter{plan: &Plan{}}
		m.row(Measurement{Quantity: TransitionDuration, Value: 2.4e-3, Limit: c.limit, Reason: upperBound}, nil)
		x := m.lastRow()
		if x.Verdict != c.want || x.Reason != c.reason || !x.Bound() {
			t.Errorf("limit %v: %s, %q", c.limit, x.Verdict, x.Reason)
		}
	}
}

// Every source that a budget of this program names has a remedy of its own, or none.
func TestSettle_Sources(t *testing.T) {
	seen := map[string]bool{}
	for _, r := range remedies {
		for _, s := range r.sources {
			if seen[s] {
				t.Errorf("%q has two remedies", s)
			}
			seen[s] = true
		}
	}
	for _, s := range lasting {
		if seen[s] {
			t.Errorf("%q has a remedy and has none", s)
		}
	}
}

// What is proposed does it: for one cause, the figure with as much of it left as is
// said is no longer undecided.
func TestSettle_Does(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		budget := []gum.Component{
			repeats(rapid.Float64Range(1e-4, 0.2).Draw(t, "scatter"), rapid.SampledFrom([]float64{4, 19, 400, math.Inf(1)}).Draw(t, "dof")),
			component("resolution", "rectangular", rapid.Float64Range(1e-5, 0.05).Draw(t, "resolution"), 1),
			component("ADC nonlinearity", "rectangular", rapid.Float64Range(1e-5, 0.01).Draw(t, "nonlinearity"), 1),
		}
		value := 12 + rapid.Float64Range(-0.3, 0.3).Draw(t, "beyond the limit")
		x := figure(Ripple, value, Limit{12, open}, Guarded, budget...)
		if x.Verdict != Undecided {
			return
		}
		_, rest, ok := strings.Cut(x.Reason, ": the mean of ")
		if !ok || strings.Contains(rest, "together") {
			return
		}
		digits, _, _ := strings.Cut(rest, " ")
		n, err := strconv.Atoi(digits)
		if err != nil {
			t.Fatalf("%q", x.Reason)
		}
		after := func(n int) Verdict {
			b := append([]gum.Component(nil), budget...)
			b[0].Standard /= math.Sqrt(float64(n))
			b[0].DegreesOfFreedom *= float64(n)
			return figure(Ripple, value, Limit{12, open}, Guarded, b...).Verdict
		}
		if after(n) == Undecided {
			t.Fatalf("%q, and then it is undecided still", x.Reason)
		}
		if n > 3 && after(n/2) != Undecided {
			t.Fatalf("%q, and %d would do", x.Reason, n/2)
		}
	})
}

func BenchmarkSettle(b *testing.B) {
	x := figure(HighLevel, 12.06, Limit{12, 14.5}, Guarded, repeats(0.002, 400), component("resolution", "rectangular", 0.0003, 1),
		component("upper resistor", "rectangular", 0.096, 1), component("lower resistor", "rectangular", 0.096, 1),
		component("ADC gain", "rectangular", 0.018, 1), component("ADC offset", "rectangular", 0.002, 1))
	b.ReportAllocs()
	for b.Loop() {
		settle(x)
	}
}
