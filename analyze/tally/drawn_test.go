package tally_test

import (
	"bytes"
	"iter"
	"reflect"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/tally"
)

// figures are those of so many cycles: every 7th is too high, and every 5th a bound.
func figures(cycles int) iter.Seq2[analyze.Measurement, error] {
	return func(yield func(analyze.Measurement, error) bool) {
		for n := 1; n <= cycles; n++ {
			m := figure(n, func(m *analyze.Measurement) { m.Value, m.Verdict = 12+float64(n%11)/100, analyze.Pass })
			if n%7 == 0 {
				m.Verdict = analyze.Fail
			}
			if n%5 == 0 {
				m.Doubts = []analyze.Doubt{{Code: analyze.AtLeast}}
			}
			if !yield(m, nil) {
				return
			}
		}
	}
}

func tallied(t *testing.T, cycles int) *tally.Tally {
	t.Helper()
	a := fresh(t)
	for m := range figures(cycles) {
		if err := a.Add(&m); err != nil {
			t.Fatal(err)
		}
		if err := a.AddCycle(m.Cycle, m.Verdict, true); err != nil {
			t.Fatal(err)
		}
	}
	return a
}

// What the pictures need is of the values that are no bounds, is stored, and is made again as
// it was where an earlier program has begun the tally.
func TestTally_Draw(t *testing.T) {
	t.Parallel()
	const cycles = 3000
	a := tallied(t, cycles)
	if x := a.Rows[0]; x.Bands.N() != cycles*4/5 || len(a.Failed.List) == 0 || !reflect.DeepEqual(x.Failed, a.Failed) || !a.Drawn() {
		t.Fatalf("%d values in bands, %d marks", x.Bands.N(), len(a.Failed.List))
	}
	back := fresh(t)
	if err := back.UnmarshalBinary(bytesOf(t, a)); err != nil {
		t.Fatal(err)
	}
	if !back.Drawn() || !reflect.DeepEqual(back.Rows[0].Bands.Bands(9), a.Rows[0].Bands.Bands(9)) || !reflect.DeepEqual(back.Failed, a.Failed) {
		t.Error("what is drawn is not stored")
	}
	old := fresh(t)
	if err := old.UnmarshalBinary(earlier(t, a)); err != nil {
		t.Fatal(err)
	}
	if old.Drawn() {
		t.Fatal("an earlier program's tally has what it did not keep")
	}
	if m := figure(cycles+1, nil); old.Add(&m) != nil || old.Drawn() {
		t.Error("it cannot go on, or is whole from there on")
	}
	if err := old.Draw(figures(cycles)); err != nil {
		t.Fatal(err)
	}
	if !old.Drawn() || !bytes.Equal(bytesOf(t, old.Rows[0].Bands), bytesOf(t, a.Rows[0].Bands)) || !reflect.DeepEqual(old.Failed, a.Failed) {
		t.Error("it is made again otherwise")
	}
	// From some cycles the bands are made, and no marks.
	if err := old.DrawSome(figures(100)); err != nil || old.Drawn() || old.Rows[0].Bands.N() != 80 || old.Rows[0].Failed != nil {
		t.Errorf("of some cycles: %d values, marks %v, %v", old.Rows[0].Bands.N(), old.Rows[0].Failed, err)
	}
	// A tally in which nothing failed has its marks, too.
	none := fresh(t)
	m := figure(1, nil)
	if err := none.Add(&m); err != nil {
		t.Fatal(err)
	}
	if err := back.UnmarshalBinary(bytesOf(t, none)); err != nil || !back.Drawn() {
		t.Errorf("drawn: %v, %v", back.Drawn(), err)
	}
}

// earlier is a tally's state as an earlier program wrote it.
func earlier(t *testing.T, a *tally.Tally) []byte {
	t.Helper()
	for _, x := range a.Rows {
		bands, failed := x.Bands, x.Failed
		x.Bands, x.Failed = nil, nil
		defer func() { x.Bands, x.Failed = bands, failed }()
	}
	failed := a.Failed
	a.Failed = nil
	defer func() { a.Failed = failed }()
	return bytesOf(t, a)
}

// Marks that cannot be are refused, though the sum agrees.
func TestTally_UnmarshalBinary_BadMarks(t *testing.T) {
	t.Parallel()
	a := tallied(t, 50)
	for _, spoil := range []func(){func() { a.Failed.Width = 3 }, func() { a.Failed.Width = 1; a.Rows[0].Failed.List[0].N = -1 }} {
		spoil()
		if err := fresh(t).UnmarshalBinary(bytesOf(t, a)); err == nil {
			t.Error("it is taken")
		}
	}
}
