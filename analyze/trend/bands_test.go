package trend

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// bandError is by how much the rank of a band's quantile may be off, as a share of its values.
const bandError = 0.04

// kindsOfCourse are ways in which values go over the cycles.
var kindsOfCourse = map[string]func(r *rand.Rand, cycle int) float64{
	"normal":      func(r *rand.Rand, _ int) float64 { return r.NormFloat64() },
	"long tail":   func(r *rand.Rand, _ int) float64 { return math.Exp(3 * r.NormFloat64()) },
	"counts":      func(r *rand.Rand, _ int) float64 { return float64(r.IntN(5)) },
	"mostly one":  func(r *rand.Rand, _ int) float64 { return float64(r.IntN(12) / 11) },
	"two humps":   func(r *rand.Rand, _ int) float64 { return 100*float64(r.IntN(2)) + r.NormFloat64() },
	"rising":      func(_ *rand.Rand, cycle int) float64 { return float64(cycle) },
	"falling":     func(_ *rand.Rand, cycle int) float64 { return -math.Sqrt(float64(cycle)) },
	"drift":       func(r *rand.Rand, cycle int) float64 { return r.NormFloat64() + float64(cycle)/1000 },
	"swing":       func(r *rand.Rand, cycle int) float64 { return math.Sin(float64(cycle)/300) + 0.1*r.NormFloat64() },
	"alternating": func(_ *rand.Rand, cycle int) float64 { return float64(cycle % 2) },
}

// rankError is how far q lies from the ranks that a value has among sorted ones.
func rankError(sorted []float64, value, q float64) float64 {
	below, _ := slices.BinarySearch(sorted, value)
	upTo, _ := slices.BinarySearch(sorted, math.Nextafter(value, math.Inf(1)))
	n := float64(len(sorted))
	return max(0, float64(below)/n-q, q-float64(upTo)/n)
}

// The bands' quantiles against those of the very values, sorted; each band is of successive
// cycles, and all values are in one.
func TestBands_Quantiles(t *testing.T) {
	t.Parallel()
	names := slices.Sorted(maps.Keys(kindsOfCourse))
	worst := 0.0
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(names).Draw(t, "course")
		n := rapid.OneOf(rapid.IntRange(1, 700), rapid.IntRange(701, 40_000)).Draw(t, "values")
		most := rapid.IntRange(8, 128).Draw(t, "bands")
		rng := noise(rapid.Uint64().Draw(t, "seed"))
		var b Bands
		values := make([]float64, n)
		for i := range values {
			values[i] = kindsOfCourse[name](rng, i+1)
			b.Add(i+1, values[i])
		}
		if b.N() != n {
			t.Fatalf("%d values, want %d", b.N(), n)
		}
		bands := b.Bands(most)
		if len(bands) > most {
			t.Errorf("%d bands, want %d at most", len(bands), most)
		}
		next := 1
		for _, band := range bands {
			if band.First != next || band.Last-band.First+1 != band.N || band.N < leastInBand && n >= leastInBand {
				t.Fatalf("band of %d values from %d to %d, the one before ended with %d", band.N, band.First, band.Last, next-1)
			}
			next = band.Last + 1
			exact := sorted(slices.Clone(values[band.First-1 : band.Last]))
			for i, x := range band.Values {
				if e := rankError(exact, x, BandShares[i]); e > bandError+0.5/float64(band.N) {
					t.Errorf("%s: rank of %g %% off by %.2f %% of %d values", name, 100*BandShares[i], 100*e, band.N)
				} else if band.N >= leastInBand {
					worst = max(worst, e)
				}
			}
		}
		if next != n+1 {
			t.Errorf("the last band ends with %d, want %d", next-1, n)
		}
	})
	t.Logf("worst rank off by %.2f %%", 100*worst)
}

// Very many values: many joinings. MAKEBREAK_LONG=10 takes a million.
func TestBands_Long(t *testing.T) {
	if testing.Short() {
		t.Skip("a second")
	}
	t.Parallel()
	n := 100_000
	if factor, err := strconv.Atoi(os.Getenv("MAKEBREAK_LONG")); err == nil {
		n *= factor
	}
	for _, name := range []string{"normal", "long tail", "counts", "rising", "swing"} {
		var b Bands
		rng := noise(3)
		values := make([]float64, n)
		for i := range values {
			values[i] = kindsOfCourse[name](rng, i+1)
			b.Add(i+1, values[i])
		}
		worst := 0.0
		for _, band := range b.Bands(96) {
			exact := sorted(slices.Clone(values[band.First-1 : band.Last]))
			for i, x := range band.Values {
				worst = max(worst, rankError(exact, x, BandShares[i]))
			}
		}
		if worst > 0.03 {
			t.Errorf("%s: rank off by %.2f %%", name, 100*worst)
		}
		t.Logf("%s: worst rank off by %.2f %%", name, 100*worst)
		if state, err := b.MarshalBinary(); err != nil || len(state) > MaxState {
			t.Errorf("state of %d bytes, %v", len(state), err)
		}
	}
}

// Bands that are stored in between go on as if they had not been.
func TestBands_State(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 9000).Draw(t, "values")
		at := rapid.IntRange(0, n).Draw(t, "stored after")
		rng := noise(rapid.Uint64().Draw(t, "seed"))
		var whole, parted Bands
		for c := 1; c <= n; c++ {
			x := rng.NormFloat64()
			whole.Add(c, x)
			parted.Add(c, x)
			if c != at {
				continue
			}
			state, err := parted.MarshalBinary()
			if err != nil {
				t.Fatal(err)
			}
			parted = Bands{}
			if err := parted.UnmarshalBinary(state); err != nil {
				t.Fatal(err)
			}
		}
		a, _ := whole.MarshalBinary()
		b, _ := parted.MarshalBinary()
		if !bytes.Equal(a, b) {
			t.Error("they went on otherwise")
		}
	})
}

// A damaged state is refused, and what is taken can go on.
func TestBands_UnmarshalBinary_Refused(t *testing.T) {
	t.Parallel()
	var b Bands
	for c := 1; c <= 7000; c++ {
		b.Add(c, float64(c%17))
	}
	state, err := b.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		bad := slices.Clone(state)
		at := rapid.IntRange(len(bandsMagic), len(bad)-5).Draw(t, "at")
		bad[at] ^= byte(rapid.IntRange(1, 255).Draw(t, "change"))
		into := Bands{}
		if err := into.UnmarshalBinary(bad); err == nil {
			t.Error("a changed byte is not noticed")
		}
		if err := into.UnmarshalBinary(binary.LittleEndian.AppendUint32(bad[:len(bad)-4], crc32.ChecksumIEEE(bad[:len(bad)-4]))); err != nil {
			return
		}
		for c := 7001; c <= 9000; c++ {
			into.Add(c, 1)
		}
		into.Bands(96)
	})
	for _, bad := range [][]byte{nil, state[:20], state[:len(state)-1], append(slices.Clone(state), 0)} {
		if err := new(Bands).UnmarshalBinary(bad); err == nil {
			t.Errorf("%d bytes of %d are taken", len(bad), len(state))
		}
	}
}

// Few cycles are marked one by one, many in rows that are told by their number.
func TestMarks(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 5000).Draw(t, "cycles")
		gap := rapid.IntRange(1, 300).Draw(t, "gap")
		rng := noise(rapid.Uint64().Draw(t, "seed"))
		var m Marks
		var all []int
		for c, i := 0, 0; i < n; i++ {
			c += 1 + rng.IntN(gap)
			all = append(all, c)
			m.Add(c)
			m.Add(c) // of another event of that cycle
		}
		if !m.Sound() || len(m.List) > maxMarks {
			t.Fatalf("%d marks, sound: %v", len(m.List), m.Sound())
		}
		if n <= maxMarks && len(m.List) != n {
			t.Errorf("%d marks of %d cycles", len(m.List), n)
		}
		for _, x := range m.List {
			if len(all) < x.N || all[0] != x.First || all[x.N-1] != x.Last {
				t.Fatalf("mark %+v is not of the next cycles", x)
			}
			if x.Last-x.First >= m.Width {
				t.Errorf("mark %+v is wider than %d", x, m.Width)
			}
			all = all[x.N:]
		}
		if len(all) > 0 {
			t.Errorf("%d cycles are not marked", len(all))
		}
	})
	for _, bad := range []Marks{{Width: 3}, {Width: -2}, {List: []Mark{{1, 1, 1}}}, {Width: 1, List: []Mark{{2, 2, 1}, {1, 1, 1}}},
		{Width: 1, List: []Mark{{1, 2, 2}}}, {Width: 2, List: []Mark{{1, 2, 3}}}, {Width: 2, List: []Mark{{0, 0, 1}}}, {Width: 1, List: make([]Mark, 500)}} {
		if bad.Sound() {
			t.Errorf("%+v is taken for sound", bad)
		}
	}
}

func BenchmarkBands_Add(b *testing.B) {
	rng := noise(1)
	var x Bands
	for n := 1; b.Loop(); n++ {
		x.Add(n, rng.NormFloat64())
	}
}

// A clone stays as it is while the bands go on.
func TestBands_Clone(t *testing.T) {
	t.Parallel()
	b := &Bands{}
	var clones []*Bands
	var want [][]Band
	for n := 1; n <= 50_000; n++ {
		b.Add(n, float64(n*7919%977))
		if n > 150 && n%997 != 0 {
			continue
		}
		c := b.Clone()
		clones, want = append(clones, c), append(want, b.Bands(40))
		cycles, values := c.Singles()
		if few := n < maxStretches; few != (len(values) == n) || few && (cycles[n-1] != n || values[n-1] != float64(n*7919%977)) {
			t.Errorf("of %d values %d are single ones", n, len(values))
		}
	}
	for i, c := range clones {
		if got := c.Bands(40); !slices.Equal(got, want[i]) {
			t.Fatalf("clone %d of %d values: %v, was %v", i, c.N(), got, want[i])
		}
	}
}
