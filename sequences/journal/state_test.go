package journal

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"
)

// schemaOf are the migrations of an older program, the first so many.
func schemaOf(t *testing.T, version int) fs.FS {
	t.Helper()
	names, err := migrationsIn(migrations)
	if err != nil {
		t.Fatal(err)
	}
	old := fstest.MapFS{}
	for _, name := range names[:version] {
		text, err := fs.ReadFile(migrations, name)
		if err != nil {
			t.Fatal(err)
		}
		old[name] = &fstest.MapFile{Data: text}
	}
	return old
}

// logOfSchema makes a log of an older schema, runs statements on it and returns its path.
func logOfSchema(t *testing.T, version int, statements ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "log.db")
	pool, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	conn, err := pool.Conn(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if err := migrate(conn, schemaOf(t, version)); err != nil {
		t.Fatal(err)
	}
	for _, s := range statements {
		if _, err := conn.ExecContext(context.Background(), s); err != nil {
			t.Fatalf("%s: %v", s, err)
		}
	}
	return path
}

const oldRun = `INSERT INTO run (day, count, unit, done_by, sequence, sequence_source, rig, rig_source, started, planned, program, notes, reason)
	VALUES ('2026-11-25', (SELECT count(*) + 1 FROM run), 'U1', '', 'armed-high', '', 'panel', '', 1, 5, '', '', `

// A log that says in words what state a run is in gets the state, and what is told of the
// run stays the same.
func TestMigrate_State(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		reason, after string
		state         State
		told          string // empty: as before
	}{
		{"", "", Entire, ""},
		{"interrupted", "interrupted", Entire, ""},
		{"its removal was seen being removed from the log", "its removal was seen being removed from the log", Entire, ""},
		{"being copied into this log", "", Copying, ""},
		{"being removed from the log", "", Removing, ""},
		{"being removed from the log; before that: the rig is lost", "the rig is lost", Removing, ""},
		{"being removed from the log; before that: being copied into this log", "", Removing, "being removed from the log"},
	} {
		db := openLog(t, logOfSchema(t, 4, oldRun+"'"+tc.reason+"')"))
		rec, err := db.Find("last")
		if err != nil {
			t.Fatal(err)
		}
		if tc.told == "" {
			tc.told = tc.reason
		}
		if rec.State != tc.state || rec.Reason != tc.after || rec.WhyIncomplete() != tc.told {
			t.Errorf("%q: state %d, reason %q, told as %q", tc.reason, rec.State, rec.Reason, rec.WhyIncomplete())
		}
		if _, err := db.Resume("last", time.Unix(10, 0), ""); errors.Is(err, ErrPart) != tc.state.Partial() {
			t.Errorf("%q: resumed: %v", tc.reason, err)
		}
	}
}

// A state that no program has written is damage, and is told as that.
func TestRuns_UnknownState(t *testing.T) {
	t.Parallel()
	for _, state := range []string{"3", "-1"} {
		db := newLog(t)
		if _, err := db.Begin(RunInfo{Started: time.Unix(1_800_000_000, 0)}); err != nil {
			t.Fatal(err)
		}
		if err := db.exec("UPDATE run SET state = " + state); err != nil {
			t.Fatal(err)
		}
		if _, err := db.Runs(); !errors.Is(err, ErrCorrupt) || !strings.Contains(err.Error(), "state "+state) {
			t.Errorf("state %s: %v", state, err)
		}
	}
}
