package soak_test

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/analyze/reliability"
	"makebreak/rig/bench"
	"makebreak/rig/problem"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/setup"
	"makebreak/sequences/soak"
)

// listener writes down what it hears, and stops the soak after a cycle.
type listener struct {
	lines []string
	stop  func()
	after int // cycle after which stop is called
	rig   []string
}

func (l *listener) Say(format string, args ...any) {
	l.lines = append(l.lines, fmt.Sprintf(format, args...))
}
func (l *listener) Alive()       {}
func (l *listener) Interrupted() { l.rig = append(l.rig, "interrupted") }
func (l *listener) RigLost(lost bool) {
	l.rig = append(l.rig, map[bool]string{true: "lost", false: "back"}[lost])
}
func (l *listener) Event(int, string)      {}
func (l *listener) Progress(int, int, int) {}
func (l *listener) Cycle(c *journal.Cycle) {
	if c.N == l.after {
		l.stop()
	}
}

// heard reports whether a line begins so.
func (l *listener) heard(beginning string) bool {
	for _, line := range l.lines {
		if strings.HasPrefix(line, beginning) {
			return true
		}
	}
	return false
}

// A soak that is stopped goes on with the next cycle, says the same sums as one that never
// stopped, and cannot go on once it is complete.
func TestSoak_GoesOn(t *testing.T) {
	// The cycle that stops the soak is told of once it is stored. By then, where the disk is
	// slow, 15 more have been stored with it, 16 wait, and the bench has done one more.
	const stopAt, behind, planned = 7, 32, 200
	seq, err := sequences.Load(t.Context(), "relay-only")
	if err != nil {
		t.Fatal(err)
	}
	rig, sim := setup.BenchFor(seq), setup.Simulation{Seed: 1}
	work := func(l *listener) soak.Work {
		return soak.Work{Sequence: seq, Hear: l, Lines: soak.Lines{Cycles: 10},
			Bench: func() (*bench.Bench, error) { return setup.Open(rig, seq, sim, bench.Opts{}) }}
	}
	db, err := journal.Open(filepath.Join(t.TempDir(), "log.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	info := journal.RunInfo{Unit: "RB-017", Sequence: seq.Name, SequenceSource: string(seq.Source), Rig: rig.Name, Started: time.Now(),
		Planned: planned, Seed: &sim.Seed, Soak: &journal.Retention{First: 3, Bad: 10}}

	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	l := &listener{stop: cancel, after: stopAt}
	w := work(l)
	b, err := w.Open(ctx)
	if err != nil {
		t.Fatal(err)
	}
	s, err := soak.Begin(db, info, w)
	if err != nil {
		t.Fatal(err)
	}
	runErr := s.Run(ctx, b)
	if !errors.Is(runErr, context.Canceled) {
		t.Fatalf("stopped: %v", runErr)
	}
	if err := s.End(runErr, "interrupted"); !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil { // as at the end of a program: the run's lock goes with it
		t.Fatal(err)
	}
	if db, err = journal.Open(db.Path()); err != nil {
		t.Fatal(err)
	}
	defer db.Close()

	other := planned + 1
	if _, _, err := soak.Take(t.Context(), db, "last", soak.Asked{Cycles: &other}); problem.KindOf(err) != problem.Usage {
		t.Errorf("other cycles: %v", err)
	}
	rec, _, err := soak.Take(t.Context(), db, "last", soak.Asked{})
	if err != nil {
		t.Fatal(err)
	}
	if err := soak.SameRig(rec, "another", ""); problem.KindOf(err) != problem.Input {
		t.Errorf("another rig: %v", err)
	}
	l = &listener{}
	w = work(l)
	if b, err = w.Open(t.Context()); err != nil {
		t.Fatal(err)
	}
	if s, err = soak.Resume(db, rec, w); err != nil {
		t.Fatal(err)
	}
	if rec.Cycles < stopAt || rec.Cycles > stopAt+behind {
		t.Errorf("stopped at cycle %d, and %d were done", stopAt, rec.Cycles)
	}
	if next, _ := s.Next(); next <= rec.Cycles || !l.heard(fmt.Sprintf("Run %s goes on with cycle %d; ", s.ID(), next)) {
		t.Errorf("goes on with cycle %d: %q", next, l.lines)
	}
	if err := s.End(s.Run(t.Context(), b), ""); err != nil {
		t.Fatal(err)
	}
	if !l.heard("The log grew by ") {
		t.Errorf("what it took was not told: %q", l.lines)
	}
	r, err := soak.Newest(db, "RB-017", seq.Name)
	if err != nil || r == nil || !r.Complete || r.Cycles != planned {
		t.Fatalf("the log holds %+v: %v", r, err)
	}
	if rec, err = db.Find("last"); err != nil {
		t.Fatal(err)
	}
	sums, err := soak.Tally(rec)
	if err != nil || sums.Complete != planned {
		t.Errorf("%d cycles are summed: %v", sums.Complete, err)
	}
	if _, _, err := soak.Take(t.Context(), db, "last", soak.Asked{}); problem.KindOf(err) != problem.Usage || !strings.Contains(err.Error(), "it is complete") {
		t.Errorf("a complete one: %v", err)
	}
	if lives, err := soak.Lives([]*journal.DB{db}, []string{"last", "last"}); problem.KindOf(err) != problem.Usage {
		t.Errorf("one board named twice: %v, %v", lives, err)
	}
}

// A rig that does not answer is waited for as long as asked, and no longer.
func TestWork_Open(t *testing.T) {
	gone := problem.New(problem.Rig, "the bus does not answer")
	for _, c := range []struct {
		name  string
		err   error
		wait  time.Duration
		tries int // at least
		most  int
	}{
		{"not waited for", gone, 0, 1, 1},
		{"waited for", gone, 250 * time.Millisecond, 2, 10},
		{"waiting helps nothing", problem.New(problem.Input, "no such chip"), time.Hour, 1, 1},
	} {
		tries := 0
		w := soak.Work{WaitForRig: c.wait, Hear: &listener{}, Bench: func() (*bench.Bench, error) {
			tries++
			return nil, c.err
		}}
		if _, err := w.Open(t.Context()); err != c.err {
			t.Errorf("%s: %v", c.name, err)
		}
		if tries < c.tries || tries > c.most {
			t.Errorf("%s: %d tries, want %d to %d", c.name, tries, c.tries, c.most)
		}
	}
	l, tries := &listener{}, 0
	back := soak.Work{WaitForRig: time.Hour, Hear: l, Bench: func() (*bench.Bench, error) {
		if tries++; tries < 3 {
			return nil, gone
		}
		return nil, nil
	}}
	if _, err := back.Open(t.Context()); err != nil || !slices.Equal(l.rig, []string{"lost", "back"}) {
		t.Errorf("heard %q: %v", l.rig, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	w := soak.Work{WaitForRig: time.Hour, Hear: &listener{}, Bench: func() (*bench.Bench, error) {
		cancel()
		return nil, gone
	}}
	if _, err := w.Open(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("interrupted: %v", err)
	}
}

// With no failure allowed, 22 boards that make the B10's cycles show it at 90 % confidence:
// 0.9 to the 22nd is 0.098, to the 21st 0.109.
func TestPlanFor(t *testing.T) {
	claim := reliability.Claim{Share: 0.1, Cycles: 100_000, Shape: 1, Confidence: 0.9}
	p, err := soak.PlanFor(claim, 0, 0)
	if err != nil || p.Tests[0] != (soak.Test{Boards: 22, Each: 100_000, All: 2_200_000}) {
		t.Fatalf("%+v: %v", p, err)
	}
	for _, x := range p.Tests[1:] {
		if x.All != x.Each*float64(x.Boards) || x.Boards >= 22 || x.Each <= 100_000 {
			t.Errorf("a test of %+v", x)
		}
	}
	if p, err = soak.PlanFor(claim, 11, 0); err != nil || len(p.Tests) != 1 || p.Tests[0].Boards != 11 {
		t.Errorf("11 boards: %+v: %v", p, err)
	}
}
