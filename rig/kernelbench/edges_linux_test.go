package kernelbench_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// endsUnproven checks that a run has ended with a status other than pass, that it says why
// on its record, and returns what it counted.
func (s *site) endsUnproven(r *running, says string) capture.Counts {
	s.t.Helper()
	if status := r.wait(); status != exitUndecided && status != exitFail {
		s.t.Errorf("exit %d, want %d or %d", status, exitUndecided, exitFail)
	}
	if !strings.Contains(r.out.String(), says) {
		s.t.Errorf("it does not say %q", says)
	}
	rec := s.logged()
	s.t.Logf("counts of the run: %+v", rec.Counts)
	if s.t.Failed() {
		s.t.Logf("standard output:\n%s\nstandard error:\n%s", r.out.String(), r.err.String())
	}
	return rec.Counts
}

// The interrupt of the lines is served so late now and then that two ready edges become one.
// What was overwritten meanwhile is counted, nothing is taken for doubled, and the figures are
// what the panel did.
func TestKernel_ReadyEdgesMerged(t *testing.T) {
	s := newSite(t, followRate, "100 ms", "600 ms")
	s.wireB()
	s.adc.SetBus(400_000)
	s.edges.ServeLate(97, 1500*time.Microsecond, readyA, readyB)
	panel := s.startPanel()
	before := s.edges.Counts()
	s.startRun().ends(exitPass)
	merged := s.edges.Counts().Less(before).Merged

	rec := s.logged()
	s.compareLevels(rec.Measurements())
	s.compareTimes(rec.Measurements(), panel)
	n := rec.Counts
	t.Logf("%d edges merged; counts of the run: %+v", merged, n)
	if merged < 20 {
		t.Errorf("%d edges merged, which shows nothing", merged)
	}
	if lost := int(n.MissedConversions + n.LostReadyEdges); lost < merged*9/10 {
		t.Errorf("%d ready edges merged, %d conversions or edges are counted as missed", merged, lost)
	}
	// A conversion whose edge is late is fetched when its time is over, and again at its edge.
	if int(n.DoubledConversions) > merged || n.ChipResets != 0 || n.BusErrors != 0 || n.LostEdges != 0 {
		t.Errorf("what did not happen is counted: %+v", n)
	}
}

// Edges of contacts get lost, one by one. Each leaves a sign, by which no figure passes that
// it may have touched.
func TestKernel_ContactEdgesLost(t *testing.T) {
	s := newSite(t, faultRate, "100 ms", "600 ms")
	s.edges.LoseEvery(7, 0, 1)
	s.startPanel()
	before := s.edges.Counts()
	n := s.endsUnproven(s.startRun(), "lost")
	lost := s.edges.Counts().Less(before).Lost
	t.Logf("%d edges of contacts lost", lost)
	if lost < 3 || n.LostEdges == 0 {
		t.Errorf("%d edges lost, the run counts %d", lost, n.LostEdges)
	}
}

// Two edges of a contact become one event, which leads nowhere.
func TestKernel_ContactEdgesMerged(t *testing.T) {
	s := newSite(t, faultRate, "100 ms", "600 ms")
	s.pairs = true
	s.startPanel()
	before := s.edges.Counts()
	n := s.endsUnproven(s.startRun(), "lost")
	t.Logf("the bank merged %+v", s.edges.Counts().Less(before))
	if n.LostEdges < 6 { // one pair in each of six changes
		t.Errorf("the run counts %d lost edges, want 6 or more", n.LostEdges)
	}
}

// A bank of lines that loses the later one of two close edges, as the GPIO block of the
// Raspberry Pi 1 to 4 does (raspberrypi/linux issue 760), loses edges of contacts and ready
// edges to one another. Whatever was lost of a contact, two edges in a row included, which leave no
// sign of their own, no figure passes that it has touched.
func TestKernel_CloseEdgesLost(t *testing.T) {
	s := newSite(t, followRate, "100 ms", "600 ms")
	s.wireB()
	s.onOneChip()
	s.adc.SetClocks([4]int{0, 31_000, 0, 0}) // of two real chips none is exact, and no two are alike
	s.adc.SetBus(400_000)
	s.edges.LoseClose(150 * time.Microsecond)
	panel := s.startPanel()
	before := s.edges.Counts()
	r := s.startRun("--cycles", "6")
	status := r.wait()
	lost := s.edges.Counts().Less(before).LostClose
	rec := s.logged()
	t.Logf("exit %d, %d edges lost; counts of the run: %+v", status, lost, rec.Counts)
	if lost < 100 {
		t.Errorf("%d edges lost, which shows nothing", lost)
	}
	if rec.Counts.LostReadyEdges+rec.Counts.MissedConversions == 0 {
		t.Error("no ready edge is counted as lost")
	}
	s.falsePasses(rec.Measurements(), panel)
	if status == exitPass {
		t.Log("passed: nothing of a contact was lost")
	} else {
		t.Logf("standard output:\n%s\nstandard error:\n%s", r.out.String(), r.err.String())
	}
}

// falsePasses checks that what passed is what the panel did, though edges got lost.
func (s *site) falsePasses(all figures, p *panelProcess) {
	s.t.Helper()
	passed, undecided := 0, 0
	for m, err := range all {
		if err != nil {
			s.t.Fatal(err)
		}
		want, ok := p.truth(&m)
		if !ok {
			continue
		}
		if m.Verdict != analyze.Pass {
			undecided++
			continue
		}
		passed++
		got := time.Duration(m.Value * 1e9)
		off := (got - want).Abs()
		switch m.Bound() {
		case analyze.UpperBound:
			off = want - got
		case analyze.LowerBound:
			off = got - want
		}
		allowed := slack
		if !math.IsNaN(m.Expanded) {
			allowed += time.Duration(m.Expanded * 1e9)
		}
		if off > allowed {
			s.t.Errorf("%s passes with %v ± %v, the panel's own notes say %v", name(&m), got, time.Duration(m.Expanded*1e9), want)
		}
	}
	s.t.Logf("%d times passed, %d did not", passed, undecided)
}
