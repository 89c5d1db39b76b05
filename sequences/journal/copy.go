package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"makebreak/rig/problem"
)

// ErrNameTaken says that the other log holds or held another run of the same name.
var ErrNameTaken error = problem.New(problem.Storage, "it holds, or held, another run of that name")

// The tables that a run has rows in: those once a run, and those with the column that
// says which cycle a row belongs to. Rows can be stored in this order.
var (
	runTables   = []string{"point", "doubts", "doubt", "sign", "soak", "interruption", "checkpoint"}
	cycleTables = []struct{ name, cycle string }{{"cycle", "n"}, {"measurement", "cycle"}, {"symptom", "cycle"}}
)

// ErrDiffers says that the other log holds a run with other contents than it has here.
var ErrDiffers error = problem.New(problem.Storage, "each log holds something of that run that the other does not")

// CopyRun copies a run, its captures included, into the log at the path, which is
// made where there is none. The copy is on the disk and has as many rows of each
// kind as the run when CopyRun returns without an error; with one, the other log holds
// nothing of it, and is not there where it was not before. A part that cannot be removed,
// or was left by a program that was killed, says that it is one, and the next CopyRun
// begins it anew. A copy that is there
// already, whole, is left as it is; one from before the run went on is made anew. Of
// a run whose removal was cut off a whole copy must be there.
func (db *DB) CopyRun(id, path string) error {
	rec, err := db.Take(id)
	if err != nil {
		return err
	}
	full, err := realPath(path)
	if err != nil {
		return err
	}
	was := isThere(full)
	err = db.copyRun(rec, path)
	if err != nil {
		err = errors.Join(err, undoCopy(full, path, rec.ID, was))
	}
	return err
}

// undoCopy removes what a copy left that failed: the part of the run, and the log where it
// was made for it.
func undoCopy(full, path, id string, was bool) error {
	if !isThere(full) {
		return nil
	}
	other, err := Open(path)
	if err != nil {
		return nil // nothing was copied, or the error that led here tells of the trouble
	}
	if was {
		err = other.dropPart(id)
	} else {
		err = other.unmake(id)
	}
	if err != nil {
		err = fmt.Errorf("log %s: the part of run %s that was copied stays there, marked as one: %w", path, id, err)
	}
	return errors.Join(err, other.Close())
}

// dropPart removes a part of a run, and gives back the room that it took.
func (db *DB) dropPart(id string) error {
	part, err := db.Find(id)
	if errors.Is(err, ErrNoRun) || err == nil && part.State != Copying {
		return nil
	}
	if err != nil {
		return err
	}
	if err := db.dropRun(part.row, nil); err != nil {
		return err
	}
	return db.giveBack(func() bool { return true })
}

// unmake removes a log that holds nothing but a part of a run. Nobody else can write it
// meanwhile.
func (db *DB) unmake(id string) error {
	err := db.transact(func() error {
		var others int
		if err := db.queryRow("SELECT count(*) FROM run WHERE day || '.' || count <> ? OR state <> ?", []any{id, Copying}, &others); err != nil {
			return err
		}
		if others > 0 {
			return errOthers
		}
		clear(db.files[:]) // what goes now goes on purpose
		return errors.Join(os.Remove(db.full), removeBeside(db.full))
	})
	if errors.Is(err, errOthers) {
		return db.dropPart(id)
	}
	return err
}

var errOthers = errors.New("the log holds other runs")

// removeBeside removes the files that stand beside a log.
func removeBeside(full string) error {
	var errs []error
	beside := []string{reserveOf(full), locksOf(full)}
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

func (db *DB) copyRun(rec *RunRecord, path string) error {
	doing := "copy run " + rec.ID
	there, err := db.makeWay(rec, path)
	if err == nil && there == nil && rec.State.Partial() {
		err = fmt.Errorf("%w, and it is not in this log; name the log that it was being moved into, or remove the rest without --into", ErrPart)
	}
	if err != nil {
		return fmt.Errorf("log %s: %s: %w", path, doing, err)
	}
	if there != nil && rec.State.Partial() {
		return nil
	}
	if there != nil {
		var old bool
		err := db.beside(path, func(c *copier) (err error) {
			old, err = c.older(rec.row, there.row)
			return err
		})
		if err != nil || !old {
			return failAt(path, doing, err)
		}
		if err := dropCopy(path, there.ID); err != nil {
			return fmt.Errorf("log %s: %s: %w", path, doing, err)
		}
	}
	return failAt(path, doing, db.beside(path, func(c *copier) error { return c.run(rec.row) }))
}

// beside lets f work with the log at the path attached as kept.
func (db *DB) beside(path string, f func(*copier) error) error {
	db.mu.Lock()
	defer db.mu.Unlock()
	if err := db.writable(); err != nil {
		return err
	}
	c := &copier{db: db}
	if err := c.exec("ATTACH ? AS kept", path); err != nil {
		return err
	}
	err := c.exec("PRAGMA kept.synchronous = FULL")
	if err == nil {
		err = f(c)
	}
	return errors.Join(err, c.exec("DETACH kept"))
}

// makeWay prepares the other log: it is opened as one, and a part of the run that an
// earlier copy left is removed. It returns the run where it is there already.
func (db *DB) makeWay(rec *RunRecord, path string) (there *RunRecord, err error) {
	other, err := Open(path)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, other.Close()) }()
	if a, e := os.Stat(path); e == nil {
		if b, e := os.Stat(db.path); e == nil && os.SameFile(a, b) {
			return nil, problem.New(problem.Usage, "that is this log itself")
		}
	}
	if err := other.free(rec); err != nil {
		return nil, err
	}
	old, err := other.Find(rec.ID)
	switch {
	case errors.Is(err, ErrNoRun):
		return nil, nil
	case err != nil:
		return nil, err
	case old.State.Partial():
		return nil, other.dropRun(old.row, nil)
	}
	return old, nil
}

// free says whether a run's name may be given to it in this log: it is new here or was this
// run's already.
func (db *DB) free(rec *RunRecord) error {
	var taken bool
	err := db.read.QueryRow("SELECT EXISTS (SELECT 1 FROM name WHERE day || '.' || count = ? AND (started <> ? OR unit <> ?))",
		rec.ID, rec.Started.UnixNano(), rec.Unit).Scan(&taken)
	if err == nil && taken {
		err = ErrNameTaken
	}
	return err
}

// dropCopy removes a copy that is to be made anew. It says from the start that it is a part.
func dropCopy(path, id string) (err error) {
	other, err := Open(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, other.Close()) }()
	old, err := other.Find(id)
	if err != nil {
		return err
	}
	return other.dropRun(old.row, nil)
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

func (c *copier) run(from int64) error {
	c.from = from
	for _, step := range []func() error{c.head, c.cycles, c.verify, c.finish} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// older reports whether a copy lacks something, as one from before the run went on does;
// else all of the run is in it. A copy that has more of something else (captures that were
// pruned here) gives ErrDiffers: it must not be lost.
func (c *copier) older(from, to int64) (old bool, err error) {
	c.from, c.to = from, to
	differ, err := c.number("SELECT NOT EXISTS (SELECT ended, verdict, complete, reason FROM main.run WHERE id = ? INTERSECT SELECT ended, verdict, complete, reason FROM kept.run WHERE id = ?)", from, to)
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
		if b > a && !(old && k == captureBytes) { // a soak lets go of some captures as it goes
			extra = fmt.Sprintf("%d %s there, %d here", b, k.name, a)
		}
		old = old || a > b
	}
	if old && extra != "" {
		return false, fmt.Errorf("%w: %s; name another file with --into, or remove the run here without --into", ErrDiffers, extra)
	}
	return old, nil
}

// transact runs f in one transaction of the other log.
func (c *copier) transact(f func() error) error {
	if err := c.exec("BEGIN"); err != nil {
		return err
	}
	err := f()
	if err == nil {
		err = c.exec("COMMIT")
	}
	if err != nil {
		_ = c.exec("ROLLBACK") // it may have ended already; the first error says why
	}
	return err
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

// head copies the run's own row, marked as a part, and what stands once a run.
func (c *copier) head() error {
	return c.transact(func() error {
		err := c.insert("run", map[string]string{"id": "NULL"}, "id = ?", c.from) // a number of its own
		if err != nil {
			return err
		}
		if c.to, err = c.number("SELECT last_insert_rowid()"); err != nil {
			return err
		}
		if err := c.exec("UPDATE kept.run SET complete = 0, state = ? WHERE id = ?", Copying, c.to); err != nil {
			return err
		}
		for _, table := range runTables {
			if err := c.insert(table, itsRun, "run = ?2", c.to, c.from); err != nil {
				return err
			}
		}
		return nil
	})
}

// itsRun puts the run's number in the other log, the first mark, in place of its own.
var itsRun = map[string]string{"run": "?1"}

// cycles copies the run's cycles, some in each transaction.
func (c *copier) cycles() error {
	last, err := c.number("SELECT coalesce(max(n), 0) FROM main.cycle WHERE run = ?", c.from)
	if err != nil {
		return err
	}
	// Captures get numbers beyond all that the other log has.
	beyond, err := c.number("SELECT coalesce(max(id), 0) FROM kept.capture")
	if err != nil {
		return err
	}
	for first := int64(1); first <= last; first += pruneBatch {
		err := c.transact(func() error { return c.batch(first, first+pruneBatch-1, beyond) })
		if err != nil {
			return err
		}
	}
	return nil
}

func (c *copier) batch(first, last, beyond int64) error {
	const captures = "id IN (SELECT capture FROM main.cycle WHERE run = ?2 AND n BETWEEN ?3 AND ?4 AND capture IS NOT NULL)"
	err := c.insert("capture", map[string]string{"id": "id + ?1"}, captures, beyond, c.from, first, last)
	if err != nil {
		return err
	}
	for _, t := range cycleTables {
		instead, args := itsRun, []any{c.to, c.from, first, last}
		if t.name == "cycle" {
			instead, args = map[string]string{"run": "?1", "capture": "capture + ?5"}, append(args, beyond)
		}
		if err := c.insert(t.name, instead, "run = ?2 AND "+t.cycle+" BETWEEN ?3 AND ?4", args...); err != nil {
			return err
		}
	}
	return nil
}

// kind is something of which a run has a number; text counts it, in the log %s.
type kind struct{ name, text string }

// kinds are the rows of all tables, and the captures.
func kinds() []kind {
	tables := slices.Clone(runTables)
	for _, t := range cycleTables {
		tables = append(tables, t.name)
	}
	var all []kind
	for _, table := range tables {
		all = append(all, kind{"rows of " + table, "SELECT count(*) FROM %s." + table + " WHERE run = ?"})
	}
	return append(all, kind{"captures", "SELECT count(capture) FROM %s.cycle WHERE run = ?"})
}

var captureBytes = kind{"bytes of captures", "SELECT coalesce(sum(length(bytes)), 0) FROM %s.capture WHERE id IN (SELECT capture FROM %[1]s.cycle WHERE run = ?)"}

// verify compares how much of each kind both logs have of the run.
func (c *copier) verify() error {
	for _, k := range append(kinds(), captureBytes) {
		a, b, err := c.both(k)
		if err != nil {
			return err
		}
		if a != b {
			return fmt.Errorf("%w: the copy has %d %s, the run %d", ErrCorrupt, b, k.name, a)
		}
	}
	return nil
}

// both counts in the run and in its copy.
func (c *copier) both(k kind) (run, copied int64, err error) {
	if run, err = c.number(fmt.Sprintf(k.text, "main"), c.from); err != nil {
		return 0, 0, err
	}
	copied, err = c.number(fmt.Sprintf(k.text, "kept"), c.to)
	return run, copied, err
}

// finish takes the mark off.
func (c *copier) finish() error {
	return c.transact(func() error {
		return c.exec("UPDATE kept.run SET (complete, state) = (SELECT complete, state FROM main.run WHERE id = ?) WHERE id = ?", c.from, c.to)
	})
}
