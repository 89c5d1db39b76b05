package journal

import (
	"path/filepath"
	"testing"
	"time"
)

// begun begins and ends a run of one cycle.
func begun(t *testing.T, db *DB, info RunInfo) string {
	t.Helper()
	info.Started = time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	run, err := db.Begin(info)
	if err != nil {
		t.Fatal(err)
	}
	if err := run.Append(&Cycle{N: 1, Complete: true}); err != nil {
		t.Fatal(err)
	}
	if err := run.Finish(RunEnd{Ended: info.Started, Complete: true}); err != nil {
		t.Fatal(err)
	}
	return run.ID()
}

func marked(t *testing.T, db *DB) (all []string) {
	t.Helper()
	runs, err := db.Runs()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range runs {
		if r.Reference {
			all = append(all, r.Run)
		}
	}
	return all
}

func related(t *testing.T, db *DB, id string, r Relation) string {
	t.Helper()
	rec, err := db.Find(id)
	if err != nil {
		t.Fatal(err)
	}
	other, err := rec.Related(r)
	if err != nil {
		t.Fatal(err)
	}
	if other == nil {
		return ""
	}
	return other.ID
}

// There is one reference of a kind at most: a newer mark takes the place of the older.
func TestMarkReference(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	now := time.Date(2026, 11, 26, 8, 0, 0, 0, time.UTC)
	seed := new(uint64)
	x := func(model string) []Field { return []Field{{"Model", model}} }
	a := begun(t, db, RunInfo{Unit: "1", Sequence: "s", Rig: "r", Fields: x("X")})
	b := begun(t, db, RunInfo{Unit: "2", Sequence: "s", Rig: "r", Fields: x("X")})
	y := begun(t, db, RunInfo{Unit: "3", Sequence: "s", Rig: "r", Fields: x("Y")})
	none := begun(t, db, RunInfo{Unit: "4", Sequence: "s", Rig: "r"})
	simulated := begun(t, db, RunInfo{Unit: "4", Sequence: "s", Rig: "r", Seed: seed})
	for i, c := range []struct{ id, before string }{{a, ""}, {y, ""}, {none, ""}, {simulated, ""}, {b, a}, {b, b}} {
		if before, err := db.MarkReference(c.id, now.Add(time.Duration(i)), "B"); err != nil || before != c.before {
			t.Errorf("marking %d: it was %q before, want %q; %v", i, before, c.before, err)
		}
	}
	if got := marked(t, db); len(got) != 4 {
		t.Errorf("marked are %q", got)
	}
	if got := related(t, db, a, Reference); got != b {
		t.Errorf("the reference is %q, want %q", got, b)
	}
	if got := related(t, db, b, Reference); got != "" {
		t.Errorf("the reference's own is %q", got)
	}
	// The run of another kind becomes one of this kind: the mark that was made last stays.
	if err := db.SetField(y, Field{"model", "X"}, now, ""); err != nil {
		t.Fatal(err)
	}
	if got := marked(t, db); len(got) != 3 || related(t, db, y, Reference) != b {
		t.Errorf("marked are %q", got)
	}
	for i, want := range []bool{true, false} {
		if had, err := db.UnmarkReference(b); err != nil || had != want {
			t.Errorf("%d: had a mark: %v, %v", i, had, err)
		}
	}
	if got := related(t, db, a, Reference); got != "" {
		t.Errorf("the reference is %q", got)
	}
}

// A mark that comes with a copied run takes the place of an older one there.
func TestMarkReference_Copied(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 11, 26, 8, 0, 0, 0, time.UTC)
	path := filepath.Join(t.TempDir(), "other.db")
	other := openLog(t, path)
	old := begun(t, other, RunInfo{Sequence: "s"})
	if _, err := other.MarkReference(old, now, ""); err != nil {
		t.Fatal(err)
	}
	db := newLog(t)
	id := begun(t, db, RunInfo{Sequence: "s"})
	if _, err := db.MarkReference(id, now.Add(1), ""); err != nil {
		t.Fatal(err)
	}
	name, err := db.CopyRun(id, path)
	if err != nil {
		t.Fatal(err)
	}
	if got := marked(t, other); len(got) != 1 || got[0] != name {
		t.Errorf("marked are %q, want %q", got, name)
	}
}

// The earlier runs of a unit are those of the same sequence, real or simulated as it is.
func TestRelated(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	seed := new(uint64)
	first := begun(t, db, RunInfo{Unit: "1", Sequence: "s"})
	begun(t, db, RunInfo{Unit: "1", Sequence: "other"})
	begun(t, db, RunInfo{Unit: "1", Sequence: "s", Seed: seed})
	second := begun(t, db, RunInfo{Unit: "1", Sequence: "s"})
	begun(t, db, RunInfo{Unit: "2", Sequence: "s"})
	if _, err := db.Begin(RunInfo{Unit: "1", Sequence: "s", Started: time.Now()}); err != nil { // without a cycle
		t.Fatal(err)
	}
	cut, err := db.Begin(RunInfo{Unit: "1", Sequence: "s", Started: time.Now()}) // without a whole one
	if err == nil {
		err = cut.Append(&Cycle{N: 1})
	}
	if err != nil {
		t.Fatal(err)
	}
	third := begun(t, db, RunInfo{Unit: "1", Sequence: "s"})
	nobody := begun(t, db, RunInfo{Sequence: "s"})
	begun(t, db, RunInfo{Sequence: "s"})
	for _, c := range []struct {
		id              string
		first, previous string
	}{{third, first, second}, {second, first, first}, {first, "", ""}, {nobody, "", ""}} {
		if got := related(t, db, c.id, First); got != c.first {
			t.Errorf("the first before %s is %q, want %q", c.id, got, c.first)
		}
		if got := related(t, db, c.id, Previous); got != c.previous {
			t.Errorf("the one before %s is %q, want %q", c.id, got, c.previous)
		}
	}
}
