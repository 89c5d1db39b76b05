package journal

import (
	"math"
	"slices"
	"testing"

	"makebreak/analyze"
)

// What is told of a figure comes back whichever doubt it is, and symptoms of one signal and
// event stay of their kinds.
func TestRun_KindsComeBack(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	run := fill(t, db, 0)
	doubts := [][]analyze.Doubt{{{Code: analyze.AtMost, Value: math.Inf(1)}}, {{Code: analyze.AtMost}, {Code: analyze.StillBouncing, Value: 0.5}}, nil}
	kinds := []analyze.Kind{analyze.Chattering, analyze.Rippling, analyze.NearLimit}
	c := &Cycle{N: 1}
	for _, d := range doubts {
		c.Measurements = append(c.Measurements, analyze.Measurement{Cycle: 1, Event: "on", Signal: "K1", Quantity: analyze.BounceTime, Doubts: d})
	}
	for _, k := range kinds {
		c.Symptoms = append(c.Symptoms, analyze.Symptom{Cycle: 1, Event: "on", Signal: "K1", Kind: k})
	}
	if err := run.Append(c); err != nil {
		t.Fatal(err)
	}
	rec, err := db.Find("last")
	if err != nil {
		t.Fatal(err)
	}
	i := 0
	for m, err := range rec.Measurements() {
		if err != nil || !slices.Equal(m.Doubts, doubts[i]) || (m.Bound() != analyze.NoBound) != (len(doubts[i]) > 0) {
			t.Errorf("figure %d: %v, %v, want %v", i, m.Doubts, err, doubts[i])
		}
		i++
	}
	if i != len(doubts) {
		t.Errorf("%d figures", i)
	}
	var got []analyze.Kind
	for s, err := range rec.Symptoms() {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, s.Kind)
	}
	slices.Sort(got)
	slices.Sort(kinds)
	if !slices.Equal(got, kinds) {
		t.Errorf("symptoms %v, want %v", got, kinds)
	}
}
