package journal

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"makebreak/analyze"
)

// soaked begins and ends a soak with a cycle of each verdict; one that is not complete is
// written in capitals.
func soaked(t *testing.T, db *DB, info RunInfo, cycles string) string {
	t.Helper()
	info.Started, info.Soak = time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC), &Retention{}
	run, err := db.Begin(info)
	if err != nil {
		t.Fatal(err)
	}
	verdicts := map[byte]analyze.Verdict{'p': analyze.Pass, 'f': analyze.Fail, 'u': analyze.Undecided, 'n': analyze.NoVerdict}
	for i := range len(cycles) {
		c := &Cycle{N: i + 1, Complete: cycles[i] >= 'a', Verdict: verdicts[cycles[i]|0x20]}
		if err := run.Append(c); err != nil {
			t.Fatal(err)
		}
	}
	if err := run.Finish(RunEnd{Ended: info.Started, Complete: true}); err != nil {
		t.Fatal(err)
	}
	return run.ID()
}

// A board's life is set beside the longest of each other board of its kind, soaked by the same
// sequence as it stands.
func TestRunRecord_LivesOfKind(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	of := func(unit string) RunInfo {
		return RunInfo{Unit: unit, Sequence: "s", SequenceSource: "as it stands", Rig: "r"}
	}
	this := soaked(t, db, of("A"), "ppFpf") // a cycle cut off is no cycle
	short := soaked(t, db, of("B"), "ppp")
	long := soaked(t, db, of("B"), "pppup")
	soaked(t, db, of("A"), "pppppppp") // the same board again
	soaked(t, db, of("C"), "nnn")
	soaked(t, db, of(""), "pp")
	for _, change := range []func(*RunInfo){
		func(i *RunInfo) { i.Sequence = "t" }, func(i *RunInfo) { i.SequenceSource = "changed since" },
		func(i *RunInfo) { i.Rig = "q" }, func(i *RunInfo) { i.Seed = new(uint64) }, func(i *RunInfo) { i.Fields = []Field{{"model", "X"}} },
	} {
		other := of("D")
		change(&other)
		soaked(t, db, other, "ppf")
	}
	begun(t, db, of("E")) // no soak
	failed := soaked(t, db, of("F"), "f")
	lives := func(id string, most int) []BoardLife {
		rec, err := db.Find(id)
		if err != nil {
			t.Fatal(err)
		}
		all, err := rec.LivesOfKind(most)
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	a, b, f := BoardLife{this, "A", 4, true}, BoardLife{long, "B", 5, false}, BoardLife{failed, "F", 1, true}
	for i, c := range []struct {
		id   string
		most int
		want []BoardLife
	}{{this, 50, []BoardLife{a, f, b}}, {this, 1, []BoardLife{a, f}}, {short, 50, []BoardLife{{short, "B", 3, false}, f, {soakedAgain(t, db, "A"), "A", 8, false}}}, {"last", 0, []BoardLife{f}}} {
		if diff := cmp.Diff(c.want, lives(c.id, c.most)); diff != "" {
			t.Errorf("%d: %s", i, diff)
		}
	}
	nameless, unjudged := soaked(t, db, of(""), "p"), soaked(t, db, of("C"), "n")
	for _, id := range []string{nameless, unjudged, begun(t, db, of("A"))} {
		if all := lives(id, 50); all != nil {
			t.Errorf("%s: %v", id, all)
		}
	}
}

// soakedAgain is the name of the longest soak of a unit.
func soakedAgain(t *testing.T, db *DB, unit string) string {
	t.Helper()
	runs, err := db.Runs()
	if err != nil {
		t.Fatal(err)
	}
	var longest RunSummary
	for _, r := range runs {
		if r.Unit == unit && r.Soak && r.Cycles > longest.Cycles {
			longest = r
		}
	}
	return longest.Run
}
