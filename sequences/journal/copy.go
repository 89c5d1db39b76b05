package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"makebreak/rig/problem"
)

// ErrNameTaken says that the other log holds or held another run of the same name.
var ErrNameTaken error = problem.New(problem.Storage, "it holds, or held, another run of that name")

// runTables are the tables that a run has rows in. Rows can be stored in this order and
// removed in the opposite one.
var runTables = []string{"point", "doubts", "doubt", "sign", "soak", "interruption", "checkpoint", "calibration", "machine", "ending", "converter_count", "field", "field_change", "reference", "signature", "cycle", "measurement", "symptom"}

// ErrDiffers says that the other log holds a run with other contents than it has here.
var ErrDiffers error = problem.New(problem.Storage, "each log holds something of that run that the other does not")

// CopyRun copies a run, its captures included, into the log at the path, which is
// made where there is none. The copy is on the disk when CopyRun returns without an error;
// with one, the other log is as it was, and is not there where it was not before. A
// complete copy that is there already is left as it is; one from before the run went on, or
// a part of one, is replaced. Of a run whose removal was cut off a complete copy must be
// there. The copy has the run's own name, unless another run has or had it in that log: see
// copyName.
func (db *DB) CopyRun(id, path string) (name string, err error) {
	name, _, err = db.copyRun(id, path)
	return name, err
}

// Copied says what became of a copy.
type Copied int

// The copy is new, it was there and lacked something, or all of it was there.
const (
	CopyMade Copied = iota
	CopyRenewed
	CopyThere
)

// copyRun is CopyRun, and says what became of the copy.
func (db *DB) copyRun(id, path string) (name string, what Copied, err error) {
	find := db.Lock
	if db.copy != "" {
		find = db.Find // nobody else has it
	}
	rec, err := find(id)
	if err != nil {
		return "", 0, err
	}
	full, err := realPath(path)
	if err != nil {
		return "", 0, err
	}
	existed := exists(full)
	name, what, err = db.copyTo(rec, path)
	err = failAt(path, "copy run "+rec.ID, err)
	if err != nil && !existed && exists(full) {
		err = errors.Join(err, removeEmpty(path))
	}
	return name, what, err
}

// removeEmpty removes a log that was made for a copy which failed, unless another program
// has begun to use it.
func removeEmpty(path string) error {
	db, err := Open(path)
	if err != nil {
		return nil // the error that led here says what is wrong
	}
	err = db.transact(func() error { // nobody else can write it meanwhile
		var runs int
		if err := db.queryRow("SELECT count(*) FROM run", nil, &runs); err != nil || runs > 0 {
			return err
		}
		clear(db.files[:]) // they go on purpose
		return errors.Join(os.Remove(db.full), removeBeside(db.full))
	})
	return errors.Join(err, db.Close())
}

// removeBeside removes the files that stand beside a log.
func removeBeside(full string) error {
	var errs []error
	beside := append([]string{reserveOf(full), locksOf(full)}, heldInodes(full)...)
	for _, end := range fileEnds[1:] {
		beside = append(beside, full+end)
	}
	for _, name := range beside {
		if err := os.Remove(name); !errors.Is(err, os.ErrNotExist) {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}

func (db *DB) copyTo(rec *RunRecord, path string) (name string, what Copied, err error) {
	there, series, err := db.copyAt(rec, path)
	if err != nil {
		return "", 0, err
	}
	_, count := rec.series()
	name = fmt.Sprintf("%s.%d", series, count)
	if rec.State.Partial() {
		if there == nil || there.State.Partial() {
			return "", 0, fmt.Errorf("%w, and it is not in this log; name the log that it was being moved into, or remove the rest without --into", ErrPart)
		}
		return name, CopyThere, nil
	}
	err = db.attached(path, func(c *copier) error {
		what, err = c.copy(rec, there, series)
		return err
	})
	return name, what, err
}

// copyAt opens the other log, which brings its schema up to date, and finds the copy that
// it holds, nil where none, and the series that it has or is to have.
func (db *DB) copyAt(rec *RunRecord, path string) (there *RunRecord, series string, err error) {
	other, err := Open(path)
	if err != nil {
		return nil, "", err
	}
	defer func() { err = errors.Join(err, other.Close()) }()
	if a, e := os.Stat(path); e == nil {
		if b, e := os.Stat(db.path); e == nil && os.SameFile(a, b) {
			return nil, "", problem.New(problem.Usage, "that is this log itself")
		}
	}
	if series, err = other.copyName(rec); err != nil {
		return nil, "", err
	}
	there, err = other.find(rec.ID, "uuid = ?", rec.UUID)
	if errors.Is(err, ErrNoRun) {
		return nil, series, nil
	}
	return there, series, err
}

// copyName returns the series under which a run of another log stands in this one: that
// which it has or had here, else its own, and where another run has or had that name, its
// own with a word that is made of its UUID.
func (db *DB) copyName(rec *RunRecord) (series string, err error) {
	err = db.row("SELECT series FROM name WHERE uuid = ?", rec.UUID).scan("name", &series)
	if !errors.Is(err, sql.ErrNoRows) {
		return series, err
	}
	own, count := rec.series()
	for _, series := range []string{own, own + "-" + wordOf(rec.UUID)} {
		var taken bool
		err := db.read.QueryRow("SELECT EXISTS (SELECT 1 FROM name WHERE series = ? AND count = ?)", series, count).Scan(&taken)
		if err != nil || !taken {
			return series, err
		}
	}
	return "", ErrNameTaken
}

// attached lets f work in one transaction with the log at the path attached as kept. Only
// that log may be written.
func (db *DB) attached(path string, f func(*copier) error) error {
	db.mu.Lock()
	defer db.mu.Unlock()
	if err := db.writable(); err != nil && (db.copy == "" || db.write == nil) { // a copy's connection can attach
		return err
	}
	c := &copier{db: db}
	if err := c.exec("ATTACH ? AS kept", path); err != nil {
		return err
	}
	err := c.exec("PRAGMA kept.synchronous = FULL")
	if err == nil {
		err = c.transact(func() error { return f(c) })
	}
	return errors.Join(err, c.exec("DETACH kept"))
}

// copier copies one run from the main log into the one attached as kept.
type copier struct {
	db       *DB
	from, to int64 // row numbers of the run
}

func (c *copier) exec(text string, args ...any) error {
	_, err := c.db.write.ExecContext(context.Background(), text, args...)
	return err
}

func (c *copier) number(text string, args ...any) (n int64, err error) {
	err = c.db.write.QueryRowContext(context.Background(), text, args...).Scan(&n)
	return n, err
}

// transact runs f in a transaction that writes the other log from the start, and reads
// this one.
func (c *copier) transact(f func() error) error {
	if err := c.exec("BEGIN"); err != nil {
		return err
	}
	err := c.exec("DELETE FROM kept.run WHERE FALSE")
	if err == nil {
		err = f()
	}
	if err == nil {
		err = c.exec("COMMIT")
	}
	if err != nil {
		_ = c.exec("ROLLBACK") // it may have ended already; the first error says why
	}
	return err
}

// copy stores a run, in place of the copy that is there, where that lacks something.
func (c *copier) copy(rec, there *RunRecord, series string) (Copied, error) {
	c.from = rec.row
	if there == nil {
		return CopyMade, c.store(series)
	}
	c.to = there.row
	if !there.State.Partial() {
		if old, err := c.older(); err != nil || !old {
			return CopyThere, err
		}
	}
	if err := c.drop(); err != nil {
		return CopyRenewed, err
	}
	return CopyRenewed, c.store(series)
}

// store stores the run, of which nothing is there.
func (c *copier) store(series string) error {
	if err := c.insert("run", map[string]string{"id": "NULL", "series": "?1"}, "id = ?2", series, c.from); err != nil { // a number of its own
		return err
	}
	var err error
	if c.to, err = c.number("SELECT last_insert_rowid()"); err != nil {
		return err
	}
	// Captures get numbers beyond all that the other log has.
	beyond, err := c.number("SELECT coalesce(max(id), 0) FROM kept.capture")
	if err != nil {
		return err
	}
	if err := c.insert("capture", map[string]string{"id": "id + ?1"}, "id IN (SELECT capture FROM main.cycle WHERE run = ?2 AND capture IS NOT NULL)", beyond, c.from); err != nil {
		return err
	}
	for _, table := range runTables {
		instead, args := map[string]string{"run": "?1"}, []any{c.to, c.from}
		if table == "cycle" {
			instead["capture"], args = "capture + ?3", append(args, beyond)
		}
		if err := c.insert(table, instead, "run = ?2", args...); err != nil {
			return err
		}
	}
	return c.exec(fewerReferences("kept"))
}

// drop removes the copy that is there.
func (c *copier) drop() error {
	// Captures go first, while it is known which they are.
	if err := c.exec("PRAGMA defer_foreign_keys = ON"); err != nil {
		return err
	}
	if err := c.exec("DELETE FROM kept.capture WHERE id IN (SELECT capture FROM kept.cycle WHERE run = ? AND capture IS NOT NULL)", c.to); err != nil {
		return err
	}
	for _, table := range slices.Backward(runTables) {
		if err := c.exec("DELETE FROM kept."+table+" WHERE run = ?", c.to); err != nil {
			return err
		}
	}
	return c.exec("DELETE FROM kept.run WHERE id = ?", c.to)
}

// older reports whether a copy lacks something, as one from before the run went on does;
// else all of the run is in it. A copy that has more of something else (captures that were
// pruned here) gives ErrDiffers: it must not be lost.
func (c *copier) older() (old bool, err error) {
	differ, err := c.number("SELECT NOT EXISTS (SELECT ended, verdict, complete, reason FROM main.run WHERE id = ? INTERSECT SELECT ended, verdict, complete, reason FROM kept.run WHERE id = ?)", c.from, c.to)
	if err != nil {
		return false, err
	}
	old = differ != 0
	extra := ""
	for _, k := range append(kinds(), captureBytes) {
		a, b, err := c.both(k)
		if err != nil {
			return false, err
		}
		if b > a && !(old && k == captureBytes) { // a soak drops some captures as it goes
			extra = fmt.Sprintf("%d %s there, %d here", b, k.name, a)
		}
		old = old || a > b
	}
	if old && extra != "" {
		return false, fmt.Errorf("%w: %s; name another file with --into, or remove the run here without --into", ErrDiffers, extra)
	}
	return old, nil
}

// insert copies the rows of a table that the condition picks, each column as it is
// but for those that instead names another value for. Its marks come first in args.
func (c *copier) insert(table string, instead map[string]string, where string, args ...any) error {
	names, err := c.columns(table)
	if err != nil {
		return err
	}
	values := slices.Clone(names)
	for i, name := range names {
		if v, ok := instead[name]; ok {
			values[i] = v
		}
	}
	return c.exec("INSERT INTO kept."+table+" ("+strings.Join(names, ", ")+") SELECT "+strings.Join(values, ", ")+
		" FROM main."+table+" WHERE "+where, args...)
}

// columns lists a table's columns: those that a later schema adds are copied too.
func (c *copier) columns(table string) ([]string, error) {
	rows, err := c.db.write.QueryContext(context.Background(), "SELECT name FROM pragma_table_info(?)", table)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var names []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return nil, err
		}
		names = append(names, name)
	}
	return names, rows.Err()
}

// kind is something of which a run has a number; text counts it, in the log %s.
type kind struct{ name, text string }

// kinds are the rows of all tables, and the captures.
func kinds() []kind {
	all := make([]kind, 0, len(runTables)+1)
	for _, table := range runTables {
		all = append(all, kind{"rows of " + table, "SELECT count(*) FROM %s." + table + " WHERE run = ?"})
	}
	return append(all, kind{"captures", "SELECT count(capture) FROM %s.cycle WHERE run = ?"})
}

var captureBytes = kind{"bytes of captures", "SELECT coalesce(sum(length(bytes)), 0) FROM %s.capture WHERE id IN (SELECT capture FROM %[1]s.cycle WHERE run = ?)"}

// both counts in the run and in its copy.
func (c *copier) both(k kind) (run, copied int64, err error) {
	if run, err = c.number(fmt.Sprintf(k.text, "main"), c.from); err != nil {
		return 0, 0, err
	}
	copied, err = c.number(fmt.Sprintf(k.text, "kept"), c.to)
	return run, copied, err
}
