package compare

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/analyze/tally"
	"makebreak/rig/capture"
	_ "makebreak/testdata/fixedseed"
)

var known = math.Inf(1)

// figure is a figure of a signal with a budget of a chain, a run and a cycle.
func figure(cycle int, value, chain, run, random float64) analyze.Measurement {
	return analyze.Measurement{Cycle: cycle, Event: "arm-away", Signal: "OUT3", Quantity: analyze.HighLevel, Value: value, Limit: analyze.NoLimit(), Budget: []gum.Component{
		{Source: gum.Source(capture.ADCGain), Distribution: "normal", Standard: chain, Sensitivity: 1, DegreesOfFreedom: known},
		{Source: gum.Source(capture.ADCGainDrift), Distribution: "normal", Standard: run, Sensitivity: 1, DegreesOfFreedom: known},
		{Source: analyze.Repeatability, Distribution: "normal", Standard: random, Sensitivity: 1, DegreesOfFreedom: known},
	}}
}

func samplesOf(all ...analyze.Measurement) []*Sample {
	var g Gatherer
	for i := range all {
		g.Add(&all[i])
	}
	return g.Samples()
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 1e-7*(1+math.Abs(want))) {
		t.Errorf("%s is %.12g, want %.12g", what, got, want)
	}
}

// Worked by hand: means of 3 and 5 with scatters of 1 over 5 cycles, a chain's share of 0.3 in
// each value, and 0.1 of each run.
func TestOf_ByHand(t *testing.T) {
	t.Parallel()
	run := func(centre, chain float64) []*Sample {
		var all []analyze.Measurement
		for i, d := range []float64{-1, -1, 0, 1, 1} {
			all = append(all, figure(i+1, centre+d, chain, 0.1, 0.001))
		}
		return samplesOf(all...)
	}
	now, before := run(5, 0.5), run(3, 0.3)
	near(t, "the scatter", now[0].SD, 1)
	for _, c := range []struct {
		what  string
		basis Basis
		chain float64 // square of what is left of the chain's
	}{{"one rig", allSame, 0.2 * 0.2}, {"two rigs", Basis{}, 0.5*0.5 + 0.3*0.3}} {
		r := Of(now, before, c.basis)[0]
		near(t, c.what+": the change", r.Change, 2)
		variance := 2.0/5 + 2*0.01 + c.chain
		near(t, c.what+": its standard uncertainty", r.Standard, math.Sqrt(variance))
		near(t, c.what+": its degrees of freedom", r.DegreesOfFreedom, variance*variance/(0.4*0.4/8))
	}
}

// Levels on either side of 0 V are pulled apart by what is in proportion to them.
func TestOf_AcrossZero(t *testing.T) {
	t.Parallel()
	r := Of(samplesOf(figure(1, 1, 0.1, 0, 0.001), figure(2, 1, 0.1, 0, 0.001)), samplesOf(figure(1, -2, 0.2, 0, 0.001), figure(2, -2, 0.2, 0, 0.001)), allSame)[0]
	if r.Standard < 0.3 {
		t.Errorf("the standard uncertainty is %g", r.Standard)
	}
}

func TestOf_Outcomes(t *testing.T) {
	t.Parallel()
	bounded := func(m analyze.Measurement, code analyze.DoubtCode) analyze.Measurement {
		m.Doubts = []analyze.Doubt{{Code: code, Value: math.NaN()}}
		return m
	}
	values := func(v ...float64) (all []analyze.Measurement) {
		for i, x := range v {
			all = append(all, figure(i+1, x, 0, 0, 0.01))
		}
		return all
	}
	missing := values(math.NaN(), math.NaN())
	uppers := []analyze.Measurement{bounded(figure(1, 2, 0, 0, 0), analyze.AtMost), bounded(figure(2, 2.1, 0, 0, 0), analyze.AtMost)}
	lowers := []analyze.Measurement{bounded(figure(1, 9, 0, 0, 0), analyze.AtLeast), bounded(figure(2, 8, 0, 0, 0), analyze.AtLeast)}
	for name, c := range map[string]struct {
		now, before []analyze.Measurement
		want        Outcome
	}{
		"one cycle":           {values(1, 2), values(3), FewCycles},
		"missing now":         {missing, values(1, 2), NotMeasured},
		"missing before":      {values(1, 2), missing, NotBefore},
		"missing in both":     {missing, missing, Nothing},
		"gone":                {nil, values(1, 2), NotMeasured},
		"only bounds":         {uppers, uppers, OnlyBounds},
		"within the bound":    {uppers, values(1, 1.1, 1.2, 1.1, 1), OnlyBounds},
		"beyond the bound":    {values(5, 5.1, 5, 5.1, 5), uppers, BeyondBound},
		"was beyond":          {uppers, values(5, 5.1, 5, 5.1, 5), BeyondBound},
		"below a lower bound": {lowers, values(5, 5.1, 5, 5.1, 5), BeyondBound},
		"both ways":           {append(append([]analyze.Measurement{}, uppers...), lowers...), values(5, 5.1, 5, 5.1, 5), OnlyBounds},
		"moved":               {values(5, 5.1, 5, 5.1, 5), values(6, 6.1, 6, 6.1, 6), Moved},
		"not moved":           {values(5, 5.1, 5, 5.1, 5), values(5.1, 5, 5.1, 5, 5.1), Unmoved},
	} {
		rows := Of(samplesOf(c.now...), samplesOf(c.before...), allSame)
		if len(rows) != 1 || rows[0].Outcome != c.want {
			t.Errorf("%s: %d rows, %+v", name, len(rows), rows[0].Outcome)
		}
	}
}

// Of what a contact does, five cycles are needed: it may be the same twice by chance.
func TestOf_FewCyclesOfAContact(t *testing.T) {
	t.Parallel()
	run := func(n int, value float64) []*Sample {
		var g Gatherer
		for i := range n {
			g.Add(&analyze.Measurement{Cycle: i + 1, Signal: "K1_NO", Quantity: analyze.BounceCount, Value: value, Limit: analyze.NoLimit()})
		}
		return g.Samples()
	}
	if r := Of(run(4, 3), run(10, 0), allSame)[0]; r.Outcome != FewCycles {
		t.Errorf("four cycles: %v", r.Outcome)
	}
	if r := Of(run(5, 3), run(10, 0), allSame)[0]; r.Outcome != Moved {
		t.Errorf("five cycles: %v, %g ± %g", r.Outcome, r.Change, r.Expanded)
	}
	if r := Of(run(5, 1), run(10, 1), allSame)[0]; r.Outcome != Unmoved || r.Expanded == 0 {
		t.Errorf("five cycles: %v, %g ± %g", r.Outcome, r.Change, r.Expanded)
	}
}

// The other way round a change has the other sign and is as sure; a run against itself has not
// moved; more in common never makes a change less sure where it is in proportion.
func TestOf_Properties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) []*Sample {
			var all []analyze.Measurement
			chain, run := rapid.Float64Range(0, 1).Draw(t, name+" chain"), rapid.Float64Range(0, 1).Draw(t, name+" run")
			for i := range rapid.IntRange(2, 8).Draw(t, name+" cycles") {
				all = append(all, figure(i+1, rapid.Float64Range(10, 12).Draw(t, name), chain, run, 0.01))
			}
			return samplesOf(all...)
		}
		a, b := draw("a"), draw("b")
		basis := Basis{}
		if rapid.Bool().Draw(t, "one rig") {
			basis = allSame
		}
		x, y := Of(a, b, basis)[0], Of(b, a, basis)[0]
		if x.Change != -y.Change || x.Outcome != y.Outcome || math.Abs(x.Expanded-y.Expanded) > 1e-9*x.Expanded || math.Abs(x.Probability-y.Probability) > 1e-9 {
			t.Fatalf("%+v, the other way round %+v", x, y)
		}
		if self := Of(a, a, allSame)[0]; self.Change != 0 || self.Outcome != Unmoved || self.Probability != 1 {
			t.Fatalf("against itself: %+v", self)
		}
		if one, two := Of(a, b, allSame)[0], Of(a, b, Basis{})[0]; one.Standard > two.Standard*(1+1e-9) {
			t.Fatalf("%g on one rig, %g on two", one.Standard, two.Standard)
		}
	})
}

// Holm's procedure by hand: of 0.01, 0.04, 0.03 and 0.005 the adjusted probabilities are 0.03,
// 0.06, 0.06 and 0.02.
func TestHolm(t *testing.T) {
	t.Parallel()
	var rows []*Row
	for _, p := range []float64{0.01, 0.04, 0.03, 0.005, math.NaN()} {
		rows = append(rows, &Row{alone: p, Probability: math.NaN(), Outcome: Unmoved})
	}
	holm(rows)
	for i, want := range []float64{0.03, 0.06, 0.06, 0.02} {
		near(t, "an adjusted probability", rows[i].Probability, want)
		if moved := rows[i].Outcome == Moved; moved != (want <= 0.05) {
			t.Errorf("%g: moved %v", want, moved)
		}
	}
}

// Every source that is declared has its part: none is left to the default by oversight.
func TestParts(t *testing.T) {
	t.Parallel()
	for _, s := range analyze.Sources() {
		if _, there := parts[s]; !there {
			t.Errorf("%q has no part", s)
		}
	}
	if len(parts) != len(analyze.Sources()) {
		t.Errorf("%d parts of %d sources", len(parts), len(analyze.Sources()))
	}
}

// A soak's sums say what its figures say one by one, but for the scatter of neighbours.
func TestOfTally(t *testing.T) {
	t.Parallel()
	sums, err := tally.New()
	if err != nil {
		t.Fatal(err)
	}
	var g Gatherer
	var last []analyze.Measurement
	for i := range 200 {
		m := figure(i+1, 5+0.1*float64(i%7), 0.3, 0.1, 0.001)
		if err := sums.Add(&m); err != nil {
			t.Fatal(err)
		}
		g.Add(&m)
		last = []analyze.Measurement{m}
	}
	s, one := OfTally(sums, last)[0], g.Samples()[0]
	near(t, "the mean", s.Mean, one.Mean)
	near(t, "the scatter", s.SD, one.SD)
	near(t, "the mean's uncertainty", s.ofMean, one.ofMean)
	if s.Values != 200 || s.freedom != 199 || len(s.lines) != 3 || s.Low != 5 {
		t.Errorf("%+v", s)
	}
}
