package exercise

import (
	"context"
	"errors"
	"strconv"
	"strings"
	"testing"
	"time"

	"makebreak/sequences/journal"
)

// sticks is an exercise in which a contact welds in the course of a run.
func sticks(t *testing.T) *Definition {
	t.Helper()
	d, err := Parse(t.Context(), "sticks.yaml", []byte(`name: sticks
title: A relay
story: It sticks.
grade: 3
sequence: relay-only
cycles: 34
allow: [try, look, probe]
states:
  - {weight: 1}
  - {weight: 1, faults: [{fault: sticking, value: 30, place: K1}]}
answers: [dead-relay]
`))
	if err != nil {
		t.Fatal(err)
	}
	d.States = d.States[1:]
	return d
}

// Who measures twice sees the last digit move. What the marking takes as seen is what was shown.
func TestSession_Takes(t *testing.T) {
	s, _ := started(t, sticks(t))
	probe := Action{Kind: Probe, A: "K1.A1", B: "K1.A2", Meter: "volts", After: "energize"}
	shown := map[string]bool{}
	for range 6 {
		r, err := s.Do(t.Context(), probe, nil)
		if err != nil {
			t.Fatal(err)
		}
		shown[r.Readings[0].Shows] = true
		x, err := s.specimen()
		if err != nil {
			t.Fatal(err)
		}
		x.take--
		again, err := x.shows(t.Context(), &probe)
		if err != nil {
			t.Fatal(err)
		}
		if got, want := again["K1.A1 to K1.A2"].value, r.Readings[0].Shows; strconv.FormatFloat(got, 'f', 2, 64)+" V" != want {
			t.Errorf("marked as %g V, shown as %s", got, want)
		}
	}
	if len(shown) < 2 {
		t.Errorf("it shows %v each time", shown)
	}
}

// A short run has shown what a short run shows, and one that was cut off only its whole cycles.
func TestLuck_Cycles(t *testing.T) {
	answered := func(do func(*Session)) *Marks {
		t.Helper()
		s, _ := started(t, sticks(t))
		do(s)
		r, err := s.Do(t.Context(), Action{Kind: Give, Answer: []Answer{{"sticking", "K1"}}}, nil)
		if err != nil {
			t.Fatal(err)
		}
		if r.Marks.Result() != right {
			t.Fatalf("the answer is %s", r.Marks.Result())
		}
		return r.Marks
	}
	run := func(cycles int) func(*Session) {
		return func(s *Session) {
			if _, err := s.Do(t.Context(), Action{Kind: Try, Cycles: cycles}, Logged(s.db, noon, "version")); err != nil {
				t.Fatal(err)
			}
		}
	}
	stopped := errors.New("stopped")
	cut := func(s *Session) {
		_, err := s.Do(t.Context(), Action{Kind: Try}, func(_ context.Context, x *Trial) error {
			r, err := s.db.Begin(x.Info(journal.RunInfo{Sequence: "relay-only", Rig: "relay", Started: noon()}))
			if err != nil {
				t.Fatal(err)
			}
			return errors.Join(stopped, x.Began(r.ID()))
		})
		if !errors.Is(err, stopped) {
			t.Fatal(err)
		}
		// It is charged for the cycle that was begun, here and in the log.
		want := costs[Try] + s.def.Sequence.Baseline + s.def.Sequence.Duration()
		stored, err := deedsOf(s.db, s.row)
		if err != nil || s.Spent() != want || stored.Spent != want {
			t.Errorf("a run that was cut off took %s, stored %s, want %s; %v", s.Spent(), stored.Spent, want, err)
		}
	}
	for name, c := range map[string]struct {
		do       func(*Session)
		possible int
	}{"all its cycles": {run(0), 1}, "more cycles": {run(36), 1}, "two cycles": {run(2), 2}, "cut off": {cut, 3}} {
		if testing.Short() && c.possible == 1 {
			continue
		}
		if m := answered(c.do); m.Possible != c.possible || strings.Contains(m.LuckWords(), "none") != (c.possible == 1) {
			t.Errorf("%s: %d answers fit, want %d", name, m.Possible, c.possible)
		}
	}
}

// A clock that is set back in the middle takes no bench time away and gives no second answer.
func TestSession_ClockBack(t *testing.T) {
	s, _ := started(t, sticks(t))
	back := func() time.Time { return noon().Add(-48 * time.Hour) }
	for _, a := range []Action{{Kind: ReadCard}, {Kind: Look}, {Kind: Give, Answer: []Answer{{Cause: Nothing}}}} {
		s, err := Resume(s.db, "", "", back)
		if err != nil {
			t.Fatal(err)
		}
		before := s.Spent()
		if _, err := s.Do(t.Context(), a, nil); err != nil || s.Spent() < before {
			t.Errorf("%s: %s after %s, %v", a.Kind, s.Spent(), before, err)
		}
	}
	again, err := Resume(s.db, "", "", back)
	if err != nil {
		t.Fatal(err)
	}
	for name, x := range map[string]*Session{"resumed": again, "begun before": s} {
		if _, err := x.Do(t.Context(), Action{Kind: Give, Answer: []Answer{{"sticking", "K1"}}}, nil); !errors.Is(err, journal.ErrAnswered) {
			t.Errorf("%s: a second answer: %v", name, err)
		}
	}
}
