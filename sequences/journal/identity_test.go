package journal

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
)

func wordIn(t *testing.T, db *DB) (word string) {
	t.Helper()
	err := db.transact(func() (err error) {
		word, err = db.word()
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return word
}

// Three logs that begin a run on one day give it three names; each is found by its name, by
// its UUID, and by its day and count. All of them can be put into one log.
func TestCopyRun_SeveralRigs(t *testing.T) {
	t.Parallel()
	dir, day := t.TempDir(), time.Unix(1_800_000_000, 0).UTC()
	archive := filepath.Join(dir, "archive.db")
	var all []string
	for _, name := range []string{"one.db", "two.db", "three.db"} {
		db := openLog(t, filepath.Join(dir, name))
		id := fillRun(t, db, 20, day)
		if slices.Contains(all, id) {
			t.Fatalf("%s is the name of two runs", id)
		}
		all = append(all, id)
		rec, err := db.Find(day.Format("2006-01-02") + ".1")
		if err != nil || rec.ID != id {
			t.Fatalf("by its day and count: %v", err)
		}
		if u, err := uuid.Parse(rec.UUID); err != nil || u.Version() != 7 {
			t.Errorf("the UUID of %s is %s", id, rec.UUID)
		}
		if same, err := db.Find(strings.ToUpper(rec.UUID)); err != nil || same.ID != id {
			t.Errorf("by its UUID: %v", err)
		}
		if as, err := db.CopyRun(id, archive); err != nil || as != id {
			t.Errorf("%s is copied as %s: %v", id, as, err)
		}
	}
	other := openLog(t, archive)
	if got := names(t, other); len(got) != 3 {
		t.Errorf("the archive holds %v", got)
	}
	_, err := other.Find(day.Format("2006-01-02") + ".1")
	if !errors.Is(err, ErrAmbiguous) || !strings.Contains(err.Error(), all[2]) {
		t.Errorf("a day and a count that three runs have: %v", err)
	}
	if err := other.Check(); err != nil {
		t.Error(err)
	}
}

// A log that was copied beside itself has the same word. A run that has the name of another
// one gets a name of its own where both meet, and keeps it.
func TestCopyRun_NameTaken(t *testing.T) {
	t.Parallel()
	dir, day := t.TempDir(), time.Unix(1_800_000_000, 0).UTC()
	first, second := filepath.Join(dir, "first.db"), filepath.Join(dir, "second.db")
	db, err := Open(first)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(first)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(second, b, 0o600); err != nil {
		t.Fatal(err)
	}
	one, two := openLog(t, first), openLog(t, second)
	id := fillRun(t, one, 20, day)
	if its := fillRun(t, two, 10, day.Add(time.Minute)); its != id {
		t.Fatalf("the copied log's run is %s, not %s", its, id)
	}
	want := contents(t, two, id)
	var as string
	for range 2 {
		if as, err = two.CopyRun(id, first); err != nil || as == id {
			t.Fatalf("copied as %s: %v", as, err)
		}
	}
	if got := contents(t, one, as); !slices.Equal(got[1:], want[1:]) { // the first row has the name
		t.Error("the copy is not as the run")
	}
	if err := one.Check(); err != nil {
		t.Error(err)
	}
	if _, err := two.DropRun(holding(t, two, id)); err != nil {
		t.Fatal(err)
	}
	if back, err := one.CopyRun(as, second); err != nil || back != id {
		t.Errorf("it came back as %s: %v", back, err)
	}
}

// Two logs that hold one run from before runs had UUIDs give it the same.
func TestEarlierUUID(t *testing.T) {
	t.Parallel()
	a, b := earlierUUID("2026-11-25", 1, 17, "SN-1"), earlierUUID("2026-11-25", 1, 17, "SN-2")
	if a == b || a != earlierUUID("2026-11-25", 1, 17, "SN-1") {
		t.Errorf("%s and %s", a, b)
	}
	if u, err := uuid.Parse(a); err != nil || u.Version() != 8 || u.Variant() != uuid.RFC4122 {
		t.Errorf("%s: %v", a, err)
	}
}

// A word has three syllables, and few texts have the same.
func TestWordOf(t *testing.T) {
	t.Parallel()
	form, seen := regexp.MustCompile("^([bdflmnrstvz][aeiou]){3}$"), map[string]bool{}
	for n := range 1000 {
		w := wordOf(strings.Repeat("x", n))
		if !form.MatchString(w) {
			t.Fatalf("%q is no word", w)
		}
		seen[w] = true
	}
	if len(seen) < 985 { // 1,000 of 166,375: three pairs are to be expected
		t.Errorf("1,000 texts have only %d words", len(seen))
	}
}
