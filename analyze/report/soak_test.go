package report

import (
	"bytes"
	"encoding/json"
	"iter"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/tally"
	"makebreak/analyze/trend"
	"makebreak/testdata/few"
)

// soaked is the record of an invented soak of a relay. each gives a cycle's operate
// time in seconds, NaN for one that could not be measured; its limit is 6 ms.
func soaked(t testing.TB, cycles, planned int, each func(n int, rng *rand.Rand) float64) *Record {
	t.Helper()
	sum, err := tally.New()
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(3, 4))
	v := analyze.NoVerdict
	for n := 1; n <= cycles; n++ {
		m := analyze.Measurement{Cycle: n, Event: "energize", Signal: "K1", Quantity: analyze.OperateTime, Value: each(n, rng), Expanded: 1e-5,
			Limit: analyze.Limit{Lower: math.NaN(), Upper: 0.006}, Verdict: analyze.Pass}
		switch {
		case math.IsNaN(m.Value):
			m.Verdict, m.Doubts = analyze.Undecided, analyze.InWords("an edge was lost")
		case m.Value > 0.006:
			m.Verdict = analyze.Fail
		}
		if err := sum.Add(&m); err != nil {
			t.Fatal(err)
		}
		if err := sum.AddCycle(n, m.Verdict, true); err != nil {
			t.Fatal(err)
		}
		v = v.Worse(m.Verdict)
	}
	return &Record{Run: "2026-11-25.1", Unit: "RB-017", Sequence: "relay-only", Cycles: cycles, Planned: planned, Complete: true, Verdict: v,
		Tally: sum, Signals: []string{"K1"}, Steps: []string{"energize"}}
}

func soakText(t testing.TB, r *Record) string {
	t.Helper()
	var b bytes.Buffer
	if err := Text(&b, r, TextOpts{}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// steadily is a steady relay.
func steadily(_ int, rng *rand.Rand) float64 { return 0.005 + 0.0001*rng.NormFloat64() }

// What is planted is told, and nothing else.
func TestText_Soak(t *testing.T) {
	t.Parallel()
	none := []string{"drifts by", "steps by", "WARNING", "out of its limit", "could not be measured", "in clusters"}
	for _, c := range []struct {
		name   string
		each   func(int, *rand.Rand) float64
		tells  []string
		silent []string
	}{
		{"steady", steadily, []string{"no drift, no step", "no failure in 5000 cycles: the failure probability per cycle is at most 0.000599 at 95 % confidence"}, none},
		{"drift that will cross", func(n int, rng *rand.Rand) float64 { return steadily(n, rng) + 8e-8*float64(n) },
			[]string{"K1 operate time at energize: drifts by 8", "a swing slower than the run would look the same", "if it goes on as since cycle 1; ", "WARNING: it will cross its limit of max 6 ms at about cycle ", "before the 30000 planned",
				"Findings\n  - K1 operate time at energize: WARNING"}, []string{"steps by", "No findings"}},
		{"drift away from the limit", func(n int, rng *rand.Rand) float64 { return steadily(n, rng) - 5e-8*float64(n) },
			[]string{"drifts by -", "No findings."}, []string{"WARNING", "steps by"}},
		{"step", func(n int, rng *rand.Rand) float64 {
			if n > 3000 {
				return steadily(n, rng) + 0.0005
			}
			return steadily(n, rng)
		}, []string{"K1 operate time at energize: steps by ", " at cycle 2998 (95 %: 2972 to 3024) (p"}, []string{"drifts by", "WARNING"}},
		{"drift or step", func(n int, rng *rand.Rand) float64 { return steadily(n, rng) + 8e-9*float64(max(1000, min(4000, n))) },
			[]string{"K1 operate time at energize: drift or step, which cannot be told apart (p", "if a drift, ", "; if a step, "},
			[]string{"drifts by", "steps by", "WARNING"}},
		{"missing", func(n int, rng *rand.Rand) float64 {
			if n%1000 == 17 {
				return math.NaN()
			}
			return steadily(n, rng)
		}, []string{"could not be measured 5 times, first at cycle 17", "5 cycles undecided, counted as not failed"}, []string{"out of its limit"}},
		{"failures in a row", func(n int, rng *rand.Rand) float64 {
			if n > 2000 && n <= 2010 {
				return 0.009
			}
			return steadily(n, rng)
		}, []string{"out of its limit in 10 of 5000, first at cycle 2001, last at 2010, at most 10 times in a row; in clusters",
			// The bounds from SciPy 1.10: beta.ppf(0.025, 10, 4991), beta.ppf(0.975, 11, 4990).
			"failed in 10 of 5000 cycles: 0.002 per cycle, 0.000959 to 0.00367 at 95 % confidence (Clopper-Pearson); in clusters"}, []string{"WARNING"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			out := soakText(t, soaked(t, 5000, 30_000, c.each))
			for _, want := range c.tells {
				if !strings.Contains(out, want) {
					t.Errorf("it does not say %q:\n%s", want, out)
				}
			}
			for _, not := range c.silent {
				if strings.Contains(out, not) {
					t.Errorf("it says %q:\n%s", not, out)
				}
			}
		})
	}
}

// A steady unit is said to drift or step in at most one of a hundred runs: with four
// quantities, here each on its own, in at most one of four hundred.
func TestSoak_FalseAlarms(t *testing.T) {
	few.Skip(t)
	t.Parallel()
	alarms := 0
	for seed := range 200 {
		r := soaked(t, 600, 6000, func(n int, _ *rand.Rand) float64 {
			return steadily(n, rand.New(rand.NewPCG(uint64(seed), uint64(n))))
		})
		for _, x := range trendsOf(r) {
			if len(x.lines()) > 0 {
				alarms++
			}
		}
	}
	// One in a hundred is two of 200; five or more has a probability of 5 % then.
	if alarms > 4 {
		t.Errorf("%d of 200 steady quantities are told of", alarms)
	}
}

// Of a quantity with bounds among its values the table tells the median of all, with the
// bounds' sign, and the trend is of the others.
func TestText_SoakBounds(t *testing.T) {
	t.Parallel()
	sum, err := tally.New()
	if err != nil {
		t.Fatal(err)
	}
	for n := 1; n <= 99; n++ {
		m := analyze.Measurement{Cycle: n, Event: "energize", Signal: "K1_NO", Quantity: analyze.BounceTime, Value: 0.003, Expanded: 3e-5,
			Limit: analyze.Limit{Lower: nan, Upper: 0.005}, Verdict: analyze.Pass}
		if n%3 > 0 {
			m.Value, m.Expanded, m.Verdict = 0.002, nan, analyze.Undecided
			m.Doubts = []analyze.Doubt{{Code: analyze.EdgesMissing, Value: nan}, {Code: analyze.AtLeast, Value: nan}}
		}
		if err := sum.Add(&m); err != nil {
			t.Fatal(err)
		}
		if err := sum.AddCycle(n, m.Verdict, true); err != nil {
			t.Fatal(err)
		}
	}
	r := &Record{Run: "1", Cycles: 99, Planned: 99, Complete: true, Verdict: analyze.Undecided, Tally: sum}
	out := soakText(t, r)
	for _, want := range []string{" ≥ 2", "2.000 … 3.000", "undecided 66/99", "≥: a lower bound: the true value may be higher.",
		"K1_NO bounce time at energize: only a bound is known 66 times: they have no part in drift, step and forecast"} {
		if !strings.Contains(out, want) {
			t.Errorf("it does not say %q:\n%s", want, out)
		}
	}
	if strings.Contains(out, "could not be measured") {
		t.Errorf("a bound is told as missing:\n%s", out)
	}
}

// A digest's median is as near to the exact one as the legend says.
func TestDigest_Median(t *testing.T) {
	t.Parallel()
	const n = 100_000
	var all []float64
	r := soaked(t, n, n, func(n int, rng *rand.Rand) float64 {
		x := 0.004 + 0.001*rng.ExpFloat64()
		all = append(all, x)
		return x
	})
	slices.Sort(all)
	median := digest{r.Tally.Rows[0].Trend}.median()
	at, _ := slices.BinarySearch(all, median)
	if off := math.Abs(float64(at)/n - 0.5); off > 0.001 {
		t.Errorf("the median lies at %.4f of the order", float64(at)/n)
	}
	if !strings.Contains(soakText(t, r), "≈ ") {
		t.Error("the text does not say that the median is from a digest")
	}
}

func TestJSON_Soak(t *testing.T) {
	t.Parallel()
	r := soaked(t, 5000, 30_000, func(n int, rng *rand.Rand) float64 { return steadily(n, rng) + 8e-8*float64(n) })
	r.Interruptions = []Interruption{{After: 17, Resumed: time.Unix(1_800_000_000, 0).UTC(), Reason: "the program or the power was cut off"}}
	var b bytes.Buffer
	if err := JSON(&b, r); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Findings []analyze.Finding
		Soak     struct {
			Cycles, Failures int
			At_most          float64
			Interruptions    []struct {
				After_cycle int
				Stopped     *string
				Resumed     string
			}
			Trends []struct {
				Signal, Quantity, Shape string
				Slope                   float64            `json:"slope_per_1000_cycles"`
				Quantiles               map[string]float64 `json:"quantiles"`
				Warnings                []struct {
					Limit    float64
					Crossing int `json:"crossing_cycle"`
				} `json:"early_warnings"`
			}
		}
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatalf("%v\n%s", err, b.String())
	}
	if f := got.Findings; len(f) != 1 || f[0].Signal != "K1" || f[0].Verdict != analyze.NoVerdict || !strings.Contains(f[0].Text, "WARNING: it will cross") {
		t.Errorf("findings %+v", f)
	}
	s := got.Soak
	if s.Cycles != 5000 || s.Failures != 0 || math.Abs(s.At_most-5.99e-4) > 1e-6 || len(s.Trends) != 1 {
		t.Fatalf("%+v", s)
	}
	if i := s.Interruptions; len(i) != 1 || i[0].After_cycle != 17 || i[0].Stopped != nil || i[0].Resumed != "2027-01-15T08:00:00Z" {
		t.Errorf("interruptions %+v", i)
	}
	x := s.Trends[0]
	// The drift planted is 80 µs in 1000 cycles, from 5 ms; 6 ms is met at cycle 12,500.
	if x.Shape != "drift" || math.Abs(x.Slope/8e-5-1) > 0.05 || len(x.Quantiles) != 9 || len(x.Warnings) != 1 ||
		x.Warnings[0].Limit != 0.006 || math.Abs(float64(x.Warnings[0].Crossing)/12_500-1) > 0.1 {
		t.Errorf("%+v", x)
	}
}

func TestHTML_Soak(t *testing.T) {
	t.Parallel()
	r := soaked(t, 1000, 1000, steadily)
	r.Interruptions = make([]Interruption, 25)
	var b bytes.Buffer
	if err := HTML(&b, r); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Over the cycles", "Reliability", "interrupted 25 times", "the latest 10 of them", "≈ 5"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

// A quantity that drifts or steps is drawn with its lines, a steady one without. The page still
// stands alone.
func TestHTML_Courses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		each func(n int, rng *rand.Rand) float64
		from []float64 // what the first fitted line goes from and to, in ms
		to   []float64 // and the second
	}{
		{"steady", steadily, nil, nil},
		// 50 µs in 1000 cycles from 5 ms on, as planted.
		{"drift", func(n int, rng *rand.Rand) float64 { return steadily(n, rng) + 5e-8*float64(n) }, []float64{5, 5.25}, nil},
		{"step", func(n int, rng *rand.Rand) float64 {
			if n > 3000 {
				return steadily(n, rng) + 2e-4
			}
			return steadily(n, rng)
		}, []float64{5, 5}, []float64{5.2, 5.2}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := soaked(t, 5000, 5000, c.each)
			page := htmlOf(t, r)
			if got := strings.Count(page, `aria-label="K1 operate time at energize"`); got != 1 {
				t.Fatalf("%d pictures, want 1", got)
			}
			for _, word := range []string{"http:", "//", "url(", "<script", "NaN"} {
				if strings.Contains(page, word) {
					t.Errorf("the page contains %q", word)
				}
			}
			drawn := trendsOf(r)[0]
			fits := drawn.course(5000, nil).Fits
			if c.from == nil && len(fits) > 0 {
				t.Fatalf("a steady quantity has lines: %v", fits)
			}
			for i, ends := range [][]float64{c.from, c.to} {
				for k := range ends {
					if got := fits[i].Line[k*(len(fits[i].Line)-1)].Value; math.Abs(got-ends[k]) > 0.015 {
						t.Errorf("line %d is at %g ms, want %g", i, got, ends[k])
					}
				}
			}
			if c.to != nil && math.Abs(fits[0].Line[1].Cycle-3000) > 100 {
				t.Errorf("the step is drawn at cycle %g", fits[0].Line[1].Cycle)
			}
		})
	}
}

// The line of a drift goes from the first to the last block, where the drift is; that of a
// step has two levels.
func TestTrend_Course(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		value       func(n int, rng *rand.Rand) float64
		first, last float64 // of the first and the last line, in ms
		lines       int
	}{
		"drift": {func(n int, rng *rand.Rand) float64 { return steadily(n, rng) + 1e-7*float64(n) }, 5, 5.5, 1},
		"step": {func(n int, rng *rand.Rand) float64 {
			if n > 3000 {
				return steadily(n, rng) + 0.0004
			}
			return steadily(n, rng)
		}, 5, 5.4, 2},
	} {
		all := trendsOf(soaked(t, 5000, 5000, c.value))
		p := all[0].course(5000, nil)
		first, end := p.Fits[0].Line, p.Fits[len(p.Fits)-1].Line
		begin, last := first[0], end[len(end)-1]
		blocks := all[0].series.Blocks()
		if len(p.Fits) != c.lines || p.Unit != "ms" || begin.Cycle != blocks[0].Cycle || last.Cycle != blocks[len(blocks)-1].Cycle {
			t.Errorf("%s: %s, lines %v", name, p.Unit, p.Fits)
		}
		if math.Abs(begin.Value-c.first) > 0.02 || math.Abs(last.Value-c.last) > 0.02 {
			t.Errorf("%s: from %g to %g ms, want %g to %g", name, begin.Value, last.Value, c.first, c.last)
		}
		if name == "drift" && math.Abs(last.Value-begin.Value-1e-4*(last.Cycle-begin.Cycle)) > 0.02 {
			t.Errorf("the drift's line has another slope: %v", p.Fits)
		}
	}
}

// A shape counts as a move only where its own test is clear enough among so many.
func TestTrend_Moved(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		shape       trend.Shape
		drift, step float64 // probabilities
		among       int
		want        trend.Shape
	}{
		{trend.Drifting, 1e-6, 1, 10, trend.Drifting},
		{trend.Drifting, 0.5, 1e-6, 10, ""},
		{trend.Drifting, 1e-4, 1e-6, 1000, ""},
		{trend.Stepped, 1, 1e-6, 10, trend.Stepped},
		{trend.Stepped, 1e-6, 0.5, 10, ""},
		{trend.Changed, 1e-6, 0.5, 10, trend.Changed},
		{trend.Changed, 0.5, 1e-6, 10, trend.Changed},
		{trend.Changed, 1e-4, 1e-4, 1000, ""},
		{trend.Steady, 1e-6, 1e-6, 10, ""},
	} {
		x := Trend{Summary: trend.Summary{Shape: c.shape, Drift: trend.Drift{P: c.drift}, Step: trend.Step{P: c.step}}, among: c.among}
		if got := x.moved(); got != c.want {
			t.Errorf("%s, p %g and %g among %d: %q, want %q", c.shape, c.drift, c.step, c.among, got, c.want)
		}
	}
}

// Single cycles are asked for one by one: the first ten, and those named.
func TestRecord_CyclesTo(t *testing.T) {
	t.Parallel()
	var asked []int
	r := &Record{Cycle: func(n int) iter.Seq2[analyze.Measurement, error] {
		asked = append(asked, n)
		return stream([]analyze.Measurement{{Cycle: n}})
	}}
	n := 0
	for range r.cyclesTo(14, []int{12, 14}) {
		n++
	}
	if want := []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14}; !slices.Equal(asked, want) || n != len(want) {
		t.Errorf("asked for %v, %d figures", asked, n)
	}
}

// An interruption says when it began, where that is known.
func TestInterruptionLines(t *testing.T) {
	t.Parallel()
	resumed := time.Date(2031, 4, 5, 9, 30, 0, 0, time.UTC)
	r := &Record{Interruptions: []Interruption{
		{After: 17, Resumed: resumed, Reason: "the power was cut"},
		{After: 40, Stopped: resumed.Add(time.Hour), Resumed: resumed.Add(2 * time.Hour), Reason: "stopped", Program: "v3"},
	}}
	want := []string{
		"interrupted 2 times; no cycle that was reported done is missing",
		"after cycle 17, at an unknown time, until 2031-04-05 09:30:00 UTC: the power was cut",
		"after cycle 40, 2031-04-05 10:30:00 UTC, until 2031-04-05 11:30:00 UTC: stopped; from there on measured by version v3",
	}
	if got := interruptionLines(r); !slices.Equal(got, want) {
		t.Errorf("got %q\nwant %q", got, want)
	}
	for range shownInterruptions {
		r.Interruptions = append(r.Interruptions, r.Interruptions[1])
	}
	if got := interruptionLines(r); len(got) != shownInterruptions+2 || got[1] != "the latest 10 of them:" || strings.Contains(got[2], "cycle 17") {
		t.Errorf("of twelve: %q", got)
	}
}
