package upkeep

import (
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/sequences/journal"
)

func TestParseAge(t *testing.T) {
	const day = 24 * time.Hour
	for _, c := range []struct {
		text string
		want time.Duration
		ok   bool
	}{
		{"0d", 0, true}, {"90d", 90 * day, true}, {"1.5d", 36 * time.Hour, true}, {"12w", 84 * day, true}, {"36h", 36 * time.Hour, true},
		{"36500d", OldestAge, true}, {"36500.1d", 0, false}, {"5215w", 0, false}, {"876001h", 0, false},
		{"-1d", 0, false}, {"-1h", 0, false}, {"NaNd", 0, false}, {"d", 0, false}, {"90", 0, false}, {"", 0, false}, {"90 d", 0, false},
	} {
		got, err := ParseAge(c.text)
		if (err == nil) != c.ok || c.ok && got != c.want {
			t.Errorf("%q: %v, %v; want %v", c.text, got, err, c.want)
		}
	}
}

func TestSize(t *testing.T) {
	for n, want := range map[int64]string{0: "0 kB", 1_499: "1 kB", 999_999: "1000 kB", 1_000_000: "1.0 MB", 999_949_999: "999.9 MB", 1_000_000_000: "1.00 GB"} {
		if got := Size(n); got != want {
			t.Errorf("%d: %q, want %q", n, got, want)
		}
	}
}

// holding is a run that ended, or stored its last cycle, so long ago.
func holding(name string, ago time.Duration, now time.Time, change func(*journal.Holding)) journal.Holding {
	h := journal.Holding{RunSummary: journal.RunSummary{Run: name, Cycles: 3, Complete: true}, Touched: now.Add(-ago), Ended: true, Captures: 2, CaptureBytes: 2_000_000, Bytes: 3_000_000}
	if change != nil {
		change(&h)
	}
	return h
}

// What is picked, what is spared and what is told of it, by age, state and what is asked for.
func TestChoose(t *testing.T) {
	now := time.Date(2026, 4, 1, 12, 0, 0, 0, time.UTC)
	const day = 24 * time.Hour
	all := []journal.Holding{
		holding("old", 100*day, now, nil),
		holding("just", 90*day, now, nil),
		holding("young", 90*day-time.Second, now, nil),
		holding("bare", 100*day, now, func(h *journal.Holding) { h.Captures = 0 }),
		holding("goes on", 23*time.Hour, now, func(h *journal.Holding) { h.Ended, h.Busy = false, true }),
		holding("slow", 100*day, now, func(h *journal.Holding) { h.Ended, h.Busy = false, true }),
		holding("being resumed", 100*day, now, func(h *journal.Holding) { h.Complete, h.Busy = false, true }),
		holding("cut off", time.Second, now, func(h *journal.Holding) { h.Ended = false }),
		holding("ahead", -time.Second, now, nil),
		holding("far ahead", -40*365*day, now, func(h *journal.Holding) { h.Ended = false }),
		holding("far behind", 200*365*day, now, func(h *journal.Holding) { h.Ended = false }),
		holding("soak", 100*day, now, func(h *journal.Holding) { h.Soak, h.Complete, h.Planned = true, false, 9 }),
		holding("part", 0, now, func(h *journal.Holding) { h.State = journal.Removing }),
		holding("part ahead", -time.Hour, now, func(h *journal.Holding) { h.State = journal.Removing }),
		holding("part that goes", 0, now, func(h *journal.Holding) { h.State, h.Busy = journal.Removing, true }),
	}
	for _, c := range []struct {
		name  string
		prune Prune
		want  []string
		notes []string
	}{
		{"captures", Prune{OlderThan: 90 * day}, []string{"old", "just", "far behind", "soak"},
			[]string{"writing them: slow, being resumed", "Kept, because they are dated in the future and have no age; a clock was or is wrong, and --older-than 0d removes them, too: ahead, far ahead", "Only a part is left"}},
		{"all captures", Prune{}, []string{"old", "just", "young", "cut off", "ahead", "far ahead", "far behind", "soak"},
			[]string{"writing them: goes on, slow, being resumed", "Dated in the future, so that a clock was or is wrong: ahead, far ahead", "Only a part is left"}},
		{"whole runs", Prune{OlderThan: 90 * day, WholeRuns: true}, []string{"old", "just", "bare", "far behind", "soak", "part", "part ahead"},
			[]string{"soak (3 of 9 cycles)", "writing them: slow, being resumed, part that goes", "have no age"}},
		{"moved runs", Prune{OlderThan: 90 * day, WholeRuns: true, Into: "2025.db"}, []string{"old", "just", "bare", "far behind", "soak", "part", "part ahead"},
			[]string{"writing them: slow, being resumed, part that goes", "have no age"}},
	} {
		got := c.prune.Choose(all, now)
		var names []string
		for _, h := range got.Runs {
			names = append(names, h.Run)
		}
		if !slices.Equal(names, c.want) {
			t.Errorf("%s: %q, want %q", c.name, names, c.want)
		}
		notes := got.Notes()
		for i, want := range c.notes {
			if len(notes) != len(c.notes) || !strings.Contains(notes[i], want) {
				t.Errorf("%s: notes %q, want %q", c.name, notes, c.notes)
				break
			}
		}
		if len(c.notes) == 0 && len(notes) > 0 {
			t.Errorf("%s: notes %q", c.name, notes)
		}
	}
}

func TestChoice_Text(t *testing.T) {
	now := time.Now()
	all := []journal.Holding{holding("r1", 1000*time.Hour, now, nil), holding("r2", 1000*time.Hour, now, nil)}
	for _, c := range []struct {
		prune Prune
		doing bool
		want  string
	}{
		{Prune{}, false, "--yes would remove their captures; their figures stay: about 4.0 MB. Nothing has been removed."},
		{Prune{}, true, "Removing their captures; their figures stay: about 4.0 MB.\n"},
		{Prune{WholeRuns: true}, true, "Removing all of it: about 6.0 MB.\n"},
		{Prune{WholeRuns: true, Into: "x.db"}, true, "Removing all of it, once it is in x.db: about 6.0 MB.\n"},
		{Prune{OlderThan: 2000 * time.Hour}, true, "Nothing is old enough to be removed."},
		{Prune{OlderThan: 500 * time.Hour, Into: "busy"}, true, "Nothing can be removed while other programs write what is old enough."},
	} {
		var w strings.Builder
		for i := range all {
			all[i].Busy = c.prune.Into == "busy"
		}
		chosen := c.prune.Choose(all, now)
		if err := chosen.Text(&w, c.doing); err != nil || !strings.Contains(w.String(), c.want) {
			t.Errorf("%+v: %v\n%s", c.prune, err, w.String())
		}
	}
}

// What others are compared with stays, captures and all, but for what is left of a removal.
func TestChoose_References(t *testing.T) {
	now := time.Date(2026, 4, 1, 12, 0, 0, 0, time.UTC)
	all := []journal.Holding{
		holding("good", time.Hour, now, func(h *journal.Holding) { h.Reference = true }), holding("other", time.Hour, now, nil),
		holding("part", time.Hour, now, func(h *journal.Holding) { h.Reference, h.State = true, journal.Removing }),
	}
	for _, p := range []Prune{{}, {WholeRuns: true}, {WholeRuns: true, Into: "2025.db"}} {
		got := p.Choose(all, now)
		if slices.ContainsFunc(got.Runs, func(h journal.Holding) bool { return h.Run == "good" }) || len(got.References) != 1 {
			t.Errorf("%+v: %v goes", p, got.Runs)
		}
		if notes := strings.Join(got.Notes(), "\n"); !strings.Contains(notes, "others are compared with them (runs --unmark-reference lets one go): good") {
			t.Errorf("%+v: %s", p, notes)
		}
	}
}
