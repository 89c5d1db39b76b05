package trend

import (
	"bytes"
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	_ "makebreak/testdata/fixedseed"

	"makebreak/testdata/few"
)

func sorted(x []float64) []float64 {
	slices.Sort(x)
	return x
}

// made returns a series of n values from a generator that knows its cycle.
func made(t testing.TB, n int, value func(cycle int) (float64, Outcome)) *Series {
	t.Helper()
	s, err := New()
	if err != nil {
		t.Fatal(err)
	}
	extend(t, s, n, value)
	return s
}

func extend(t testing.TB, s *Series, to int, value func(cycle int) (float64, Outcome)) {
	t.Helper()
	for c := s.to + 1; c <= to; c++ {
		x, o := value(c)
		if err := s.Add(c, x, o); err != nil {
			t.Fatal(err)
		}
	}
}

func noise(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 42)) }

func TestSeries_Add_Refused(t *testing.T) {
	t.Parallel()
	s := made(t, 5, func(c int) (float64, Outcome) { return 1, Within })
	before, _ := s.MarshalBinary()
	for _, c := range []struct {
		cycle  int
		value  float64
		judged Outcome
		word   string
	}{
		{4, 1, Within, "cycle 4 after cycle 5"},
		{0, 1, Within, "cycle 0"},
		{6, math.Inf(1), Within, "infinite"},
		{6, 1, 4, "no such outcome"},
	} {
		if err := s.Add(c.cycle, c.value, c.judged); err == nil || !strings.Contains(err.Error(), c.word) {
			t.Errorf("cycle %d: got %v, want a word on %q", c.cycle, err, c.word)
		}
	}
	if err := s.Add(4, 1, Within); !errors.Is(err, ErrOrder) {
		t.Errorf("got %v", err)
	}
	if after, _ := s.MarshalBinary(); !bytes.Equal(before, after) {
		t.Error("a refused value changed the series")
	}
}

func TestSeries_Counts(t *testing.T) {
	t.Parallel()
	s, err := New()
	if err != nil {
		t.Fatal(err)
	}
	nan := math.NaN()
	for _, c := range []struct {
		cycle int
		value float64
		o     Outcome
	}{{2, 5, Within}, {3, nan, Outside}, {3, 7, Outside}, {6, 3, Doubtful}, {7, nan, Unjudged}, {8, 7, Outside}} {
		if err := s.Add(c.cycle, c.value, c.o); err != nil {
			t.Fatal(err)
		}
	}
	got := s.Summary()
	if got.From != 2 || got.To != 8 || got.N != 4 || got.Missing != 2 || got.FirstMissing != 3 || got.Skipped != 2 {
		t.Errorf("got %+v", got)
	}
	if got.Min != (Extreme{3, 6}) || got.Max != (Extreme{7, 3}) || got.Mean != 5.5 {
		t.Errorf("got %+v %+v %g", got.Min, got.Max, got.Mean)
	}
	f := got.Failures
	if f.Judged != 5 || f.Doubtful != 1 || f.Outside != 3 || f.First != 3 || f.Last != 8 || f.Streak != 2 {
		t.Errorf("got %+v", f)
	}
	if !math.IsNaN(f.Clustering) || !math.IsNaN(got.Drift.P) || got.Shape != Unknown || len(got.Doubts) == 0 {
		t.Errorf("claims too much from 4 values: %+v", got)
	}
}

func TestSeries_Empty(t *testing.T) {
	t.Parallel()
	got := made(t, 0, nil).Summary()
	if got.N != 0 || !math.IsNaN(got.Mean) || !math.IsNaN(got.SD) || !math.IsNaN(got.Quantiles[4].Value) || !math.IsNaN(got.Min.Value) {
		t.Errorf("got %+v", got)
	}
}

// NIST Statistical Reference Datasets, univariate: certified mean, standard
// deviation and lag-1 autocorrelation. Lew and Mavro hold measured data, PiDigits
// the digits of pi, the NumAcc sets are built to break formulas.
func TestMoments_StRD(t *testing.T) {
	t.Parallel()
	ref := readReference(t, "strd.txt")
	numAcc := func(first, low, high float64, n int) []float64 {
		x := []float64{first}
		for len(x) < n {
			x = append(x, low, high)
		}
		return x
	}
	for _, c := range []struct {
		name           string
		data           []float64
		mean, sd, lag1 float64
		digits         float64 // correct decimal digits of sd and lag1
	}{
		{"Lew", ref["Lew"][0], -177.435, 277.332168044316, -0.307304800605679, 13},
		{"Mavro", ref["Mavro"][0], 2.001856, 0.000429123454003053, 0.937989183438248, 10},
		{"Michelso", ref["Michelso"][0], 299.8524, 0.0790105478190518, 0.535199668621283, 10},
		{"Lottery", ref["Lottery"][0], 518.958715596330, 291.699727470969, -0.120948622967393, 12},
		{"PiDigits", piDigits(5000), 4.53480000000000, 2.86733906028871, -0.00355099287237972, 12},
		{"NumAcc1", []float64{10000001, 10000003, 10000002}, 10000002, 1, -0.5, 13},
		{"NumAcc2", numAcc(1.2, 1.1, 1.3, 1001), 1.2, 0.1, -0.999, 12},
		{"NumAcc3", numAcc(1000000.2, 1000000.1, 1000000.3, 1001), 1000000.2, 0.1, -0.999, 8.5},
		{"NumAcc4", numAcc(10000000.2, 10000000.1, 10000000.3, 1001), 10000000.2, 0.1, -0.999, 7.5},
	} {
		t.Run(c.name, func(t *testing.T) {
			var m moments
			for _, x := range c.data {
				m.add(x)
			}
			near(t, "mean", m.mean, c.mean, 2e-14)
			near(t, "sd", m.sd(), c.sd, math.Pow(10, -c.digits))
			near(t, "lag 1", m.lag1(), c.lag1, math.Pow(10, 1-c.digits))
		})
	}
}

// The rank of a quantile is off by at most what sketch.go says, whatever the order
// and shape of the values.
func TestSeries_Quantile_Rank(t *testing.T) {
	t.Parallel()
	for _, n := range []int{400, 1000, 5000, few.Of(10000, 100000)} {
		testQuantileRank(t, n)
	}
}

func testQuantileRank(t *testing.T, n int) {
	t.Helper()
	r := noise(1)
	for name, value := range map[string]func(c int) float64{
		"normal on an offset": func(int) float64 { return 12.3 + 0.002*r.NormFloat64() },
		"rising":              func(c int) float64 { return float64(c) },
		"falling":             func(c int) float64 { return -float64(c) },
		"exponential":         func(int) float64 { return r.ExpFloat64() },
		"two levels":          func(c int) float64 { return float64(c%2*100) + r.Float64() },
		"counts":              func(int) float64 { return math.Floor(4 * r.ExpFloat64()) },
	} {
		var all []float64
		s := made(t, n, func(c int) (float64, Outcome) {
			x := value(c)
			all = append(all, x)
			return x, Unjudged
		})
		slices.Sort(all)
		last := math.Inf(-1)
		for _, q := range s.Summary().Quantiles {
			lo, _ := slices.BinarySearch(all, q.Value)
			hi, _ := slices.BinarySearch(all, math.Nextafter(q.Value, math.Inf(1)))
			rank := func(i int) float64 { return float64(i) / float64(n) }
			off := math.Max(0, math.Max(rank(lo)-q.P, q.P-rank(hi)))
			if name == "counts" { // between two counts the rank jumps
				lo, _ = slices.BinarySearch(all, math.Floor(q.Value))
				hi, _ = slices.BinarySearch(all, math.Ceil(q.Value)+0.5)
				off = math.Max(0, math.Max(rank(lo)-q.P, q.P-rank(hi)))
			}
			if bound := 0.008*math.Sqrt(q.P*(1-q.P))/2 + rank(2); off > bound {
				t.Errorf("%s, %d values: quantile %g is %g: rank off by %.5f, at most %.5f", name, n, q.P, q.Value, off, bound)
			}
			if q.Value < last {
				t.Errorf("%s: quantile %g falls", name, q.P)
			}
			last = q.Value
		}
	}
}

// R: quantile(c(1, 2, 4, 8), c(.5, .25)) is 3 and 1.75 (type 7).
func TestSeries_Quantile_Exact(t *testing.T) {
	t.Parallel()
	s := made(t, 4, func(c int) (float64, Outcome) { return math.Pow(2, float64(4-c)), Unjudged })
	if a, b := s.Quantile(0.5), s.Quantile(0.25); a != 3 || b != 1.75 {
		t.Errorf("got %g and %g", a, b)
	}
	for _, p := range []float64{-0.1, 1.1, math.NaN()} {
		if x := s.Quantile(p); !math.IsNaN(x) {
			t.Errorf("quantile %g is %g", p, x)
		}
	}
}

// Blocks of nine bear four wild values; the trend must not see them.
func TestBlocks_Outliers(t *testing.T) {
	t.Parallel()
	r := noise(3)
	s := made(t, 50000, func(c int) (float64, Outcome) {
		if c%50 == 0 {
			return 1e9, Unjudged
		}
		return r.NormFloat64(), Unjudged
	})
	for _, b := range s.blocks.done {
		if math.Abs(b.value) > 3 {
			t.Fatalf("block at %d: %g", b.first, b.value)
		}
	}
}

func TestBlocks_CoverAll(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 20000).Draw(t, "n")
		var b blocks
		for c := 1; c <= n; c++ {
			b.add(c, float64(c))
		}
		next := 1
		for _, c := range b.done {
			if c.first != next || c.last != next+b.size()-1 || math.Abs(c.value-c.centre) > 1e-6 {
				t.Fatalf("after cycle %d: %+v in blocks of %d", next-1, c, b.size())
			}
			next = c.last + 1
		}
		if left := n - next + 1; left >= b.size() || len(b.done) >= maxBlocks || n >= maxBlocks && len(b.done) < maxBlocks/join {
			t.Fatalf("%d blocks of %d, %d values in none", len(b.done), b.size(), left)
		}
	})
}

// A million cycles stay within the stated memory, in the heap and on disk.
func TestSeries_Memory(t *testing.T) {
	const bound = 64 << 10
	r := noise(5)
	for _, n := range []int{2000, 50000, few.Of(100000, 1000000)} {
		count := 20
		if n >= 100000 {
			count = 1
		}
		all := make([]*Series, count)
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		for i := range all {
			all[i] = made(t, n, func(c int) (float64, Outcome) { return r.NormFloat64(), Within })
			all[i].Summary()
		}
		runtime.GC()
		runtime.ReadMemStats(&after)
		if each := (int64(after.HeapAlloc) - int64(before.HeapAlloc)) / int64(count); each > bound {
			t.Errorf("%d cycles: %d bytes a series, at most %d", n, each, bound)
		}
		if b, err := all[0].MarshalBinary(); err != nil || len(b) > MaxState {
			t.Errorf("%d cycles: state of %d bytes, %v", n, len(b), err)
		}
		runtime.KeepAlive(all)
	}
}

func BenchmarkSeries_Add(b *testing.B) {
	r := noise(1)
	x := make([]float64, 1<<16)
	for i := range x {
		x[i] = 12 + 0.01*r.NormFloat64()
	}
	s := made(b, 0, nil)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		if err := s.Add(i+1, x[i&(1<<16-1)], Within); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "adds/s")
}

func BenchmarkSeries_Summary(b *testing.B) {
	r := noise(1)
	s := made(b, 383*3*3*3, func(c int) (float64, Outcome) { return r.NormFloat64(), Within })
	for b.Loop() {
		s.fitted = nil
		s.Summary()
	}
}
