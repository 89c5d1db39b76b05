package diagnose

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/analyze/measure"
	"makebreak/rig/capture"
	_ "makebreak/testdata/fixedseed"
)

var open = math.NaN()

// judged is a measurement with a budget, as the meter makes one, and judged.
func judged(q analyze.Quantity, value float64, limit analyze.Limit, rule analyze.Rule, budget ...gum.Component) *analyze.Measurement {
	x := &analyze.Measurement{Signal: "X", Quantity: q, Value: value, Limit: limit, Budget: budget}
	measure.Judge(x, rule)
	return x
}

func repeats(u, dof float64) gum.Component {
	return gum.Component{Source: analyze.Repeatability, Distribution: "normal", Standard: u, Sensitivity: 1, DegreesOfFreedom: dof}
}

func TestJudge_Rules(t *testing.T) {
	u := repeats(0.05, math.Inf(1)) // U = 0.098
	limit := limits(12, 14.5)
	for _, c := range []struct {
		value           float64
		guarded, simple analyze.Verdict
	}{
		{13, analyze.Pass, analyze.Pass}, {12.2, analyze.Pass, analyze.Pass}, {12.05, analyze.Undecided, analyze.Pass}, {11.95, analyze.Undecided, analyze.Fail},
		{11.8, analyze.Fail, analyze.Fail}, {14.45, analyze.Undecided, analyze.Pass}, {14.55, analyze.Undecided, analyze.Fail}, {14.7, analyze.Fail, analyze.Fail},
	} {
		for rule, want := range map[analyze.Rule]analyze.Verdict{analyze.Guarded: c.guarded, "": c.guarded, analyze.Simple: c.simple} {
			x := judged(analyze.HighLevel, c.value, limit, rule, u)
			if x.Verdict != want {
				t.Errorf("%g V, rule %q: %s, want %s", c.value, rule, x.Verdict, want)
			}
			if (Reason(x) != "") != (want == analyze.Undecided) {
				t.Errorf("%g V, rule %q: reason %q", c.value, rule, Reason(x))
			}
		}
	}
	// The probability is the same by either rule: 12.05 is one standard uncertainty
	// above the limit (normal distribution).
	for _, rule := range []analyze.Rule{analyze.Guarded, analyze.Simple} {
		if x := judged(analyze.HighLevel, 12.05, limit, rule, u); math.Abs(x.Conformance-0.841345) > 1e-5 {
			t.Errorf("rule %s: conformance %.6f", rule, x.Conformance)
		}
	}
	// Ten samples: Student's distribution, 9 degrees of freedom; p(t < 1) = 0.8283 (any
	// table of it).
	if x := judged(analyze.HighLevel, 12.05, limits(12, open), analyze.Guarded, repeats(0.05, 9)); math.Abs(x.Conformance-0.8283) > 5e-5 {
		t.Errorf("conformance %.5f with 9 degrees of freedom", x.Conformance)
	}
}

// What is proposed, worked out by hand beside each case.
func TestSettle(t *testing.T) {
	stamp := gum.Component{Source: analyze.ContactTimeStamp, Distribution: "normal", Standard: 14e-6, Sensitivity: 1, DegreesOfFreedom: math.Inf(1)}
	for _, c := range []struct {
		name   string
		x      *analyze.Measurement
		reason string
	}{
		{
			// U = 1.96·0.1·s <= 0.1 for s = 0.510: 1/s² = 3.8 cycles.
			"scatter", judged(analyze.HighLevel, 12.1, limits(12, 14.5), analyze.Guarded, repeats(0.1, math.Inf(1))),
			"mostly the scatter of the samples (100 %): the mean of 4 cycles (or a state held 4 times as long) would settle it",
		},
		{
			// Ripple's noise; d = 0.01: s = 0.0255, 1537 cycles.
			"scatter, nearly at the limit", judged(analyze.Ripple, 0.49, limits(open, 0.5), analyze.Guarded, gum.Line(analyze.NoiseOfTwo, "normal", 0.2, 1)),
			"mostly the scatter of the samples (100 %): the mean of 2000 cycles would settle it",
		},
		{
			// Resistors of 1 % behind 39k/10k at 12.06 V: half-width 0.796·0.1206 = 96 mV each.
			// d = 60 mV = 1.93·√(2·a²/3 + 2·7² mV²), with two drifts of 12 mV/√3 = 7 mV and the
			// meter's ±a counted twice: a = 36 mV.
			"resistors", judged(analyze.HighLevel, 12.06, limits(12, 14.5), analyze.Guarded, gum.Line(gum.Source(capture.UpperResistor), "rectangular", 0.096, 1), gum.Line(gum.Source(capture.LowerResistor), "rectangular", 0.096, 1)),
			"mostly the resistors and the converter (100 %): calibrating the output against a meter good to ± 30 mV or better would settle it",
		},
		{
			// d = 10 mV, less than what the drift of two resistors leaves (1.90·12.01 mV·√(2/3) = 18.6 mV).
			"resistors, nearly at the limit", judged(analyze.HighLevel, 12.01, limits(12, 14.5), analyze.Guarded, gum.Line(gum.Source(capture.UpperResistor), "rectangular", 0.096, 1), gum.Line(gum.Source(capture.LowerResistor), "rectangular", 0.096, 1)),
			"mostly the resistors and the converter (100 %); too close to the limit for this rig: with all that can be improved, ± 20 mV would be left",
		},
		{
			// Rectangular: U = 1.645·u, u = T/√12, d = 0.5 ms: T = 1.05 ms.
			"sampling", judged(analyze.SwitchingDelay, 0.4995, limits(open, 0.5), analyze.Guarded, gum.Line(analyze.SamplingInterval, "rectangular", 2.4e-3/2, 1)),
			"mostly the sampling interval (100 %): samples at most 1 ms apart (now about 2.5 ms: sample the output alone, or faster) would settle it",
		},
		{
			// Both lines go with the interval: U = 1.65·T/√3·√(0.1² + 0.02²), d = 0.05 ms: T = 0.515 ms.
			"duration", judged(analyze.TransitionDuration, 9.95e-3, limits(open, 10e-3), analyze.Guarded, gum.Line(analyze.SamplingInterval, "rectangular", 1.2e-3, 0.1), gum.Line(analyze.SamplingInterval, "rectangular", 1.2e-3, 0.02)),
			"mostly the sampling interval (100 %): samples at most 500 µs apart (now about 1.2 ms: sample the output alone, or faster) would settle it",
		},
		{
			// Of hold: triangular with the interval as its half-width; U = 1.902·T/√6, d = 0.4 ms: T = 0.515 ms.
			"excursion", judged(analyze.Hold, 0.4e-3, limits(open, 0), analyze.Guarded, gum.Line(analyze.SamplingInterval, "triangular", 2.4e-3, 1)),
			"mostly the sampling interval (100 %): samples at most 500 µs apart (now about 2.5 ms: sample the output alone, or faster) would settle it",
		},
		{
			// d = 0.1 s, U = 1.96·u: 51 ms.
			"key press", judged(analyze.SwitchingDelay, 0.4, limits(open, 0.5), analyze.Guarded, gum.Line(analyze.EventInstant, "normal", 0.2, 1), gum.Line(analyze.TimeStamp, "normal", 10e-6, 1)),
			"mostly the instant of the event (100 %): a reference wired to the event, which gives its instant to ± 50 ms or better (now ± 200 ms) would settle it",
		},
		{
			// d = 10 µs, U = 1.96·14 µs·s: s = 0.364, 5.1 µs or 7.5 cycles.
			"stamps", judged(analyze.BounceTime, 4.99e-3, limits(open, 5e-3), analyze.Guarded, stamp),
			"mostly the time stamps (100 %): edges stamped to ± 5 µs or better (now ± 15 µs) (or the mean of 8 cycles) would settle it",
		},
		{
			// d = 50 mV. The resolution alone leaves 0.95·60 = 57 mV, so both are needed:
			// U = 0.118 V now, s = 0.42, 1/s² = 5.6 cycles and 120 mV·s = 50.7 mV.
			"two causes", judged(analyze.HighLevel, 12.05, limits(12, 14.5), analyze.Guarded, repeats(0.05, math.Inf(1)), gum.Line(analyze.Resolution, "rectangular", 0.06, 1)),
			"mostly the scatter of the samples (70 %): the mean of 6 cycles (or a state held 6 times as long), and steps of 50 mV or finer (now 120 mV) would settle it together",
		},
		{
			"means", judged(analyze.SwitchingDelay, 0.4999, limits(open, 0.5), analyze.Guarded, gum.Line(analyze.SamplesMayBeMeans, "rectangular", 0.3e-3, 1)),
			"mostly that samples may be means (100 %): saying whether the samples are means (--averaged) would settle it",
		},
		{
			// d = 4 mV = 1.93·√(2·a²/3 + 0.6² mV²): a = 2.4 mV.
			"calibrated", judged(analyze.HighLevel, 12.004, limits(12, 14.5), analyze.Guarded, gum.Line(gum.Source(capture.MeterAccuracy), "rectangular", 12e-3, 1), gum.Line(gum.Source(capture.ADCGainDrift), "rectangular", 1e-3, 1)),
			"mostly the calibration (100 %): calibrating again, against a meter good to ± 2 mV or better would settle it",
		},
		{
			// Followed, at most 0.134 conversions (by what the simulated relays show, and so
			// computed beforehand): 0.134·1.16 ms/√3 = 90 µs standard, now 0.4·1.16 ms/√2 = 328 µs.
			// U = 1.645·90 µs = 148 µs <= 200 µs.
			"swept", judged(analyze.SwitchingDelay, 0.4998, limits(open, 0.5), analyze.Guarded, gum.Line(analyze.HiddenEdgeSwept, "U-shaped", 0.4, 1.16e-3)),
			"mostly how fast the edge is (100 %): following the output (sample: follow), which leaves some ± 100 µs of that (now ± 300 µs) would settle it",
		},
		{
			// The same nearer to the limit: 148 µs > 100 µs.
			"swept, following is not enough", judged(analyze.SwitchingDelay, 0.4999, limits(open, 0.5), analyze.Guarded, gum.Line(analyze.HiddenEdgeSwept, "U-shaped", 0.4, 1.16e-3)),
			"mostly how fast the edge is (100 %); too close to the limit for this rig: with all that can be improved, ± 150 µs would be left",
		},
		{
			// What is 0.1 of a conversion already would be no less if the output were followed:
			// U = 1.44·0.1·1.16 ms/√2 = 118 µs stays, whatever else is done.
			"swept, as good as followed", judged(analyze.SwitchingDelay, 0.4999, limits(open, 0.5), analyze.Guarded, gum.Line(analyze.HiddenEdgeSwept, "U-shaped", 0.1, 1.16e-3), gum.Line(analyze.TimeStamp, "normal", 10e-6, 1)),
			"mostly how fast the edge is (100 %); too close to the limit for this rig: with all that can be improved, ± 120 µs would be left",
		},
		{
			// U = 1.645·0.1/√3·T = 0.095·T <= 50 µs: T = 526 µs.
			"followed", judged(analyze.SwitchingDelay, 0.49995, limits(open, 0.5), analyze.Guarded, gum.Line(analyze.HiddenEdge, "rectangular", 0.1, 1.16e-3)),
			"mostly how fast the edge is (100 %): conversions of 500 µs or shorter (now 1.2 ms: a faster rate or converter) would settle it",
		},
		{
			// 0.095·T <= 20 µs: T = 210 µs, and there is none below 303 µs: 28.8 µs are left.
			"followed, beyond any converter", judged(analyze.SwitchingDelay, 0.49998, limits(open, 0.5), analyze.Guarded, gum.Line(analyze.HiddenEdge, "rectangular", 0.1, 1.16e-3)),
			"mostly how fast the edge is (100 %); too close to the limit for this rig: with all that can be improved, ± 30 µs would be left",
		},
		{
			"filter", judged(analyze.SwitchingDelay, 0.4999, limits(open, 0.5), analyze.Guarded, gum.Line(analyze.FilterUnknown, "U-shaped", 0.18, 1.16e-3), gum.Line(analyze.TimeStamp, "normal", 10e-6, 1)),
			"mostly that the converter's filter is not known (100 %): measuring the converter's filter (rig check --loop-back) and following the output would settle it",
		},
		{
			// Half of a move by 1 V: u = 0.5 V/√12 = 0.144 V, U = 0.283 V; d = 0.2 V: 0.71 V.
			"droop", judged(analyze.HighLevel, 12.2, limits(12, 14.5), analyze.Guarded, gum.Line(analyze.LevelDrift, "normal", 0.5/math.Sqrt(12), 1)),
			"mostly that the level moves during the state (100 %): an output that moves by no more than 600 mV during the state (now 1 V) would settle it",
		},
		{
			// Shares of 36, 32 and 32 %; U = 1.96·14.2 µs·s <= 10 µs: s = 0.36. Without the third
			// 15.7 µs would be left.
			"no main cause", judged(analyze.SwitchingDelay, 0.49999, limits(open, 0.5), analyze.Guarded, gum.Line(analyze.EventInstant, "normal", 8e-6, 1), gum.Line(analyze.TimeStamp, "normal", 8.5e-6, 1), gum.Line(analyze.ConversionTime, "normal", 8e-6, 1)),
			"more than anything else the time stamps (40 %): edges stamped to ± 3 µs or better (now ± 8 µs) (or the mean of 8 cycles), and a reference wired to the event, which gives its instant to ± 2.5 µs or better (now ± 8 µs), and conversion time known to ± 2.5 µs or better (now ± 8 µs) would settle it together",
		},
		{
			"unknown source", judged(analyze.SwitchingDelay, 0.49, limits(open, 0.5), analyze.Guarded, gum.Line(analyze.ConversionTime, "normal", 0.01, 1)),
			"mostly conversion time (100 %): conversion time known to ± 5 ms or better (now ± 10 ms) would settle it",
		},
		{
			"at the limit itself", judged(analyze.HighLevel, 12, limits(12, 14.5), analyze.Guarded, repeats(0.1, math.Inf(1))),
			"mostly the scatter of the samples (100 %); too close to the limit for this rig: with all that can be improved, ± 2 mV would be left",
		},
		{
			"nothing to be done", judged(analyze.HighLevel, 12, limits(12, 14.5), analyze.Guarded, gum.Line(gum.Source(capture.ADCNonlinearity), "rectangular", 0.0006, 1)),
			"mostly drift and nonlinearity (100 %); too close to the limit for this rig: with all that can be improved, ± 600 µV would be left", // 0.95·0.6 mV
		},
	} {
		if c.x.Verdict != analyze.Undecided || Reason(c.x) != c.reason {
			t.Errorf("%s: %s\n got %q\nwant %q", c.name, c.x.Verdict, Reason(c.x), c.reason)
		}
	}
}

func TestSettle_OtherReasons(t *testing.T) {
	mean := analyze.Doubt{Code: analyze.PlainMean, Value: 5}
	other := analyze.Doubt{Code: analyze.OutputNotPlaced, Signal: "OUT3"}
	for _, c := range []struct {
		doubts []analyze.Doubt
		want   string
		begins bool
	}{
		{[]analyze.Doubt{mean}, "mean of 5 samples, too few for a histogram; mostly the scatter", true},
		{[]analyze.Doubt{other}, "could not find when OUT3 switched", false},
		{[]analyze.Doubt{mean, other}, "mean of 5 samples, too few for a histogram; could not find when OUT3 switched", false},
	} {
		x := &analyze.Measurement{Quantity: analyze.HighLevel, Value: 12.05, Limit: limits(12, open), Doubts: c.doubts, Budget: []gum.Component{repeats(0.1, 4)}}
		measure.Judge(x, analyze.Guarded)
		if r := Reason(x); r != c.want && !(c.begins && strings.HasPrefix(r, c.want)) {
			t.Errorf("%v: %q, want %q", c.doubts, r, c.want)
		}
	}
}

func TestJudge_UpperBound(t *testing.T) {
	const bound = "too fast to time: no slower than this"
	for _, c := range []struct {
		limit  analyze.Limit
		want   analyze.Verdict
		reason string
	}{
		{limits(open, 3e-3), analyze.Pass, bound},
		{limits(3e-3, open), analyze.Fail, bound},
		{limits(open, 1.1e-3), analyze.Undecided, bound + "; samples at most 250 µs apart would settle it"}, // a fourth of 1.1 ms
		{limits(1e-3, open), analyze.Undecided, bound + "; only samples closer than the transition takes would settle it"},
	} {
		x := &analyze.Measurement{Quantity: analyze.TransitionDuration, Value: 2.4e-3, Limit: c.limit, Doubts: []analyze.Doubt{{Code: analyze.AtMost}}}
		measure.Judge(x, analyze.Guarded)
		if x.Verdict != c.want || Reason(x) != c.reason || x.Bound() != analyze.UpperBound {
			t.Errorf("limit %v: %s, %q", c.limit, x.Verdict, Reason(x))
		}
	}
}

// Every source that is declared has one remedy, or lasts, or is only to be known better.
func TestSettle_Sources(t *testing.T) {
	seen := map[gum.Source]int{}
	for _, r := range remedies {
		for _, s := range r.sources {
			seen[s]++
		}
	}
	for _, s := range append(lasting, knownBetter...) {
		seen[s]++
	}
	for _, s := range analyze.Sources() {
		if seen[s] != 1 {
			t.Errorf("%q stands %d times among the remedies and what has none", s, seen[s])
		}
		delete(seen, s)
	}
	for s := range seen {
		t.Errorf("%q is not a source that is declared", s)
	}
}

// What is proposed does it: for one cause, the figure with as much of it left as is
// said is no longer undecided.
func TestSettle_Does(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		budget := []gum.Component{
			repeats(rapid.Float64Range(1e-4, 0.2).Draw(t, "scatter"), rapid.SampledFrom([]float64{4, 19, 400, math.Inf(1)}).Draw(t, "dof")),
			gum.Line(analyze.Resolution, "rectangular", rapid.Float64Range(1e-5, 0.05).Draw(t, "resolution"), 1),
			gum.Line(gum.Source(capture.ADCNonlinearity), "rectangular", rapid.Float64Range(1e-5, 0.01).Draw(t, "nonlinearity"), 1),
		}
		value := 12 + rapid.Float64Range(-0.3, 0.3).Draw(t, "beyond the limit")
		x := judged(analyze.Ripple, value, limits(12, open), analyze.Guarded, budget...)
		if x.Verdict != analyze.Undecided {
			return
		}
		_, rest, ok := strings.Cut(Reason(x), ": the mean of ")
		if !ok || strings.Contains(rest, "together") {
			return
		}
		digits, _, _ := strings.Cut(rest, " ")
		n, err := strconv.Atoi(digits)
		if err != nil {
			t.Fatalf("%q", Reason(x))
		}
		after := func(n int) analyze.Verdict {
			b := append([]gum.Component(nil), budget...)
			b[0].Standard /= math.Sqrt(float64(n))
			b[0].DegreesOfFreedom *= float64(n)
			return judged(analyze.Ripple, value, limits(12, open), analyze.Guarded, b...).Verdict
		}
		if after(n) == analyze.Undecided {
			t.Fatalf("%q, and then it is undecided still", Reason(x))
		}
		if n > 3 && after(n/2) != analyze.Undecided {
			t.Fatalf("%q, and %d would do", Reason(x), n/2)
		}
	})
}

func BenchmarkSettle(b *testing.B) {
	x := judged(analyze.HighLevel, 12.06, limits(12, 14.5), analyze.Guarded, repeats(0.002, 400), gum.Line(analyze.Resolution, "rectangular", 0.0003, 1),
		gum.Line(gum.Source(capture.UpperResistor), "rectangular", 0.096, 1), gum.Line(gum.Source(capture.LowerResistor), "rectangular", 0.096, 1),
		gum.Line(gum.Source(capture.ADCGain), "rectangular", 0.018, 1), gum.Line(gum.Source(capture.ADCOffset), "rectangular", 0.002, 1))
	b.ReportAllocs()
	for b.Loop() {
		advice(x)
	}
}

func limits(lower, upper float64) analyze.Limit { return analyze.Limit{Lower: lower, Upper: upper} }
