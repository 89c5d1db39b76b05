package archive

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"makebreak/analyze"
	"makebreak/rig/problem"
	"makebreak/sequences/journal"
)

// drawCycle is a cycle with more figures than cycle has, or fewer, in any order: some have no
// value, some the same as in other cycles, and of a kind there can be several.
func drawCycle(r *rand.Rand, n int) *journal.Cycle {
	c := cycle(n)
	quantities := []analyze.Quantity{analyze.HighLevel, analyze.LowLevel, analyze.ReleaseTime}
	for range r.IntN(6) {
		m := analyze.Measurement{Cycle: n, Event: "disarm", Signal: []string{"OUT1", "K1"}[r.IntN(2)], Quantity: quantities[r.IntN(len(quantities))],
			Value: []float64{1, math.NaN(), math.Copysign(0, -1), r.Float64()}[r.IntN(4)], Expanded: []float64{0.1, math.NaN(), r.Float64()}[r.IntN(3)],
			Limit: analyze.NoLimit(), Verdict: analyze.Verdicts[r.IntN(len(analyze.Verdicts))]}
		if r.IntN(2) == 0 {
			m.Standard, m.Coverage = r.Float64(), 2
		}
		if r.IntN(4) == 0 {
			m.Doubts = []analyze.Doubt{{Code: analyze.AtMost, Value: math.NaN()}}
		}
		c.Measurements = slices.Insert(c.Measurements, r.IntN(len(c.Measurements)+1), m)
	}
	if r.IntN(5) == 0 {
		c.Measurements = c.Measurements[:r.IntN(2)]
	}
	return c
}

// A soak over several stretches has the log's figures, wherever its parts end, and whichever push
// was cut off: meanwhile it has those that it had.
func TestPush_Stretches(t *testing.T) {
	t.Parallel()
	connection, log := database(t), newLog(t)
	r := rand.New(rand.NewPCG(7, 7))
	soak, n := begin(t, log, 1, true), 0
	more := func(cycles int) {
		t.Helper()
		for range cycles {
			n++
			if err := soak.Append(drawCycle(r, n)); err != nil {
				t.Fatal(err)
			}
		}
		finish(t, soak, false)
	}
	a := opened(t, connection)
	more(90)
	push(t, &Pusher{Log: log, Archive: a, part: 31})
	pushed := inArchive(t, connection, "figures")
	if d := cmp.Diff(inLog(t, log, "figures"), pushed); d != "" {
		t.Fatalf("%.4000s", d)
	}
	soak, err := log.Resume(soak.ID(), time.Date(2026, 11, 26, 8, 0, 0, 0, time.UTC), "v2")
	if err != nil {
		t.Fatal(err)
	}
	more(110)
	ctx, cut := context.WithCancel(t.Context())
	parts := 0
	p := &Pusher{Log: log, Archive: a, part: 25, Tell: func(int64, int64, string) {
		if parts++; parts == 3 {
			cut()
		}
	}}
	if _, err := p.Push(ctx); problem.KindOf(err) != problem.Interrupted {
		t.Fatalf("a push that was cut off: %v", err)
	}
	if staged := number(t, connection, "SELECT max(last) FROM makebreak.part"); staged != 140 {
		t.Errorf("up to cycle %d is there, not 140", staged)
	}
	if d := cmp.Diff(pushed, inArchive(t, connection, "figures")); d != "" {
		t.Errorf("after a push that was cut off: %.4000s", d)
	}
	a = opened(t, connection)
	push(t, &Pusher{Log: log, Archive: a})
	if d := cmp.Diff(inLog(t, log, "figures"), inArchive(t, connection, "figures")); d != "" {
		t.Errorf("%.4000s", d)
	}
	fetched, err := a.Fetch(t.Context(), Wanted{Names: []string{"last"}})
	if err != nil {
		t.Fatal(err)
	}
	defer fetched.Close()
	if want, got := manifest(t, log, soak.ID()), manifest(t, fetched, soak.ID()); want != got {
		t.Errorf("fetched: %.4000s", cmp.Diff(want, got))
	}
}
