package tally_test

import (
	"bytes"
	"encoding"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/tally"
)

// cycle adds an invented cycle: a time that wanders, a bounce that is missing now
// and then, a figure without a limit.
func cycle(t testing.TB, to *tally.Tally, n int) {
	t.Helper()
	rng := rand.New(rand.NewPCG(1, uint64(n)))
	nan := math.NaN()
	all := []analyze.Measurement{
		{Cycle: n, Event: "energize", Signal: "K1", Quantity: analyze.OperateTime, Value: 0.005 + 0.0001*rng.NormFloat64(),
			Expanded: 1e-5, Limit: analyze.Limit{Lower: nan, Upper: 0.0052}, Verdict: analyze.Pass},
		{Cycle: n, Event: "energize", Signal: "K1_NO", Quantity: analyze.BounceTime, Value: nan, Expanded: nan,
			Limit: analyze.Limit{Lower: nan, Upper: 0.005}, Verdict: analyze.Undecided, Doubts: analyze.InWords("an edge was lost")},
		{Cycle: n, Event: "energize", Signal: "K1_NO", Quantity: analyze.BounceCount, Value: float64(rng.IntN(5)), Expanded: nan,
			Limit: analyze.Limit{Lower: nan, Upper: nan}},
	}
	if all[0].Value > 0.0052 {
		all[0].Verdict = analyze.Fail
	}
	if n%3 != 0 {
		all[1] = all[0]
		all[1].Event = "release"
	}
	v := analyze.NoVerdict
	for i := range all {
		if err := to.Add(&all[i]); err != nil {
			t.Fatal(err)
		}
		v = v.Worse(all[i].Verdict)
	}
	if err := to.AddCycle(n, v, n%10 != 0); err != nil {
		t.Fatal(err)
	}
}

func upTo(t testing.TB, to *tally.Tally, first, last int) *tally.Tally {
	for n := first; n <= last; n++ {
		cycle(t, to, n)
	}
	return to
}

func fresh(t testing.TB) *tally.Tally {
	t.Helper()
	a, err := tally.New()
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func bytesOf(t testing.TB, a encoding.BinaryMarshaler) []byte {
	t.Helper()
	b, err := a.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestTally(t *testing.T) {
	t.Parallel()
	a := upTo(t, fresh(t), 1, 300)
	if a.Complete != 270 || a.CutOff != 30 || a.Last != 300 {
		t.Errorf("%d complete, %d cut off, last %d", a.Complete, a.CutOff, a.Last)
	}
	if len(a.Rows) != 4 || len(a.Doubtful) != 10 {
		t.Fatalf("%d rows, %d doubtful cycles", len(a.Rows), len(a.Doubtful))
	}
	for _, x := range a.Rows {
		s := x.Trend.Summary()
		if s.N != int64(x.Values) || s.Missing != int64(x.Figures-x.Values) {
			t.Errorf("%v: the trend has %d values and %d missing, the row %d of %d", x.Key, s.N, s.Missing, x.Values, x.Figures)
		}
		if x.Values > 0 && (s.Min.Value != x.Low || s.Max.Value != x.High) {
			t.Errorf("%v: from %g to %g, the trend from %g to %g", x.Key, x.Low, x.High, s.Min.Value, s.Max.Value)
		}
	}
	lost := a.Rows[3]
	if lost.Quantity != analyze.BounceTime || lost.Values != 0 || lost.Figures != 100 || !math.IsNaN(lost.Low) ||
		len(lost.Remarks) != 1 || lost.Remarks[0].N != 100 || lost.Verdicts[analyze.Undecided.Gravity()] != 100 {
		t.Errorf("the row that was never measured: %+v", lost)
	}
	if x := a.Rows[0]; x.Verdicts[analyze.Fail.Gravity()] == 0 || x.Uncertainty != 1e-5 || x.LimitsDiffer {
		t.Errorf("the operate time: %+v", x)
	}
}

// A tally that is stored and read back at any point comes to the same as one that
// never was.
func TestTally_StateGoesOn(t *testing.T) {
	t.Parallel()
	want := bytesOf(t, upTo(t, fresh(t), 1, 5000))
	for _, at := range []int{0, 1, 37, 400, 2500, 5000} {
		state := bytesOf(t, upTo(t, fresh(t), 1, at))
		back := fresh(t)
		if err := back.UnmarshalBinary(state); err != nil {
			t.Fatalf("at %d: %v", at, err)
		}
		if got := bytesOf(t, upTo(t, back, at+1, 5000)); !bytes.Equal(got, want) {
			t.Errorf("stored at cycle %d, it comes to something else", at)
		}
	}
}

// What cannot be read is refused, and the tally stays as it was.
func TestTally_BadState(t *testing.T) {
	t.Parallel()
	a := upTo(t, fresh(t), 1, 40)
	before := bytesOf(t, a)
	for _, bad := range [][]byte{nil, []byte("tally"), before[:len(before)-1], append(bytes.Clone(before), 0), []byte("tally\x00\x03xxxx")} {
		if err := a.UnmarshalBinary(bad); !errors.Is(err, tally.ErrState) {
			t.Errorf("%d bytes: %v", len(bad), err)
		}
	}
	for i := 0; i < len(before); i += 97 {
		bad := bytes.Clone(before)
		bad[i] ^= 0x10
		if err := a.UnmarshalBinary(bad); !errors.Is(err, tally.ErrState) {
			t.Errorf("byte %d changed: %v", i, err)
		}
	}
	if !bytes.Equal(bytesOf(t, a), before) {
		t.Error("the tally has changed")
	}
}

// BenchmarkTally adds cycles of four figures; the state's size is that of four rows.
func BenchmarkTally(b *testing.B) {
	a := fresh(b)
	n := 0
	for b.Loop() {
		n++
		cycle(b, a, n)
	}
	b.ReportMetric(float64(3*n)/b.Elapsed().Seconds(), "figures/s")
	b.ReportMetric(float64(len(bytesOf(b, a)))/float64(len(a.Rows)), "state-B/row")
}
