package trend

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// A run that is stopped, stored and resumed ends with the same state, bit by bit,
// as one that was not, whoever looked at it in between; and so does one that is
// added again from a log.
func TestSeries_Resume(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(0, 6000).Draw(rt, "cycles")
		stops := rapid.SliceOfN(rapid.IntRange(0, n), 0, 4).Draw(rt, "stops")
		seed := rapid.Uint64().Draw(rt, "seed")
		values := make([]float64, n+1)
		judged := make([]Outcome, n+1)
		r := noise(seed)
		for i := range values {
			values[i], judged[i] = r.NormFloat64(), Outcome(r.IntN(int(outcomes)))
			if r.IntN(10) == 0 {
				values[i] = math.NaN()
			}
		}
		value := func(c int) (float64, Outcome) { return values[c], judged[c] }
		whole := made(t, n, value)
		resumed := made(t, 0, nil)
		for _, stop := range append(stops, n) {
			extend(t, resumed, stop, value)
			resumed.Summary()
			resumed.Forecast(Limit{3, true}, 2*n)
			b, err := resumed.MarshalBinary()
			if err != nil {
				rt.Fatal(err)
			}
			resumed = new(Series)
			if err := resumed.UnmarshalBinary(b); err != nil {
				rt.Fatalf("after %d cycles: %v", stop, err)
			}
		}
		a, _ := whole.MarshalBinary()
		b, _ := resumed.MarshalBinary()
		if !bytes.Equal(a, b) {
			rt.Fatal("the resumed run differs")
		}
	})
}

func TestSeries_UnmarshalBinary_Damaged(t *testing.T) {
	t.Parallel()
	r := noise(2)
	s := made(t, 3000, func(int) (float64, Outcome) { return r.NormFloat64(), Within })
	good, err := s.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	var kept Series
	if err := kept.UnmarshalBinary(good); err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(good); i += 97 {
		bad := bytes.Clone(good)
		bad[i] ^= 1
		if kept.UnmarshalBinary(bad) == nil {
			t.Errorf("byte %d damaged and not seen", i)
		}
		if kept.UnmarshalBinary(good[:i]) == nil {
			t.Errorf("cut at %d and not seen", i)
		}
	}
	if b, _ := kept.MarshalBinary(); !bytes.Equal(b, good) {
		t.Error("a refused state changed the series")
	}
}

// Any bytes with a right checksum: no panic, and what is taken works, stays within
// its bounds and writes a state that is read again.
func FuzzSeries_UnmarshalBinary(f *testing.F) {
	for _, n := range []int{0, 1, 2, 30, 1200, 5000} {
		r := noise(uint64(n))
		s := made(f, n, func(c int) (float64, Outcome) { return r.NormFloat64(), Outcome(c % 4) })
		b, err := s.MarshalBinary()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b[:len(b)-4])
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		data = binary.LittleEndian.AppendUint32(bytes.Clone(data), crc32.ChecksumIEEE(data))
		var s Series
		if s.UnmarshalBinary(data) != nil {
			return
		}
		s.Summary()
		s.Forecast(Limit{1, true}, 1000)
		if s.to < math.MaxInt32 {
			for range 20 {
				if err := s.Add(s.to+1, 1, Outside); err != nil {
					t.Fatal(err)
				}
			}
		}
		b, err := s.MarshalBinary()
		if err != nil {
			t.Fatal(err)
		}
		var again Series
		if err := again.UnmarshalBinary(b); err != nil {
			t.Fatal(err)
		}
		if c, _ := again.MarshalBinary(); !bytes.Equal(b, c) {
			t.Fatal("a state changes when read and written")
		}
	})
}

// A summary read twice, and after a state, is the same.
func TestSeries_Summary_Steady(t *testing.T) {
	t.Parallel()
	r := noise(4)
	s := made(t, 7000, func(c int) (float64, Outcome) { return float64(c)/1e4 + r.NormFloat64(), Within })
	a := s.Summary()
	b, err := s.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	var u Series
	if err := u.UnmarshalBinary(b); err != nil {
		t.Fatal(err)
	}
	same := cmp.Options{cmpopts.EquateNaNs(), cmpopts.IgnoreUnexported(Step{})}
	for _, c := range []Summary{u.Summary(), s.Summary()} {
		if d := cmp.Diff(a, c, same); d != "" {
			t.Error(d)
		}
	}
}
