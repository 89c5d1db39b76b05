package journal

import (
	"bytes"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"
)

// newLog opens a new log. When the test ends, the log must be sound.
func newLog(tb testing.TB) *DB {
	tb.Helper()
	return openLog(tb, filepath.Join(tb.TempDir(), "makebreak", "log.db"))
}

func openLog(tb testing.TB, path string) *DB {
	tb.Helper()
	db, err := Open(path)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := db.Check(); err != nil {
			tb.Error(err)
		}
		if err := db.Close(); err != nil {
			tb.Error(err)
		}
	})
	return db
}

func TestOpen_Private(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	if _, err := db.Begin(RunInfo{Started: time.Unix(0, 0)}); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]os.FileMode{
		filepath.Dir(db.Path()): 0o700 | os.ModeDir, db.Path(): 0o600, db.Path() + "-wal": 0o600, db.Path() + "-shm": 0o600,
	} {
		info, err := os.Stat(path)
		if err != nil || info.Mode() != want {
			t.Errorf("%s has the mode %v (%v), want %v", path, info.Mode(), err, want)
		}
	}
}

// Every connection, whichever the pool hands out, waits for the disk and for
// other programs, and checks what refers to what.
func TestOpen_Settings(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	var held []*sql.Conn
	for range 3 {
		conn, err := db.read.Conn(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		held = append(held, conn)
		defer conn.Close()
	}
	for _, conn := range append(held, db.write) {
		var mode string
		var wait, sync, keys int
		row := conn.QueryRowContext(t.Context(), "SELECT j.journal_mode, t.timeout, s.synchronous, k.foreign_keys FROM pragma_journal_mode j, pragma_busy_timeout t, pragma_synchronous s, pragma_foreign_keys k")
		if err := row.Scan(&mode, &wait, &sync, &keys); err != nil {
			t.Fatal(err)
		}
		const full = 2 // https://www.sqlite.org/pragma.html#pragma_synchronous
		if mode != "wal" || wait != 5000 || sync != full || keys != 1 {
			t.Errorf("journal %s, wait %d ms, synchronous %d, foreign keys %d", mode, wait, sync, keys)
		}
	}
	if _, err := db.read.Exec("DELETE FROM run"); err == nil {
		t.Error("a reading connection can write")
	}
}

func TestOpen_OddPath(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "50% of #1?mode=memory", "log & more.db")
	db := openLog(t, path)
	if _, err := db.Begin(RunInfo{Started: time.Unix(0, 0)}); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(path); err != nil || info.Size() == 0 && !exists(path+"-wal") {
		t.Errorf("the log is not at its path: %v", err)
	}
}

func TestOpen_Refuses(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file := func(name string, content []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	database := func(name string, statements ...string) string {
		path := filepath.Join(dir, name)
		db, err := sql.Open("sqlite", path)
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		for _, s := range statements {
			if _, err := db.Exec(s); err != nil {
				t.Fatal(err)
			}
		}
		return path
	}
	for _, tc := range []struct {
		name, path string
		want       error
		says       string
	}{
		{"text", file("notes.txt", []byte("bought two relays, and a fuse\n")), ErrNotLog, "--log"},
		{"short text", file("short", []byte("x")), ErrNotLog, "not a log"},
		{"cut off", file("cut", []byte("SQLite format 3\x00\x10\x00\x02\x02")), ErrNotLog, "not a log"},
		{"garbage behind the mark", file("garbage", append([]byte("SQLite format 3\x00"), bytes.Repeat([]byte{0xA5}, 8000)...)), ErrNotLog, "not a log"},
		{"another program's database", database("other.db", "CREATE TABLE stamps (id INTEGER)"), ErrNotLog, "another program"},
		{"another program's mark", database("mark.db", "PRAGMA application_id = 77"), ErrNotLog, "another program"},
		{"newer", database("newer.db", "PRAGMA application_id = 0x6d6b626b", "PRAGMA user_version = 99"), ErrNewer, "number 99"},
		{"negative version", database("odd.db", "PRAGMA application_id = 0x6d6b626b", "PRAGMA user_version = -1"), ErrCorrupt, "number -1"},
		{"a folder", dir, ErrNotLog, "it is a folder"},
		{"a device", os.DevNull, ErrNotLog, "it is a device"},
		{"below a file", filepath.Join(file("plain", nil), "log.db"), ErrAccess, "not a directory"},
	} {
		before, _ := os.ReadFile(tc.path)
		db, err := Open(tc.path)
		if err == nil {
			db.Close()
		}
		if !errors.Is(err, tc.want) || !strings.Contains(err.Error(), tc.says) || !strings.Contains(err.Error(), "log "+tc.path) {
			t.Errorf("%s: error %v, want %v, the path and %q", tc.name, err, tc.want, tc.says)
		}
		if after, _ := os.ReadFile(tc.path); !bytes.Equal(before, after) {
			t.Errorf("%s: the file was changed", tc.name)
		}
	}
}

// An empty file is at version 0 and gets the whole schema. An older log gets what
// it lacks and keeps its runs; a migration that fails leaves it as it was.
func TestMigrate(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	db := openLog(t, path)
	names, err := migrationsIn(migrations)
	if err != nil {
		t.Fatal(err)
	}
	newest := len(names)
	if v := version(t, db); v != newest {
		t.Fatalf("a new log is at version %d", v)
	}
	if _, err := db.Begin(RunInfo{Unit: "U1", Started: time.Unix(0, 0)}); err != nil {
		t.Fatal(err)
	}
	next, broken := fstest.MapFS{}, fstest.MapFS{}
	for _, name := range names {
		next[name], broken[name] = &fstest.MapFile{}, &fstest.MapFile{}
	}
	more := &fstest.MapFile{Data: []byte("CREATE TABLE more (x INTEGER) STRICT; INSERT INTO more SELECT id FROM run;")}
	next["migration/9001_more.sql"], broken["migration/9001_more.sql"] = more, more
	broken["migration/9002_bad.sql"] = &fstest.MapFile{Data: []byte("CREATE TABLE half (x INTEGER); INSERT INTO nowhere VALUES (1);")}
	if err := migrate(db.write, broken); err == nil || !strings.Contains(err.Error(), "9002_bad.sql") {
		t.Errorf("a broken migration: %v", err)
	}
	if v := version(t, db); v != newest || tables(t, db, "more") != 0 {
		t.Errorf("after a broken migration: version %d, %d tables of it", v, tables(t, db, "more"))
	}
	for range 2 {
		if err := migrate(db.write, next); err != nil {
			t.Fatal(err)
		}
	}
	if v := version(t, db); v != newest+1 || tables(t, db, "more") != 1 {
		t.Errorf("after a migration: version %d", v)
	}
	if err := migrate(db.write, migrations); !errors.Is(err, ErrNewer) {
		t.Errorf("the newer schema is taken: %v", err)
	}
	if runs, err := db.Runs(); err != nil || len(runs) != 1 || runs[0].Unit != "U1" {
		t.Errorf("runs after migrating: %v, %v", runs, err)
	}
}

func version(t *testing.T, db *DB) (v int) {
	t.Helper()
	if err := db.read.QueryRow("PRAGMA user_version").Scan(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

func tables(t *testing.T, db *DB, name string) (n int) {
	t.Helper()
	if err := db.read.QueryRow("SELECT count(*) FROM sqlite_schema WHERE name = ?", name).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// Programs that open a new log at one time all get it, with one schema.
func TestOpen_AtOnce(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			db, err := Open(path)
			if err != nil {
				t.Error(err)
				return
			}
			if _, err := db.Begin(RunInfo{Started: time.Unix(0, 0)}); err != nil {
				t.Error(err)
			}
			if err := db.Close(); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	runs, err := openLog(t, path).Runs()
	if err != nil || len(runs) != 8 {
		t.Errorf("%d runs, %v", len(runs), err)
	}
}

// A page overwritten in the middle of the file is found.
func TestCheck_Damage(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	db, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	schema := fileSize(path)
	fill(t, db, 40)
	if err := db.Check(); err != nil {
		t.Errorf("a sound log: %v", err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	const page = 4096
	for at := schema; at < info.Size(); at += page {
		if _, err := f.WriteAt(bytes.Repeat([]byte{0x5A}, 64), at); err != nil {
			t.Fatal(err)
		}
	}
	f.Close()
	if db, err = Open(path); err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.Check(); !errors.Is(err, ErrCorrupt) {
		t.Errorf("a damaged log: %v", err)
	}
	rec, err := db.Find("last")
	for n := 1; n <= 40 && err == nil; n++ {
		_, err = rec.Capture(n)
	}
	if !errors.Is(err, ErrCorrupt) {
		t.Errorf("reading a damaged log: %v", err)
	}
}

// A program that holds the log for too long is named as the reason.
func TestAppend_Locked(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	run, err := db.Begin(RunInfo{Started: time.Unix(0, 0)})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.write.ExecContext(t.Context(), "PRAGMA busy_timeout = 20"); err != nil {
		t.Fatal(err)
	}
	other := openLog(t, db.Path())
	if err := other.transact(func() error {
		if err := run.Append(&Cycle{N: 1}); !errors.Is(err, ErrLocked) {
			t.Errorf("stored beside another's transaction: %v", err)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if err := run.Append(&Cycle{N: 1}); err != nil {
		t.Errorf("after the other's end: %v", err)
	}
}

// A log that may not grow keeps what it has, says that it is full, and goes on
// once there is room.
func TestAppend_Full(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	run := fill(t, db, 3)
	if _, err := db.write.ExecContext(t.Context(), "PRAGMA max_page_count = 60"); err != nil {
		t.Fatal(err)
	}
	stored, err := fillUp(run, 4)
	if !errors.Is(err, ErrFull) || !strings.Contains(err.Error(), "no room left") {
		t.Fatalf("after %d cycles: %v, want ErrFull", stored, err)
	}
	checkStored(t, db, stored)
	if _, err := db.write.ExecContext(t.Context(), "PRAGMA max_page_count = 100000"); err != nil {
		t.Fatal(err)
	}
	if err := run.Append(exampleCycle(stored + 1)); err != nil {
		t.Fatal(err)
	}
	checkStored(t, db, stored+1)
}

// fillUp appends cycles from the number on until one is refused, and returns the
// last one stored.
func fillUp(run *Run, from int) (stored int, err error) {
	for n := from; n < from+10_000; n++ {
		if err := run.Append(exampleCycle(n)); err != nil {
			return n - 1, err
		}
	}
	return from + 9_999, nil
}

func TestDB_Closed(t *testing.T) {
	t.Parallel()
	db, err := Open(filepath.Join(t.TempDir(), "log.db"))
	if err != nil {
		t.Fatal(err)
	}
	run, err := db.Begin(RunInfo{Started: time.Unix(0, 0)})
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if err := run.Append(&Cycle{N: 1}); err == nil {
		t.Error("a closed log takes a cycle")
	}
	if _, err := db.Runs(); err == nil {
		t.Error("a closed log lists runs")
	}
	if err := db.Close(); err != nil {
		t.Errorf("closed again: %v", err)
	}
}
