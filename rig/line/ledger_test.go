package line_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"makebreak/rig/line"
	_ "makebreak/testdata/fixedseed"
)

// The signs of a loss are those of the kernel's GPIO character device: the
// sequence number of each line (Linux, include/uapi/linux/gpio.h, struct
// gpio_v2_line_event: line_seqno) and, for merged edges, the direction.
func TestLedgerAdd(t *testing.T) {
	const up, down = true, false
	type edge struct {
		seq    uint32
		active bool
		lost   int
	}
	cases := []struct {
		name  string
		start string // "", "active", "inactive"
		edges []edge
	}{
		{"nothing lost", "", []edge{{1, up, 0}, {2, down, 0}, {3, up, 0}}},
		{"first edges dropped", "", []edge{{4, up, 3}, {5, down, 0}}},
		{"gap of two keeps the direction's turn", "", []edge{{1, up, 0}, {4, down, 2}}},
		{"gap of one repeats the direction", "", []edge{{1, up, 0}, {3, up, 1}}},
		{"two of one direction without a gap", "", []edge{{1, up, 0}, {2, up, 1}, {3, down, 0}}},
		{"gap and a direction that does not fit it", "", []edge{{1, up, 0}, {3, down, 2}}},
		{"same state as at the start", "active", []edge{{1, up, 1}, {2, down, 0}}},
		{"other state than at the start", "inactive", []edge{{1, up, 0}}},
		{"start and a gap that fits", "active", []edge{{2, up, 1}}},
		{"start and a gap that does not fit", "active", []edge{{2, down, 2}}},
		{"the number goes round", "", []edge{{1, up, 0}, {1 << 30, down, 1<<30 - 2}, {1<<31 + 1<<30, down, 1<<31 - 1},
			{math.MaxUint32, up, 1<<30 - 2}, {0, down, 0}, {1, up, 0}}},
		{"requested anew", "", []edge{{1, up, 0}, {2, down, 0}, {1, down, 0}, {2, up, 0}}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			var l line.Ledger
			if c.start != "" {
				l.Begin(2, c.start == "active")
			}
			for i, e := range c.edges {
				if got := l.Add(line.Edge{Line: 2, Seq: e.seq, Active: e.active}).Edges(); got != e.lost {
					t.Errorf("edge %d (seq %d, active %v): lost %d, want %d", i, e.seq, e.active, got, e.lost)
				}
			}
		})
	}
}

// A line that is in another state than its edges say has lost one. The next edge shows that
// loss again, by a gap or by its direction, and it is told once.
func TestLedgerLevel(t *testing.T) {
	edge := func(seq uint32, active bool) line.Edge { return line.Edge{Seq: seq, Active: active} }
	for _, c := range []struct {
		name   string
		levels []bool // found one after the other
		shows  []bool // a loss
		next   line.Edge
		lost   int
	}{
		{"as it should be", []bool{true}, []bool{false}, edge(2, false), 0},
		{"dropped, and the next one shows the gap", []bool{false}, []bool{true}, edge(3, true), 0},
		{"never numbered, and the next one has the same direction", []bool{false}, []bool{true}, edge(2, true), 0},
		{"one more than the level showed", []bool{false}, []bool{true}, edge(4, false), 1},
		{"found twice", []bool{false, false}, []bool{true, false}, edge(3, true), 0},
		{"found there and back", []bool{false, true}, []bool{true, true}, edge(4, false), 0},
		{"it was only on its way", []bool{false}, []bool{true}, edge(2, false), 0},
	} {
		var l line.Ledger
		l.Add(edge(1, true))
		for i, active := range c.levels {
			if got := l.Level(0, active); got != c.shows[i] {
				t.Errorf("%s: level %d shows a loss: %v, want %v", c.name, i, got, c.shows[i])
			}
		}
		if got := l.Add(c.next).Edges(); got != c.lost {
			t.Errorf("%s: the next edge shows %d lost, want %d", c.name, got, c.lost)
		}
		if got := l.Add(edge(c.next.Seq+1, !c.next.Active)).Edges(); got != 0 {
			t.Errorf("%s: the edge after shows %d lost, want none", c.name, got)
		}
	}
	var unknown line.Ledger
	if unknown.Level(0, true) {
		t.Error("a line of which nothing is known has lost an edge")
	}
}

// kernelLine does to a line's edges what the kernel does: it merges what comes
// too close together into one event with the level found afterwards, numbers
// the events, and drops some from the queue.
type kernelLine struct {
	active bool
	seq    uint32
}

// event lets n edges happen and returns the one event made of them.
func (k *kernelLine) event(n int) line.Edge {
	if n%2 == 1 {
		k.active = !k.active
	}
	k.seq++
	return line.Edge{Active: k.active, Seq: k.seq}
}

// For any history the ledger counts every dropped event, adds one for every
// visible merge, and never more than was really lost.
func TestLedgerNeverOvercounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var l line.Ledger
		var k kernelLine
		if rapid.Bool().Draw(t, "start known") {
			l.Begin(0, k.active)
		}
		counted, happened, reported, dropped, merges := 0, 0, 0, 0, 0
		steps := rapid.SliceOfN(rapid.IntRange(-1, 4), 1, 60).Draw(t, "edges in each event, -1 for one dropped")
		for _, n := range append(steps, 1) {
			e := k.event(max(n, 1))
			happened += max(n, 1)
			if n < 1 {
				dropped++
				continue
			}
			if n > 1 {
				merges++
			}
			counted += l.Add(e).Edges()
			reported++
		}
		lost := happened - reported
		if counted > lost {
			t.Fatalf("counted %d, really lost %d", counted, lost)
		}
		if counted < dropped {
			t.Fatalf("counted %d, dropped from the queue alone %d", counted, dropped)
		}
		if merges == 0 && counted != lost {
			t.Fatalf("counted %d of %d without any merging", counted, lost)
		}
	})
}

// Every pair of edges that came back to the held state is seen, when nothing
// is dropped and the state is known from the start.
func TestLedgerSeesEveryPair(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var l line.Ledger
		k := kernelLine{active: rapid.Bool().Draw(t, "initial")}
		l.Begin(0, k.active)
		pairs, counted := 0, 0
		for _, n := range rapid.SliceOf(rapid.IntRange(1, 2)).Draw(t, "edges in each event") {
			want := n - 1
			pairs += want
			got := l.Add(k.event(n)).Edges()
			if counted += got; got != want {
				t.Fatalf("event of %d edges: lost %d, want %d", n, got, want)
			}
		}
		if counted != pairs {
			t.Fatalf("counted %d, want %d", counted, pairs)
		}
	})
}

// Lines do not disturb each other, in whatever order their edges come.
func TestLedgerLinesAreSeparate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var both line.Ledger
		alone := make([]line.Ledger, 3)
		lines := make([]kernelLine, 3)
		for _, i := range rapid.SliceOf(rapid.IntRange(0, 2)).Draw(t, "which line") {
			e := lines[i].event(rapid.IntRange(1, 3).Draw(t, "edges"))
			e.Line = i
			if a, b := both.Add(e), alone[i].Add(e); a != b {
				t.Fatalf("line %d: %d with others, %d alone", i, a, b)
			}
		}
	})
}
