package bench

import (
	"math"
	"slices"
	"testing"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/wiring"
)

// edgeBench is a bench with a contact, a reference and a followed chip's ready line.
func edgeBench(edges ...line.Edge) (*Bench, *chip) {
	k := &chip{follow: true, nominal: time.Millisecond}
	return &Bench{
		rig: &wiring.Rig{}, lines: &stillLines{edges: edges}, seen: map[int]instant{}, left: map[int]instant{},
		references: 1, drives: 2, readies: 2, chips: []*chip{k}, listening: []*chip{k},
		c: &capture.Capture{Tracks: []*capture.Track{{Signal: "K1_NO"}, {Signal: "REF"}}},
	}, k
}

// Edges go where they belong: a contact's and a reference's into the capture, a reference's
// beside that to who waits for it, a ready line's to its converter. Lost ones are counted.
func TestBench_TakeEdges(t *testing.T) {
	b, k := edgeBench(
		line.Edge{Line: 0, At: 10, Active: true, Seq: 1},
		line.Edge{Line: 0, At: 20, Active: false, Seq: 4}, // with two lost between
		line.Edge{Line: 1, At: 30, Active: true, Seq: 1},
		line.Edge{Line: 1, At: 40, Active: false, Seq: 2},
		line.Edge{Line: 2, At: 50, Active: true, Seq: 1},
		line.Edge{Line: 2, At: 60, Active: false, Seq: 2}, // says nothing
	)
	if err := b.takeEdges(); err != nil {
		t.Fatal(err)
	}
	contact, reference := b.c.Tracks[0], b.c.Tracks[1]
	if want := []capture.Edge{{At: 10, Closed: true}, {At: 20}}; !slices.Equal(contact.Edges, want) || contact.Lost() != 2 {
		t.Errorf("contact: %v, %d lost, want %v, 2 lost", contact.Edges, contact.Lost(), want)
	}
	if want := []capture.Edge{{At: 30, Closed: true}, {At: 40}}; !slices.Equal(reference.Edges, want) || reference.Lost() != 0 {
		t.Errorf("reference: %v, %d lost, want %v, none lost", reference.Edges, reference.Lost(), want)
	}
	if len(b.seen) != 1 || b.seen[1] != 30 {
		t.Errorf("seen: %v, want the reference's active edge at 30", b.seen)
	}
	if b.counts.LostEdges != 2 || k.finished != 1 || k.end != 50 {
		t.Errorf("%d lost, %d conversions finished, the last at %d, want 2, 1, 50", b.counts.LostEdges, k.finished, k.end)
	}
}

// Where each loss was is told as far as it is known: of a gap or a merge from the edge before
// to the one that showed it, of a state that no edge led to from when the line was last as
// recorded to when it was found otherwise. The edge after that is not told of again.
func TestBench_Losses(t *testing.T) {
	b, _ := edgeBench(
		line.Edge{Line: 0, At: 10, Active: true, Seq: 1},
		line.Edge{Line: 0, At: 20, Active: false, Seq: 4},
		line.Edge{Line: 0, At: 30, Active: false, Seq: 5},
	)
	for i, k := range b.c.Tracks {
		k.Known = true
		b.ledger.Begin(i, false)
	}
	lines := b.lines.(*stillLines)
	if err := b.takeEdges(); err != nil {
		t.Fatal(err)
	}
	lines.now = 40
	if err := b.checkLevels(); err != nil || b.counts.LostEdges != 3 {
		t.Fatalf("%v, %d lost, want 3", err, b.counts.LostEdges)
	}
	lines.active, lines.now = true, 50
	if err := b.checkLevels(); err != nil || b.counts.LostEdges != 5 { // one of each line
		t.Fatalf("%v, %d lost, want 5", err, b.counts.LostEdges)
	}
	lines.edges, lines.now = []line.Edge{{Line: 0, At: 60, Active: false, Seq: 7}}, 70
	if err := b.takeEdges(); err != nil {
		t.Fatal(err)
	}
	lines.active = false
	if err := b.checkLevels(); err != nil || b.counts.LostEdges != 6 { // the reference's alone
		t.Errorf("%v, %d lost, want 6", err, b.counts.LostEdges)
	}
	span := func(from, to instant) capture.Span { return capture.Span{From: from, To: to} }
	want := [2][]capture.Loss{{{Span: span(10, 20), Edges: 2, Sign: capture.Gap}, {Span: span(20, 30), Edges: 1, Sign: capture.Merge},
		{Span: span(40, 50), Edges: 1, Sign: capture.Level}}, {{Span: span(40, 50), Edges: 1, Sign: capture.Level}, {Span: span(50, 70), Edges: 1, Sign: capture.Level}}}
	for i, k := range b.c.Tracks {
		if !slices.Equal(k.Losses, want[i]) {
			t.Errorf("%s: %+v, want %+v", k.Signal, k.Losses, want[i])
		}
	}
	if closed, _ := b.c.Tracks[0].StateAt(55); !closed {
		t.Error("the line is open after it was found closed")
	}
}

// What is lost while nobody records is not counted, and the next edge is not taken for the
// sign of a loss.
func TestBench_PassOverCountsNothing(t *testing.T) {
	b, k := edgeBench(
		line.Edge{Line: 0, At: 10, Active: true, Seq: 4},
		line.Edge{Line: 2, At: 1e6, Active: true, Seq: 1},
		line.Edge{Line: 2, At: 9e6, Active: true, Seq: 9},
	)
	if err := b.passOver(); err != nil {
		t.Fatal(err)
	}
	if b.counts != (capture.Counts{}) || len(b.c.Tracks[0].Edges) != 0 || k.finished != 0 {
		t.Errorf("%+v counted, %d edges taken, %d conversions waiting, want none", b.counts, len(b.c.Tracks[0].Edges), k.finished)
	}
	b.lines.(*stillLines).edges = []line.Edge{{Line: 0, At: 20, Active: false, Seq: 5}}
	if err := b.takeEdges(); err != nil || b.counts.LostEdges != 0 || b.c.Tracks[0].Lost() != 0 {
		t.Errorf("the next edge: %v, %d counted as lost", err, b.counts.LostEdges)
	}
}

// An event by a drive is as late as its edges' stamps, which are those measured on the rig
// where it has been measured.
func TestBench_Driven(t *testing.T) {
	b, _ := edgeBench()
	const at, within = instant(1e9), int64(60_000)
	halfWidth := time.Duration(float64(within) / math.Sqrt(3))
	if e := b.driven("arm", at, within, "drive"); e.At != at.Add(20*time.Microsecond) || e.Uncertainty != halfWidth+EdgeLatency || e.Name != "arm" || e.Timed != "drive" {
		t.Errorf("latency not measured: %+v", e)
	}
	b.rig.Latency = &wiring.Latency{Mean: 7 * time.Microsecond, Standard: 3 * time.Microsecond}
	if e := b.driven("arm", at, within, "drive"); e.At != at.Add(7*time.Microsecond) || e.Uncertainty != halfWidth+3*time.Microsecond {
		t.Errorf("latency measured: %+v", e)
	}
}

// An event that a reference gives may have been sooner, where edges of the reference merged
// with the one seen or were dropped before it, though not before it was asked for; and where
// they were taken in late.
func TestBench_Referred(t *testing.T) {
	const at, asked = instant(5e6), instant(2e6)
	for _, c := range []struct {
		name   string
		losses []capture.Loss
		late   time.Duration
		sooner time.Duration
	}{
		{"nothing lost", nil, 0, 0},
		{"another edge's loss", []capture.Loss{{Span: capture.Span{From: 1e6, To: 4e6}, Edges: 1}}, 0, 0},
		{"lost since it was asked for", []capture.Loss{{Span: capture.Span{From: 1e6, To: at}, Edges: 1}}, 0, 3 * time.Millisecond},
		{"merged with the one before", []capture.Loss{{Span: capture.Span{From: 4e6, To: at}, Edges: 1, Sign: capture.Merge}}, 0, time.Millisecond},
		{"in the stamp's uncertainty", nil, 20 * time.Microsecond, 0},
		{"taken in late", nil, 600 * time.Microsecond, 600 * time.Microsecond},
	} {
		b, _ := edgeBench()
		b.seen[1] = at
		b.c.Tracks[1].Losses, b.c.Tracks[1].Late = c.losses, c.late
		e := b.referred(capture.Event{Name: "arm"}, 1, asked)
		want := math.Hypot(float64(EdgeLatency), float64(c.sooner)/math.Sqrt(3))
		if e.At != at || e.Timed != "reference" || math.Abs(float64(e.Uncertainty)-want) > 2 {
			t.Errorf("%s: %+v, want ± %v", c.name, e, time.Duration(want))
		}
	}
}

// Drives are switched off by time; a pulse that ends when its drive has been on for its
// longest time ends as a pulse.
func TestBench_Later(t *testing.T) {
	b, _ := edgeBench()
	for _, s := range []switching{{at: 30, line: 1}, {at: 10, line: 2, forced: true}, {at: 10, line: 3}, {at: 20, line: 4}, {at: 30, line: 5, forced: true}} {
		b.later(s)
	}
	var got []int
	for _, s := range b.pending {
		got = append(got, s.line)
	}
	if want := []int{3, 2, 4, 1, 5}; !slices.Equal(got, want) {
		t.Errorf("lines are switched off in the order %v, want %v", got, want)
	}
	if at := b.forcedOff(2); at != 10 {
		t.Errorf("line 2 goes off at %d, want 10", at)
	}
	if at := b.forcedOff(3); at != never {
		t.Errorf("line 3 is only pulsed and goes off at %d", at)
	}
}

// The bench looks again when a chip, a drive or the supply is due, whichever is first, and
// at once where a conversion waits.
func TestBench_Wake(t *testing.T) {
	for _, c := range []struct {
		name     string
		finished int
		chip     instant
		pending  []switching
		supply   *supply
		until    instant
		want     instant
	}{
		{name: "the end", chip: 900, until: 500, want: 500},
		{name: "a chip", chip: 300, until: 500, want: 300},
		{name: "a drive", chip: 300, pending: []switching{{at: 200}}, until: 500, want: 200},
		{name: "the supply is written", chip: 300, supply: &supply{nextWrite: 100, nextCheck: 250}, until: 500, want: 100},
		{name: "the supply is checked", chip: 300, supply: &supply{nextWrite: 250, nextCheck: 100}, until: 500, want: 100},
		{name: "a conversion waits", finished: 1, chip: 300, until: 500, want: 50},
	} {
		b, k := edgeBench()
		b.lines.(*stillLines).now = 50
		k.finished, k.wake, b.pending, b.supply = c.finished, c.chip, c.pending, c.supply
		if got := b.wake(c.until); got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
}
