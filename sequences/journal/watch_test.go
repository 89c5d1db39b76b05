package journal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"makebreak/rig/task"
)

// spoil is one way in which somebody writes into a log's file that is in use. The file stays
// the same one, so that its identity says nothing.
type spoil struct {
	name  string
	end   string // of the file
	do    func(rng *rand.Rand, path string) error
	heals bool
}

// into writes over a file's beginning and leaves the rest, as dd conv=notrunc does.
func into(path string, at int64, b []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = f.WriteAt(b, at)
	return errors.Join(err, f.Close())
}

func noise(rng *rand.Rand, n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(rng.Uint32())
	}
	return b
}

// pagesOver writes over a page of each place, with noise or zeros.
func pagesOver(place func(rng *rand.Rand, pages int64) int64) func(*rand.Rand, string) error {
	return func(rng *rand.Rand, path string) error {
		b := make([]byte, 4096)
		if rng.IntN(2) == 0 {
			b = noise(rng, 4096)
		}
		return into(path, 4096*place(rng, fileSize(path)/4096), b)
	}
}

// other is the path of another log's file, made beside the log before it is used.
func other(path, end string) string {
	return filepath.Join(filepath.Dir(strings.TrimSuffix(strings.TrimSuffix(path, "-wal"), "-shm")), "other.db"+end)
}

// copyOver copies another log's file over one, as cp does.
func copyOver(end string) func(*rand.Rand, string) error {
	return func(_ *rand.Rand, path string) error {
		b, err := os.ReadFile(other(path, end))
		return errors.Join(err, os.WriteFile(path, b, 0o600))
	}
}

func cutTo(share float64) func(*rand.Rand, string) error {
	return func(_ *rand.Rand, path string) error { return os.Truncate(path, int64(share*float64(fileSize(path)))) }
}

// spoils are the ways. The last page of the write-ahead file that counts need not be at its
// end, so that the middle and the beginning are written over.
var spoils = []spoil{
	{"another log copied over it", "", copyOver(""), false},
	{"emptied", "", cutTo(0), false},
	{"cut to a half", "", cutTo(0.5), false},
	{"cut by a byte", "", func(_ *rand.Rand, path string) error { return os.Truncate(path, fileSize(path)-1) }, false},
	{"cut by a page", "", func(_ *rand.Rand, path string) error { return os.Truncate(path, fileSize(path)-4096) }, false},
	{"first page", "", pagesOver(func(*rand.Rand, int64) int64 { return 0 }), false},
	{"last page", "", pagesOver(func(_ *rand.Rand, pages int64) int64 { return pages - 1 }), false},
	{"any page", "", pagesOver(func(rng *rand.Rand, pages int64) int64 { return rng.Int64N(pages) }), false},
	{"one byte", "", func(rng *rand.Rand, path string) error {
		at := rng.Int64N(fileSize(path))
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		return into(path, at, []byte{b[at] ^ 1<<rng.IntN(8)})
	}, false},
	{"another program's database", "", func(_ *rand.Rand, path string) error {
		return os.WriteFile(path, []byte("not a database at all"), 0o600)
	}, false},
	{"write-ahead file emptied", "-wal", cutTo(0), false},
	{"write-ahead file cut", "-wal", func(_ *rand.Rand, path string) error { return os.Truncate(path, 32+24+100) }, false},
	{"write-ahead file's beginning", "-wal", func(rng *rand.Rand, path string) error { return into(path, 0, noise(rng, 4096)) }, false},
	{"write-ahead file's first page", "-wal", func(rng *rand.Rand, path string) error { return into(path, 32, noise(rng, 4096)) }, false},
	{"write-ahead file's byte", "-wal", func(rng *rand.Rand, path string) error { return into(path, 32+24+rng.Int64N(4096), []byte{255}) }, false},
	{"another's write-ahead file", "-wal", copyOver("-wal"), false},
	{"index of noise", "-shm", func(rng *rand.Rand, path string) error { return into(path, 0, noise(rng, 32<<10)) }, true},
	{"index's second half zero", "-shm", func(_ *rand.Rand, path string) error { return into(path, 16<<10, make([]byte, 16<<10)) }, false},
	{"index's page numbers zero", "-shm", func(_ *rand.Rand, path string) error { return into(path, 136, make([]byte, 4096)) }, false},
	{"index cut", "-shm", cutTo(0), false},
	{"index cut to a page", "-shm", func(_ *rand.Rand, path string) error { return os.Truncate(path, 4096) }, false},
	{"another's index", "-shm", copyOver("-shm"), false},
}

// makeOther leaves another log in use beside the one at a path, whose files are copied over
// it.
func makeOther(tb testing.TB, path string) {
	tb.Helper()
	db, err := Open(other(path, ""))
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { db.Close() })
	fill(tb, db, 40)
}

// A log whose file somebody writes into takes no further cycle. Those that it took can be
// found in the file or in one that is written for it, and the file is left as it is.
func TestAppend_Overwritten(t *testing.T) {
	t.Parallel()
	for i, s := range spoils {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			for k, cycles := range []int{3, 140} {
				if testing.Short() && k != i%2 {
					continue
				}
				overwriteAt(t, s, cycles, uint64(i))
			}
		})
	}
}

func overwriteAt(t *testing.T, s spoil, cycles int, seed uint64) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "log.db")
	db, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	db.patience = time.Millisecond
	makeOther(t, path)
	fillQuickly(t, db, 5)
	r := fillQuickly(t, db, cycles)
	if err := s.do(rand.New(rand.NewPCG(seed, 1)), path+s.end); err != nil {
		t.Fatal(err)
	}
	spoilt, _ := os.ReadFile(path)
	if s.heals { // SQLite sees for itself that it is none, and makes it again
		if err := r.Append(exampleCycle(cycles + 1)); err != nil {
			t.Fatal(err)
		}
		checkStored(t, db, cycles+1)
		if err := errors.Join(db.Check(), db.Close()); err != nil {
			t.Error(err)
		}
		return
	}
	checkLeft(t, path, db, r, cycles, s.end == "-shm")
	if s.end == "" {
		if now, _ := os.ReadFile(path); !bytes.Equal(now, spoilt) {
			t.Errorf("%d cycles: what is in the log's place was changed", cycles)
		}
	}
}

// fillQuickly is fill in few transactions.
func fillQuickly(t tester, db *DB, cycles int) *Run {
	t.Helper()
	r, err := db.Begin(RunInfo{Started: time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)})
	if err != nil {
		t.Fatal(err)
	}
	const together = 40
	for n := 1; n <= cycles; n += together {
		var batch []*Cycle
		for k := n; k <= min(cycles, n+together-1); k++ {
			batch = append(batch, exampleCycle(k))
		}
		if err := r.Append(batch...); err != nil {
			t.Fatal(err)
		}
	}
	return r
}

// checkLeft appends until the log refuses a cycle, and looks for those that it took. The
// other log has the run before, too, where it must be whole.
func checkLeft(t tester, path string, db *DB, r *Run, cycles int, whole bool) {
	t.Helper()
	err := r.Append(exampleCycle(cycles + 1))
	if !errors.Is(err, ErrGone) {
		t.Fatalf("%d cycles: the next one: %v", cycles, err)
	}
	if again := r.Append(exampleCycle(cycles + 2)); !errors.Is(again, ErrGone) {
		t.Error("the one after that:", again)
	}
	if !strings.Contains(err.Error(), path+"-rescued-1, which is a log now") {
		t.Error("where is it:", err)
	}
	rec, err := db.Find(r.ID())
	if err != nil {
		t.Fatal(err)
	}
	if last, err := rec.Last(); err != nil || last < cycles {
		t.Error("what is read in its place has", last, "cycles:", err)
	}
	if err := db.Close(); err != nil {
		t.Error(err)
	}
	found, err := Open(path + "-rescued-1")
	if err != nil {
		t.Fatal(err)
	}
	defer found.Close()
	if err := found.Check(); err != nil {
		t.Error(err)
	}
	rec, err = found.Find(r.ID())
	if err != nil {
		t.Fatal(err)
	}
	for _, rule := range rules {
		if err := rec.checkRule(t.Context(), rule); err != nil {
			t.Error(err)
		}
	}
	stored := len(collect(t, rec.CycleInfos()))
	checkStored(t, found, stored)
	if runs, err := found.Runs(); err != nil || whole && len(runs) != 2 {
		t.Error("runs that were written into it:", len(runs), err)
	}
	if stored < cycles {
		t.Error(cycles, "cycles were reported,", stored, "are in the log that was written for them")
	}
}

// What other programs may do to a log meanwhile raises no alarm.
func TestAppend_NotOverwritten(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	path := db.full
	r := fill(t, db, 90)
	n := 90
	next := func(what string) {
		t.Helper()
		for range 3 {
			n++
			if err := r.Append(exampleCycle(n)); err != nil {
				t.Fatalf("after %s: %v", what, err)
			}
		}
	}
	second, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer second.Close()
	next("it was opened a second time")
	run2 := fill(t, second, 90)
	next("another run was stored")
	for _, text := range []string{"PRAGMA wal_checkpoint(PASSIVE)", "PRAGMA wal_checkpoint(TRUNCATE)", "PRAGMA wal_checkpoint(RESTART)", "VACUUM", "ANALYZE", "CREATE TABLE notes (text)",
		"INSERT INTO notes VALUES (zeroblob(3000000))", "BEGIN IMMEDIATE; INSERT INTO notes VALUES (zeroblob(9000000)); ROLLBACK", "DROP TABLE notes", "PRAGMA wal_checkpoint(TRUNCATE); INSERT INTO name VALUES ('x', 1, 1, '', ''); PRAGMA wal_checkpoint(TRUNCATE); DELETE FROM name WHERE series = 'x'; PRAGMA wal_checkpoint(TRUNCATE); VACUUM; PRAGMA wal_checkpoint(TRUNCATE)"} {
		if _, err := second.write.ExecContext(t.Context(), text); err != nil {
			t.Fatal(text, err)
		}
		next(text)
	}
	if err := run2.Finish(RunEnd{Ended: time.Now()}); err != nil {
		t.Fatal(err)
	}
	second.unlock()
	all, err := second.Holdings()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(all, func(h Holding) bool { return h.Run == run2.ID() })
	if _, err := second.DropCaptures(all[i]); err != nil {
		t.Fatal(err)
	}
	next("captures were pruned")
	all, _ = second.Holdings()
	if _, err := second.DropRun(all[i]); err != nil {
		t.Fatal(err)
	}
	next("a run was pruned")
	if _, err := second.Shrink(); err != nil {
		t.Fatal(err)
	}
	next("it was shrunk")
	if err := second.RestoreReserve(); err != nil {
		t.Fatal(err)
	}
	if err := second.Check(); err != nil {
		t.Fatal(err)
	}
	if err := second.Close(); err != nil {
		t.Fatal(err)
	}
	next("it was closed again")
	if err := os.Chtimes(path, time.Unix(1, 0), time.Unix(1, 0)); err != nil {
		t.Fatal(err)
	}
	next("its time was set")
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	next("its mode was set")
	read, err := OpenRead(path)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := read.read.Query("SELECT n FROM cycle")
	if err != nil || !rows.Next() {
		t.Fatal(err)
	}
	for range 40 {
		next("it is being read")
	}
	rows.Close()
	next("it was read")
	if err := read.Close(); err != nil {
		t.Fatal(err)
	}
	for range 40 {
		next("all of that")
	}
	checkStored(t, db, n)
}

// Whatever is written into whichever of the files at whatever time, no cycle that was stored
// before is lost.
func TestAppend_OverwrittenDrawn(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("left to the whole run of the tests")
	}
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(t.TempDir(), "drawn")
		if err != nil {
			rt.Fatal(err)
		}
		path := filepath.Join(dir, "log.db")
		db, err := Open(path)
		if err != nil {
			rt.Fatal(err)
		}
		db.patience = time.Millisecond
		before := rapid.IntRange(0, 200).Draw(rt, "cycles of a run before")
		cycles := rapid.IntRange(1, 200).Draw(rt, "cycles")
		if before > 0 {
			fillQuickly(rt, db, before)
		}
		r := fillQuickly(rt, db, cycles)
		for range rapid.IntRange(1, 3).Draw(rt, "writings") {
			end := rapid.SampledFrom([]string{"", "-wal"}).Draw(rt, "file")
			size := fileSize(path + end)
			if size == 0 {
				continue
			}
			if end == "-wal" { // what counts of it, which may be its beginning alone
				size = frameAt(db.watch.index.frames, 4096)
			}
			if rapid.IntRange(0, 3).Draw(rt, "cut") == 0 {
				err = os.Truncate(path+end, rapid.Int64Range(0, size-1).Draw(rt, "to"))
			} else {
				at := rapid.Int64Range(0, size-1).Draw(rt, "at")
				b := rapid.SliceOfN(rapid.Byte(), 1, int(min(5000, size-at))).Draw(rt, "bytes")
				was := make([]byte, len(b))
				f, e := os.Open(path + end)
				if e != nil {
					rt.Fatal(e)
				}
				_, _ = f.ReadAt(was, at)
				f.Close()
				if bytes.Equal(was, b) {
					b[0]++
				}
				err = into(path+end, at, b)
			}
			if err != nil {
				rt.Fatal(err)
			}
		}
		checkLeft(rt, path, db, r, cycles, false)
	})
}

// A look costs what its comment says.
func BenchmarkLook(b *testing.B) {
	for _, cycles := range []int{1, 80} {
		b.Run(fmt.Sprint(cycles), func(b *testing.B) {
			db, err := Open(filepath.Join(b.TempDir(), "log.db"))
			if err != nil {
				b.Fatal(err)
			}
			defer db.Close()
			fill(b, db, cycles)
			for b.Loop() {
				if err := db.lookAtFiles(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(db.watch.index.frames), "frames")
		})
	}
}

// Programs that store, read, prune and shrink one log at the same time raise no alarm.
func TestAppend_AmongOthers(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	db := openLog(t, path)
	r := fillQuickly(t, db, 30)
	rounds := 12
	if testing.Short() {
		rounds = 3
	}
	done := make(chan error, 3)
	other := func(work func(db *DB, round int) error) {
		task.Go(func() {
			done <- func() error {
				for round := range rounds {
					db, err := Open(path)
					if err != nil {
						return err
					}
					if err := errors.Join(work(db, round), db.Close()); err != nil {
						return err
					}
				}
				return nil
			}()
		})
	}
	other(func(db *DB, _ int) error {
		r, err := db.Begin(RunInfo{Started: time.Unix(1e9, 0)})
		for n := 1; n <= 30 && err == nil; n++ {
			err = r.Append(exampleCycle(n))
		}
		return err
	})
	other(func(db *DB, round int) error {
		all, err := db.Holdings()
		if err != nil {
			return err
		}
		for _, h := range all {
			if _, err := db.DropRun(h); err != nil && !errors.Is(err, ErrTaken) && !errors.Is(err, ErrNoRun) && !errors.Is(err, ErrWentOn) {
				return err
			}
		}
		if _, err := db.Shrink(); err != nil && !errors.Is(err, ErrLocked) {
			return err
		}
		return db.RestoreReserve()
	})
	other(func(db *DB, _ int) error {
		rec, err := db.Find(r.ID())
		if err != nil {
			return err
		}
		_, err = db.write.ExecContext(context.Background(), "PRAGMA wal_checkpoint(TRUNCATE)")
		return errors.Join(lastError(rec.Measurements()), err)
	})
	n, left := 30, 3
	for left > 0 {
		select {
		case err := <-done:
			if err != nil {
				t.Error(err)
			}
			left--
		default:
			n++
			if err := r.Append(exampleCycle(n)); err != nil && !errors.Is(err, ErrLocked) {
				t.Fatal(err)
			} else if err != nil {
				n-- // it could not be stored in time
			}
		}
	}
	rec, err := db.Find(r.ID())
	if err != nil {
		t.Fatal(err)
	}
	if stored := len(collect(t, rec.CycleInfos())); stored != n {
		t.Errorf("%d cycles stored, want %d", stored, n)
	}
}
