package journal

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// A run is held by the log that began it or took it, until that is closed; another gets
// ErrTaken for all that would change it, and changes nothing.
func TestLock(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	one, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	two := openLog(t, path)
	id := fillRun(t, one, 3, time.Unix(1_800_000_000, 0))
	before := contents(t, one, id)
	seen := holding(t, two, id)
	for what, err := range map[string]error{
		"Take": second(two.Lock(id)), "Resume": second(two.Resume(id, time.Unix(1_900_000_000, 0), "")),
		"DropRun": second(two.DropRun(seen)), "DropCaptures": second(two.DropCaptures(seen)),
	} {
		if !errors.Is(err, ErrTaken) {
			t.Errorf("%s: %v", what, err)
		}
	}
	if after := contents(t, one, id); len(after) != len(before) {
		t.Errorf("%d rows of the run are %d", len(before), len(after))
	}
	if _, err := one.Lock(id); err != nil {
		t.Errorf("by who has it: %v", err)
	}
	if err := one.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := two.Lock(id); err != nil {
		t.Errorf("once it is closed: %v", err)
	}
}

// Of two programs that are to go on with a unit's soaks one is refused.
func TestLockUnit(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	one, two := openLog(t, path), openLog(t, path)
	if err := errors.Join(one.LockUnit("RB-017", "relay-only"), two.LockUnit("RB-018", "relay-only"), two.LockUnit("RB-017", "armed-high")); err != nil {
		t.Error(err)
	}
	if err := two.LockUnit("RB-017", "relay-only"); !errors.Is(err, ErrTaken) {
		t.Errorf("the same one: %v", err)
	}
}

// A log that is closed releases its locks also where a process that is just being started still has a
// copy of its descriptors.
func TestLock_Copied(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	one, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := one.LockUnit("RB-017", "relay-only"); err != nil {
		t.Fatal(err)
	}
	copied, err := unix.Dup(int(one.locks.Fd()))
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(copied)
	if err := one.Close(); err != nil {
		t.Fatal(err)
	}
	if err := openLog(t, path).LockUnit("RB-017", "relay-only"); err != nil {
		t.Error(err)
	}
}

// What stands beside a log stands beside the file, wherever a link to it is.
func TestOpen_Link(t *testing.T) {
	t.Parallel()
	dir, links := t.TempDir(), t.TempDir()
	path, link := filepath.Join(dir, "log.db"), filepath.Join(links, "link.db")
	if err := os.Symlink(path, link); err != nil { // to nothing yet
		t.Fatal(err)
	}
	db := openLog(t, link)
	id := fillRun(t, db, 3, time.Unix(1_800_000_000, 0))
	if _, err := openLog(t, path).Lock(id); !errors.Is(err, ErrTaken) {
		t.Errorf("by its own path: %v", err)
	}
	all, err := os.ReadDir(links)
	if err != nil || len(all) != 1 {
		t.Errorf("beside the link: %v, %v", all, err)
	}
}

// Who removes the file for the locks does not let another program into a run that goes on.
func TestLock_LocksRemoved(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	one, two := openLog(t, path), openLog(t, path)
	r := fill(t, one, 3)
	if err := os.Remove(locksOf(path)); err != nil {
		t.Fatal(err)
	}
	if err := r.Append(exampleCycle(4)); err != nil {
		t.Fatal(err)
	}
	if _, err := two.Lock(r.ID()); !errors.Is(err, ErrTaken) {
		t.Errorf("the locks made anew: %v", err)
	}
	if err := os.Remove(locksOf(path)); err != nil {
		t.Fatal(err)
	}
	if _, err := two.Lock(r.ID()); err != nil { // before the first one has noticed
		t.Fatal(err)
	}
	if err := r.Append(exampleCycle(5)); !errors.Is(err, ErrTaken) {
		t.Errorf("once another has it: %v", err)
	}
}
