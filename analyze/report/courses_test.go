package report

import (
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/picture"
	"makebreak/analyze/tally"
	"makebreak/analyze/trend"
)

// What is drawn of a soak is what was measured: the bands' quantiles against those of the very
// values, the planted drift and where it meets the limit, the first failure, and the
// interruptions with their lengths.
func TestTrend_CourseTellsWhatWasPlanted(t *testing.T) {
	t.Parallel()
	const cycles, slope = 20_000, 3e-8 // seconds a cycle; the line meets 6 ms at cycle 33,333
	values := make([]float64, cycles)
	r := soaked(t, cycles, 50_000, func(n int, rng *rand.Rand) float64 {
		values[n-1] = 0.005 + slope*float64(n) + 0.0001*rng.NormFloat64()
		if n == 7777 || n == 12_345 {
			values[n-1] = 0.02
		}
		return values[n-1]
	})
	began := time.Date(2026, 11, 20, 8, 0, 0, 0, time.UTC)
	r.CycleStart = func(n int) (time.Time, error) { return began.Add(time.Duration(n) * time.Second), nil }
	r.Interruptions = []Interruption{{After: 4000, Stopped: began.Add(2 * time.Hour), Resumed: began.Add(4*time.Hour + 10*time.Minute)},
		{After: 9000, Resumed: began.Add(9000*time.Second + 90*time.Second)}}
	gaps, err := gapsOf(r)
	if err != nil {
		t.Fatal(err)
	}
	all := trendsOf(r)
	c := all[0].course(cycles, gaps)

	if len(c.Bands) < 40 || len(c.Bands) > mostBands || c.Bands[0].First != 1 || c.Bands[len(c.Bands)-1].Last != cycles {
		t.Fatalf("%d bands from %d to %d", len(c.Bands), c.Bands[0].First, c.Bands[len(c.Bands)-1].Last)
	}
	for _, b := range c.Bands {
		exact := slices.Sorted(slices.Values(values[b.First-1 : b.Last]))
		for i, p := range picture.StripQuantiles {
			// The rank may be off by 4 %, as package trend says.
			at := func(p float64) float64 {
				return 1e3 * exact[int(math.Max(0, math.Min(p, 1))*float64(len(exact)-1)+0.5)]
			}
			if x := b.Values[i]; x < at(p-0.04)-1e-9 || x > at(p+0.04)+1e-9 {
				t.Errorf("cycles %d to %d: %g %% lies at %g ms, want %g to %g", b.First, b.Last, 100*p, x, at(p-0.04), at(p+0.04))
			}
		}
	}
	if c.FirstOut != 7777 || len(c.Out) != 2 || c.Out[1].First != 12_345 {
		t.Errorf("out of the limit first in %d, in all %v", c.FirstOut, c.Out)
	}
	line := c.Fits[0]
	for i, p := range line.Line {
		want := 1e3 * (0.005 + slope*p.Cycle)
		if math.Abs(p.Value-want) > 0.01 || !(line.Low[i].Value < want && want < line.High[i].Value) {
			t.Errorf("at cycle %g the line is at %g (%g to %g), planted was %g", p.Cycle, p.Value, line.Low[i].Value, line.High[i].Value, want)
		}
	}
	if a := c.Ahead; a == nil || math.Abs(a.To.Cycle-33_333) > 1500 || a.To.Value != 6 || !(a.Earliest < 33_333 && 33_333 < a.Latest) {
		t.Errorf("ahead: %+v", a)
	}
	want := []picture.Gap{{After: 4000, Words: "2 h 10 min", Long: 7800}, {After: 9000, Words: "≤ 1 min 30 s", Long: 90}}
	if !slices.Equal(c.Gaps, want) {
		t.Errorf("gaps %+v, want %+v", c.Gaps, want)
	}
}

// The shares that a soak sums are those that are drawn.
func TestBandShares(t *testing.T) {
	t.Parallel()
	if !slices.Equal(trend.BandShares[:], picture.StripQuantiles[:]) {
		t.Errorf("%v and %v", trend.BandShares, picture.StripQuantiles)
	}
}

// kinds is a soak of many quantities: some fail, some have a limit, some have none, and some
// have one value. Its figures can be read again.
func kinds(t *testing.T, cycles int) *Record {
	t.Helper()
	sum, err := tally.New()
	if err != nil {
		t.Fatal(err)
	}
	figures := func(yield func(analyze.Measurement, error) bool) {
		rng := rand.New(rand.NewPCG(5, 6))
		for n := 1; n <= cycles; n++ {
			for i := range 80 {
				m := analyze.Measurement{Cycle: n, Event: "on", Signal: fmt.Sprintf("OUT%d", i), Quantity: analyze.HighLevel, Value: 12 + 0.1*rng.NormFloat64(), Expanded: 0.01, Limit: analyze.NoLimit()}
				switch {
				case i == 70 && n > cycles/2, i == 71 && n > cycles/3:
					m.Limit.Lower, m.Verdict, m.Value = 11, analyze.Fail, 3
				case i >= 60 && i < 75:
					m.Limit.Lower, m.Verdict = 11, analyze.Pass
				case i >= 75:
					m.Value = 12
				}
				if !yield(m, nil) {
					return
				}
			}
		}
	}
	last, verdict := 1, analyze.NoVerdict
	end := func() {
		if err := sum.AddCycle(last, verdict, true); err != nil {
			t.Fatal(err)
		}
	}
	for m := range figures {
		if m.Cycle > last {
			end()
			last, verdict = m.Cycle, analyze.NoVerdict
		}
		verdict = verdict.Worse(m.Verdict)
		if err := sum.Add(&m); err != nil {
			t.Fatal(err)
		}
	}
	end()
	return &Record{Run: "1", Cycles: cycles, Planned: cycles, Complete: true, Verdict: analyze.Fail, Tally: sum, Measurements: figures}
}

// What failed first stands first, then what has a limit, a bounded number; the others are
// folded, and what is not drawn is counted.
func TestSoakPage_Choice(t *testing.T) {
	t.Parallel()
	p, err := pageOf(kinds(t, 90))
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Courses) != shownCourses || len(p.More) != foldedCourses || p.Left != 75-shownCourses-foldedCourses || len(p.Constant) != 5 {
		t.Fatalf("%d drawn, %d folded, %d left, %d constant", len(p.Courses), len(p.More), p.Left, len(p.Constant))
	}
	for i, want := range []string{"OUT71 ", "OUT70 ", "OUT60 "} {
		if got := p.Courses[i].Name; !strings.HasPrefix(got, want) {
			t.Errorf("course %d is of %s, want %s", i, got, want)
		}
	}
	if p.Failures == "" || p.Sampled != 0 {
		t.Error("no failure is on the time line")
	}
}

// A soak that an earlier program has summed is drawn from its figures, all or, of very many, some.
func TestSoakPage_EarlierProgram(t *testing.T) {
	t.Parallel()
	whole, err := pageOf(kinds(t, 90))
	if err != nil {
		t.Fatal(err)
	}
	r := kinds(t, 90)
	forget := func() {
		r.Tally.Failed = nil
		for _, x := range r.Tally.Rows {
			x.Bands, x.Failed = nil, nil
		}
	}
	forget()
	p, err := pageOf(r)
	if err != nil {
		t.Fatal(err)
	}
	if p.Failures != whole.Failures || !slices.Equal(p.Courses, whole.Courses) {
		t.Error("it is drawn otherwise")
	}
	forget()
	asked := 0
	r.Tally.Last = mostRead + 1
	r.Cycle = func(n int) iter.Seq2[analyze.Measurement, error] {
		asked++
		return func(yield func(analyze.Measurement, error) bool) {
			yield(analyze.Measurement{Cycle: n, Event: "on", Signal: "OUT60", Quantity: analyze.HighLevel, Value: float64(n)}, nil)
		}
	}
	if p, err = pageOf(r); err != nil || p.Sampled == 0 || asked > sampledCycles || asked < sampledCycles/2 {
		t.Errorf("%d cycles are asked for, one in %d: %v", asked, p.Sampled, err)
	}
	forget()
	r.Measurements, r.Cycle = broken(3, errDisk), nil
	if _, err := pageOf(r); err == nil {
		t.Error("figures that cannot be read are drawn")
	}
}

// pageOf draws a soak by its own trends.
func pageOf(r *Record) (*soakPage, error) { return soakPageOf(r, trendsOf(r)) }
