package soak_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"makebreak/analyze"
	"makebreak/sequences/journal"
	"makebreak/sequences/soak"
)

// valued is a whole cycle with one figure.
func valued(n int, x float64, v analyze.Verdict) *journal.Cycle {
	return &journal.Cycle{N: n, Complete: true, Verdict: v, Measurements: []analyze.Measurement{{Cycle: n, Event: "energize", Signal: "K1",
		Quantity: analyze.OperateTime, Value: x, Verdict: v}}}
}

func TestKeeper_Policy(t *testing.T) {
	all := journal.Retention{First: 2, Last: 3, Every: 5, Bad: 2}
	cut := valued(8, 1, analyze.Pass)
	cut.Complete = false
	k := soak.NewKeeper(all, 0)
	for _, c := range []struct {
		cycle *journal.Cycle
		want  journal.Kept
	}{
		{valued(1, 1, analyze.Fail), journal.KeptFirst},
		{valued(2, 1, analyze.Pass), journal.KeptFirst},
		{valued(3, 1, analyze.Pass), journal.KeptLast},
		{valued(4, 1, analyze.Undecided), journal.KeptBad},
		{valued(5, 1, analyze.Fail), journal.KeptEvery},
		{cut, journal.KeptBad},
		{valued(9, 1, analyze.Fail), journal.KeptLast}, // two are enough
		{valued(10, math.NaN(), analyze.Pass), journal.KeptEvery},
	} {
		if got := k.Keep(c.cycle); got != c.want {
			t.Errorf("cycle %d, %s: kept as %d, want %d", c.cycle.N, c.cycle.Verdict, got, c.want)
		}
	}
	if k.NotKept() != 1 {
		t.Errorf("%d cycles that did not pass left out, want 1", k.NotKept())
	}
	if got := soak.NewKeeper(journal.Retention{}, 0).Keep(valued(1, 1, analyze.Fail)); got != journal.NotKept {
		t.Errorf("an empty policy keeps a capture as %d", got)
	}
}

// Noise keeps hardly any capture as drifted, however long it lasts; a slow drift
// keeps some on its way, and about as many if it is ten times as slow.
func TestKeeper_Drift(t *testing.T) {
	for _, c := range []struct {
		name        string
		cycles      int
		drift       float64 // over all cycles, in standard deviations
		least, most int
	}{
		{"noise", 200_000, 0, 0, 5},
		{"fast drift", 20_000, 20, 5, 40},
		{"slow drift", 200_000, 20, 5, 40},
	} {
		t.Run(c.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(1, 2))
			k := soak.NewKeeper(journal.Retention{Bad: 1_000_000}, 0)
			n := 0
			for i := 1; i <= c.cycles; i++ {
				x := rng.NormFloat64() + c.drift*float64(i)/float64(c.cycles)
				if k.Keep(valued(i, x, analyze.Pass)) == journal.KeptDrifted {
					n++
				}
			}
			if n < c.least || n > c.most {
				t.Errorf("%d captures kept as drifted, want %d to %d", n, c.least, c.most)
			}
		})
	}
}

// Every cycle that failed is kept where all are to be, and none is counted as left.
func TestKeeper_All(t *testing.T) {
	k := soak.NewKeeper(journal.Retention{Bad: journal.KeepAll}, 1_000_000)
	for n := 1; n <= 5000; n++ {
		if got := k.Keep(valued(n, 1, analyze.Fail)); got != journal.KeptBad {
			t.Fatalf("cycle %d is kept as %d", n, got)
		}
	}
	if k.NotKept() != 0 {
		t.Errorf("%d left out", k.NotKept())
	}
}
