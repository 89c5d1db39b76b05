package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"makebreak/rig/capture"
)

// Check reads the whole file and reports what is damaged; nil: nothing is.
func (db *DB) Check() error {
	for _, check := range []func(context.Context) error{db.CheckFile, db.CheckReferences} {
		if err := check(context.Background()); err != nil {
			return err
		}
	}
	return nil
}

// CheckFile reads the whole file and reports pages and indexes that are damaged or lost, and
// rows that are not of their table's form; nil: none are.
func (db *DB) CheckFile(ctx context.Context) error {
	err := db.check(ctx, "PRAGMA integrity_check(10)")
	if err == nil {
		err = db.checkViews(ctx)
	}
	return db.fail("check", err)
}

// CheckReferences reports rows that refer to others that are not there; nil: none do.
func (db *DB) CheckReferences(ctx context.Context) error {
	return db.fail("check", db.check(ctx, `SELECT DISTINCT 'rows of ' || "table" || ' refer to a ' || parent || ' that is not there' FROM pragma_foreign_key_check`))
}

// CheckPages reads the whole file and reports pages that are damaged or lost; nil: none
// are. It takes a fraction of CheckFile's time, as it does not look up what indexes hold.
func (db *DB) CheckPages(ctx context.Context) error {
	return db.fail("check", db.check(ctx, "PRAGMA quick_check(10)"))
}

// check runs a query whose rows say what is wrong; "ok" says that nothing is.
func (db *DB) check(ctx context.Context, query string) error {
	rows, err := db.read.QueryContext(ctx, query)
	if err != nil {
		return err
	}
	defer rows.Close()
	var found []string
	for rows.Next() && len(found) < 10 {
		line, err := textRow(rows)
		if err != nil {
			return err
		}
		line = strings.TrimPrefix(line, "*** in database main ***\n")
		if line != "ok" {
			found = append(found, line)
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	if len(found) > 0 {
		return fmt.Errorf("%w: %s", ErrCorrupt, strings.Join(found, "; "))
	}
	return nil
}

// textRow returns a row's columns as one text.
func textRow(rows *sql.Rows) (string, error) {
	names, err := rows.Columns()
	if err != nil {
		return "", err
	}
	cells := make([]sql.NullString, len(names))
	into := make([]any, len(names))
	for i := range cells {
		into[i] = &cells[i]
	}
	if err := rows.Scan(into...); err != nil {
		return "", err
	}
	words := make([]string, len(cells))
	for i, c := range cells {
		words[i] = c.String
	}
	return strings.Join(words, " "), nil
}

// Contents are what a check has read of a run.
type Contents struct {
	Run      string
	Partial  bool // its copying or its removal was cut off
	Cycles   int  // complete or not
	Figures  int
	Captures int
	Err      error // what is wrong, or cannot be read; nil: nothing
}

// ReadRun reads all that the log holds of a run, as reports do, and checks that nothing in
// between is missing. The run may go on meanwhile; ErrNoRun: it was removed.
func (db *DB) ReadRun(ctx context.Context, run RunSummary) (c Contents, err error) {
	c.Run, c.Partial = run.Run, run.State.Partial()
	// By its number it is found at once; by its name all runs would be searched for each.
	rec, err := db.find(run.Run, "id = ? AND "+hasName, run.row, run.Run)
	if errors.Is(err, ErrNoRun) {
		return c, err
	}
	if c.Err = err; err == nil {
		c.Err = c.read(ctx, rec)
	}
	return c, ctx.Err()
}

func (c *Contents) read(ctx context.Context, rec *RunRecord) error {
	for _, rule := range rules {
		if err := rec.checkRule(ctx, rule); err != nil {
			return err
		}
	}
	for _, err := range rec.Measurements() {
		if err = errors.Join(err, ctx.Err()); err != nil {
			return err
		}
		c.Figures++
	}
	for _, err := range rec.Symptoms() {
		if err = errors.Join(err, ctx.Err()); err != nil {
			return err
		}
	}
	var captured []int
	for info, err := range rec.CycleInfos() {
		if err = errors.Join(err, ctx.Err()); err != nil {
			return err
		}
		c.Cycles++
		if info.HasCapture {
			captured = append(captured, info.N)
		}
	}
	for _, n := range captured {
		if err := errors.Join(rec.readCapture(n), ctx.Err()); err != nil {
			return err
		}
		c.Captures++
	}
	if _, err := rec.Interruptions(); err != nil {
		return err
	}
	if _, err := rec.Calibrations(); err != nil {
		return err
	}
	if _, err := rec.Machine(); err != nil {
		return err
	}
	_, err := rec.FieldChanges()
	if err != nil {
		return err
	}
	_, err = rec.Signatures()
	return err
}

// readCapture unpacks a cycle's capture, where it is still kept.
func (rec *RunRecord) readCapture(n int) error {
	b, err := rec.Capture(n)
	if err != nil || b == nil {
		return err
	}
	var c capture.Capture
	if err := c.UnmarshalBinary(b); err != nil {
		return rec.fail("check", fmt.Errorf("%w: the capture of cycle %d: %w", ErrCorrupt, n, err))
	}
	return nil
}

// rule is what a run's rows must satisfy: the query, for the run's number, yields where they
// do not.
type rule struct{ broken, query string }

var rules = []rule{
	{"its name is not kept", `SELECT 'name' FROM run WHERE id = ?1 AND NOT EXISTS (SELECT 1 FROM name n WHERE n.series = run.series AND n.count = run.count AND n.uuid = run.uuid)`},
	{"cycles are missing", `SELECT 'of ' || max(n) || ' there are ' || count(*) FROM cycle WHERE run = ?1 HAVING count(*) > 0 AND (min(n) <> 1 OR max(n) <> count(*))`},
	{"figures are missing", `SELECT 'of cycle ' || cycle FROM measurement WHERE run = ?1 GROUP BY cycle HAVING min(seq) <> 0 OR max(seq) + 1 <> count(*) LIMIT 1`},
	{"symptoms are missing", `SELECT 'of cycle ' || cycle FROM symptom WHERE run = ?1 GROUP BY cycle HAVING min(seq) <> 0 OR max(seq) + 1 <> count(*) LIMIT 1`},
	{"doubts are missing", `SELECT 'of list ' || doubts FROM doubt WHERE run = ?1 GROUP BY doubts HAVING min(seq) <> 0 OR max(seq) + 1 <> count(*) LIMIT 1`},
	{"interruptions are missing", `SELECT 'of ' || (max(seq) + 1) || ' there are ' || count(*) FROM interruption WHERE run = ?1 HAVING count(*) > 0 AND (min(seq) <> 0 OR max(seq) + 1 <> count(*))`},
	{"calibrations are missing", `SELECT 'from cycle ' || since || ' on' FROM calibration WHERE run = ?1 GROUP BY since HAVING min(seq) <> 0 OR max(seq) + 1 <> count(*) LIMIT 1`},
	{"facts of the computer are missing", `SELECT 'of ' || (max(seq) + 1) || ' there are ' || count(*) FROM machine WHERE run = ?1 HAVING count(*) > 0 AND (min(seq) <> 0 OR max(seq) + 1 <> count(*))`},
	{"fields are missing", `SELECT 'of ' || (max(seq) + 1) || ' there are ' || count(*) FROM field WHERE run = ?1 HAVING count(*) > 0 AND (min(seq) <> 0 OR max(seq) + 1 <> count(*))`},
	{"changes of fields are missing", `SELECT 'of ' || (max(seq) + 1) || ' there are ' || count(*) FROM field_change WHERE run = ?1 HAVING count(*) > 0 AND (min(seq) <> 0 OR max(seq) + 1 <> count(*))`},
	{"signatures are missing", `SELECT 'of ' || (max(seq) + 1) || ' there are ' || count(*) FROM signature WHERE run = ?1 HAVING count(*) > 0 AND (min(seq) <> 0 OR max(seq) + 1 <> count(*))`},
	{"captures are another's, too", `SELECT 'of cycle ' || n FROM cycle c WHERE run = ?1 AND capture IS NOT NULL AND (SELECT count(*) FROM cycle o WHERE o.capture = c.capture) <> 1 LIMIT 1`},
}

// checkRule reports where a rule is broken.
func (rec *RunRecord) checkRule(ctx context.Context, r rule) error {
	var where string
	err := oneOf(rec.db.read.QueryContext(ctx, r.query, rec.row)).scan("run", &where)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil
	case err != nil:
		return rec.fail("check", err)
	}
	return rec.fail("check", fmt.Errorf("%w: %s: %s", ErrCorrupt, r.broken, where))
}

// StrayCaptures counts captures that belong to no cycle.
func (db *DB) StrayCaptures(ctx context.Context) (n int, err error) {
	err = db.read.QueryRowContext(ctx, "SELECT count(*) FROM capture WHERE id NOT IN (SELECT capture FROM cycle WHERE capture IS NOT NULL)").Scan(&n)
	return n, db.fail("check", err)
}
