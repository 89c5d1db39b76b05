package measure_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
	"makebreak/rig/line"
)

// takenIn is a line's edges as a kernel of one kind or another hands them on: what comes until
// its handler runs is one edge, with the stamp of the last or of the first of them and the state
// found then; and a queue may drop some. The signs of that are found as on a rig.
type takenIn struct {
	window  int64 // ns from an edge to the handler
	first   bool  // the stamp is the first one's: hardware that latches one edge
	dropped map[int]bool
}

func (k takenIn) track(truth *capture.Track) *capture.Track {
	t := &capture.Track{Signal: truth.Signal, Known: true, Initial: truth.Initial}
	var ledger line.Ledger
	ledger.Begin(0, truth.Initial)
	seq := uint32(0)
	for i := 0; i < len(truth.Edges); seq++ {
		n := i
		for n+1 < len(truth.Edges) && int64(truth.Edges[n+1].At-truth.Edges[i].At) < k.window {
			n++
		}
		e := line.Edge{At: truth.Edges[n].At, Active: truth.Edges[n].Closed, Seq: seq + 1}
		if k.first {
			e.At = truth.Edges[i].At
		}
		i = n + 1
		if k.dropped[int(seq)] {
			continue
		}
		if lost := ledger.Add(e); lost.Edges() > 0 {
			sign := capture.Gap
			if lost.Dropped == 0 {
				sign = capture.Merge
			}
			t.Lose(lost.Edges(), sign, 0, e.At)
		}
		t.Edges = append(t.Edges, capture.Edge{At: e.At, Closed: e.Active})
	}
	// The bench looks at the line itself at each state's end.
	since := capture.Instant(0)
	for _, at := range []capture.Instant{capture.FromSeconds(1) - 1, capture.FromSeconds(3) - 1, capture.FromSeconds(5)} {
		is, _ := truth.StateAt(at)
		if seen, _ := t.StateAt(at); seen != is {
			t.Losses = append(t.Losses, capture.Loss{Span: capture.Span{From: since, To: at}, Edges: 1, Sign: capture.Level})
		}
		since = at
	}
	return t
}

// Whatever edges of a relay's contacts are merged or dropped, by whatever kernel: in a state
// that shows a sign of it no figure passes that fails by the complete edges, nor the reverse,
// and a bound holds the complete edges' value.
func TestProperties_LostEdges(t *testing.T) {
	passed, doubted := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		burst := func(what string, at float64) []float64 {
			all := []float64{at}
			for range 2 * rapid.IntRange(0, 6).Draw(t, what) {
				at += rapid.Float64Range(20e-6, 1.5e-3).Draw(t, "gap")
				all = append(all, at)
			}
			return all
		}
		moves := func() []float64 {
			return slices.Concat(burst("bounces", 1.054+rapid.Float64Range(0, 16e-3).Draw(t, "operates")), burst("bounces", 3.053+rapid.Float64Range(0, 16e-3).Draw(t, "releases")))
		}
		plan := relayPlan()
		plan.Relays[0].Limits[analyze.BounceCount] = atMost(4)
		base := draw(5).output("OUT1", 1e3, levels(0, 1.05, 12, 3.05, 0)).event("on", 1).event("off", 3)
		base.Start = 0
		whole := base.contact("K1_NO", false, moves()...).contact("K1_NC", true, moves()...)
		truth, err := diagnose.Examine(plan, whole.Capture)
		if err != nil {
			t.Fatal(err)
		}
		lossy := drawing{&capture.Capture{Start: whole.Start, End: whole.End, Traces: whole.Traces, Events: whole.Events}}
		var merges [2]bool
		for i, k := range whole.Tracks {
			kernel := takenIn{first: rapid.Bool().Draw(t, "stamp of the first"), dropped: map[int]bool{}}
			if merges[i] = rapid.Bool().Draw(t, "merges"); merges[i] {
				kernel.window = int64(rapid.Float64Range(10e3, 2e6).Draw(t, "window"))
			}
			for range rapid.IntRange(0, 2).Draw(t, "drops") {
				kernel.dropped[rapid.IntRange(0, 15).Draw(t, "drop")] = true
			}
			lossy.Tracks = append(lossy.Tracks, kernel.track(k))
		}
		got, err := diagnose.Examine(plan, lossy.Capture)
		if err != nil {
			t.Fatal(err)
		}
		wellFormed(t, got)
		for _, x := range truth.Measurements {
			rows := rowsOf(got, x.Event, x.Signal, x.Quantity)
			if len(rows) == 0 || math.IsNaN(x.Value) || !signed(whole, lossy, merges, x) {
				continue
			}
			y := &rows[0]
			slack := 1e-9
			if !math.IsNaN(x.Expanded) {
				slack += x.Expanded
			}
			switch {
			case x.Verdict == analyze.Fail && y.Verdict == analyze.Pass:
				t.Fatalf("%s %s %s: %g fails, and %g passes (%s)", x.Event, x.Signal, x.Quantity, x.Value, y.Value, diagnose.Reason(y))
			case y.Bound() == analyze.UpperBound && x.Value > y.Value+slack, y.Bound() == analyze.LowerBound && x.Value < y.Value-slack:
				t.Fatalf("%s %s %s: %s%g does not hold %g", x.Event, x.Signal, x.Quantity, y.Bound().Sign(), y.Value, x.Value)
			case x.Verdict == analyze.Pass && y.Verdict == analyze.Fail:
				t.Fatalf("%s %s %s: %g passes, and %s%g fails", x.Event, x.Signal, x.Quantity, x.Value, y.Bound().Sign(), y.Value)
			}
			if y.Verdict == analyze.Pass {
				passed++
			} else {
				doubted++
			}
		}
	})
	t.Logf("of figures whose lines show their losses %d pass, %d do not", passed, doubted)
	if passed == 0 || doubted == 0 {
		t.Error("one of both has not been tried")
	}
}

// signed reports whether each line that the figure rests on is as it was in the figure's
// state, or shows a loss there: one by merging, where edges of it were merged.
func signed(whole, lossy drawing, merges [2]bool, x analyze.Measurement) bool {
	from, to := capture.FromSeconds(1), capture.FromSeconds(3)
	if x.Event == "off" {
		from, to = to, whole.End
	}
	in := func(t *capture.Track) []capture.Edge {
		return slices.DeleteFunc(slices.Clone(t.Edges), func(e capture.Edge) bool { return e.At < from || e.At >= to })
	}
	for i, t := range lossy.Tracks {
		rests := x.Signal == t.Signal || x.Quantity == analyze.TransferTime || x.Quantity == analyze.OperateTime && i == 0 || x.Quantity == analyze.ReleaseTime && i == 1
		shows := slices.ContainsFunc(t.Losses, func(l capture.Loss) bool {
			return l.To >= from && l.From < to && (!merges[i] || l.Sign == capture.Merge && l.To < to)
		})
		if rests && !shows && !slices.Equal(in(t), in(whole.Tracks[i])) {
			return false
		}
	}
	return true
}
