package soak

import (
	"strings"
	"testing"

	"makebreak/sequences/journal"
)

// A soak goes on only for the unit and the number of cycles that it was begun with.
func TestAsked_fits(t *testing.T) {
	rec := &journal.RunRecord{}
	rec.Soak, rec.Unit, rec.Planned = &journal.Retention{}, "board 7", 100
	same, other, cycles, more := "board 7", "board 8", 100, 200
	for _, c := range []struct {
		asked Asked
		want  string
	}{
		{Asked{}, ""}, {Asked{Unit: &same}, ""}, {Asked{Unit: &other}, `the unit "board 7", not "board 8"`},
		{Asked{Cycles: &cycles}, ""}, {Asked{Cycles: &more}, "--cycles says another"},
	} {
		err := c.asked.fits(rec)
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.asked, err, c.want)
		}
	}
}

// Runs are doubted to be boards of their own where two are of one unit, and only then.
func TestLifeDoubts(t *testing.T) {
	run := func(id, unit string) *journal.RunRecord {
		r := &journal.RunRecord{}
		r.ID, r.Unit, r.Soak, r.Sequence = id, unit, &journal.Retention{}, "relay"
		return r
	}
	for _, c := range []struct {
		runs []*journal.RunRecord
		want []string
	}{
		{[]*journal.RunRecord{run("1", "a")}, nil},
		{[]*journal.RunRecord{run("1", "a"), run("2", "b"), run("3", "c")}, nil},
		{[]*journal.RunRecord{run("1", "a"), run("2", "b"), run("3", "a")}, []string{"runs of one unit, a, are counted as boards of their own: 1, 3"}},
		{[]*journal.RunRecord{run("1", ""), run("2", "b")}, []string{"no unit is named, so that it is not known whether these are boards of their own: 1"}},
	} {
		if got := lifeDoubts(c.runs); strings.Join(got, "\n") != strings.Join(c.want, "\n") {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	forged := []*journal.RunRecord{run("1\nPASS", "a\n"), run("2\n", "a\n"), run("3\n", ""), run("4", "")}
	forged[2].Faults, forged[3].SequenceSource, forged[3].Soak = []string{"x\n"}, "another", nil
	for _, r := range forged {
		r.Sequence = "relay\n"
	}
	got := lifeDoubts(forged)
	if len(got) != 5 || strings.Contains(strings.Join(got, ""), "\n") {
		t.Errorf("names from a log make lines of their own: %q", got)
	}
}
