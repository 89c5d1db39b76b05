package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"makebreak/rig/capture"
)

// libraries are words of the libraries, which tell nobody what is wrong with a log.
var libraries = regexp.MustCompile(`sql:|Scan|driver\.Value|converting|SQL logic|unmarshal|strconv|panic|runtime error|%!`)

// loosened opens a log with something in each of its tables, and lets it take values of any
// type: a hand, or another bit on the disk, does not ask either.
func loosened(t *testing.T) (*DB, *sql.DB) {
	t.Helper()
	db, err := Open(filepath.Join(t.TempDir(), "log.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	run, err := db.Begin(RunInfo{Unit: "U", Started: time.Unix(1e9, 0), Planned: 9, Soak: &Retention{First: 1}, Seed: new(uint64), Faults: []string{"a"},
		Calibrations: []capture.Calibration{{Output: "OUT1", Gain: 1}}})
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(run.Append(exampleCycle(1), exampleCycle(2)), run.Checkpoint(2, []byte("sum")), run.Interrupted(Interruption{After: 2, Resumed: time.Unix(1e9, 0)}),
		run.Finish(RunEnd{Ended: time.Unix(1e9, 1)})); err != nil {
		t.Fatal(err)
	}
	hand, err := sql.Open("sqlite", dsn(db.full, "synchronous(OFF)"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { hand.Close() })
	hand.SetMaxOpenConns(1)
	if _, err := hand.Exec(`PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = replace(replace(replace(sql, 'STRICT, WITHOUT', 'WITHOUT'), 'STRICT', ''), 'NOT NULL', '') WHERE type = 'table'; PRAGMA writable_schema = RESET`); err != nil {
		t.Fatal(err)
	}
	return db, hand
}

// readers read each part of a log.
func readers(db *DB) (errs []error) {
	all, err := db.Holdings()
	errs = append(errs, err, second(db.Runs()), second(db.nameOf("2001-09-09.1")), second(db.StrayCaptures(context.Background())), db.CheckReferences(context.Background()))
	for _, h := range all {
		if c, err := db.ReadRun(context.Background(), h.RunSummary); !errors.Is(err, ErrNoRun) {
			errs = append(errs, err, c.Err)
		}
	}
	rec, err := db.Find("last")
	if err != nil {
		return append(errs, err)
	}
	_, _, sum := rec.Checkpoint()
	_, _, kept := rec.CaptureCounts()
	return append(errs, lastError(rec.Measurements()), lastError(rec.Symptoms()), lastError(rec.CycleInfos()), second(rec.Interruptions()), second(rec.Calibrations()),
		second(rec.Machine()), sum, kept, second(rec.Captured()), second(rec.Stored()), second(rec.Capture(1)), second(rec.Last()), second(rec.FirstFailed()), second(rec.Limited()),
		second(db.Resume(rec.ID, time.Unix(1e9, 0), "")))
}

// A value of whatever type in whatever column is damage that is told in plain words, with
// table and column, or does no harm.
func TestRead_AnyType(t *testing.T) {
	t.Parallel()
	db, hand := loosened(t)
	values := []string{"'abc'", "''", "x'00ff'", "NULL", "-1", "9223372036854775807", "-9223372036854775808", "1e300", "0.5", "char(27) || '[31m'", "printf('%.*c', 100000, 'x')", "zeroblob(100000)", "'[]'"}
	if testing.Short() {
		values = values[:2]
	}
	named := 0
	for _, table := range append([]string{"run", "capture", "name", "log", "machine"}, runTables...) {
		columns, err := hand.Query("SELECT name FROM pragma_table_info(?)", table)
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		for columns.Next() {
			var name string
			if err := columns.Scan(&name); err != nil {
				t.Fatal(err)
			}
			names = append(names, name)
		}
		columns.Close()
		if _, err := hand.Exec("PRAGMA foreign_keys = OFF; DROP TABLE IF EXISTS kept; CREATE TEMP TABLE kept AS SELECT * FROM " + table); err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			for _, value := range values {
				where := fmt.Sprintf("%s.%s = %s", table, name, value)
				if _, err := hand.Exec(fmt.Sprintf("UPDATE OR FAIL %s SET %s = %s", table, name, value)); err != nil && strings.Contains(err.Error(), "syntax") {
					t.Fatal(where, err)
				}
				for _, err := range readers(db) {
					if err == nil {
						continue
					}
					if libraries.MatchString(err.Error()) {
						t.Errorf("%s: %v", where, err)
					}
					if !errors.Is(err, ErrCorrupt) && !errors.Is(err, ErrComplete) && !errors.Is(err, ErrPart) && !errors.Is(err, ErrNoRun) {
						t.Errorf("%s is no damage: %v", where, err)
					}
					if strings.Contains(err.Error(), fmt.Sprintf("table %s, column %q: it holds ", table, name)) {
						named++
					}
				}
				if _, err := hand.Exec(fmt.Sprintf("DELETE FROM %s; INSERT INTO %[1]s SELECT * FROM kept", table)); err != nil {
					t.Fatal(where, err)
				}
			}
		}
		if table == "run" { // its trigger has added some
			if _, err := hand.Exec("DELETE FROM name WHERE rowid NOT IN (SELECT min(rowid) FROM name)"); err != nil && !strings.Contains(err.Error(), "rowid") {
				t.Fatal(err)
			}
		}
	}
	if named < 100 {
		t.Errorf("table and column are named %d times", named)
	}
}

// A log whose tables are others is refused, with what is wrong.
func TestOpen_ChangedByHand(t *testing.T) {
	t.Parallel()
	for change, says := range map[string]string{
		"DROP TABLE calibration": "it has no table calibration",
		"PRAGMA foreign_keys = OFF; DROP TABLE symptom; CREATE VIEW symptom AS WITH RECURSIVE r (x) AS (SELECT 1 UNION ALL SELECT x FROM r) SELECT x AS run, x AS cycle FROM r": "it has no table symptom",
		"ALTER TABLE cycle RENAME COLUMN verdict TO result":                   "the table cycle is not as this program makes it",
		"ALTER TABLE run DROP COLUMN notes":                                   "the table run is not as this program makes it",
		"CREATE TRIGGER t AFTER INSERT ON cycle BEGIN DELETE FROM cycle; END": "it has a trigger t on a table of the log",
		"DROP TRIGGER run_name":                                               "it has no trigger run_name",
		"PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = replace(sql, 'STRICT, ', '') WHERE name = 'measurement'": "the table measurement is not as this program makes it",
		"PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = 'CREATE TABLE nonsense' WHERE name = 'measurement'":      "",
		"PRAGMA writable_schema = ON; DELETE FROM sqlite_schema":                                                              "",
		"CREATE TABLE mine (x); CREATE TRIGGER t AFTER INSERT ON mine BEGIN DELETE FROM mine; END; DROP VIEW figures":         "sound but for: it has no view figures",
	} {
		path := filepath.Join(t.TempDir(), "log.db")
		db, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		fill(t, db, 1)
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		hand, err := sql.Open("sqlite", dsn(path))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := hand.Exec(change); err != nil {
			t.Fatal(change, err)
		}
		if err := hand.Close(); err != nil {
			t.Fatal(err)
		}
		db, err = OpenRead(path)
		if err == nil {
			if says, sound := strings.CutPrefix(says, "sound but for: "); sound {
				if err := errors.Join(second(db.Runs()), second(db.Find("last"))); err != nil {
					t.Error(change, err)
				}
				if err := db.Check(); !errors.Is(err, ErrCorrupt) || !strings.Contains(err.Error(), says) {
					t.Error(change, err)
				}
			} else {
				t.Error(change, "is taken")
			}
			db.Close()
			continue
		}
		if !errors.Is(err, ErrCorrupt) || !strings.Contains(err.Error(), says) || libraries.MatchString(err.Error()) {
			t.Errorf("%s: %v", change, err)
		}
	}
}
