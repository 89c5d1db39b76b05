package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
)

// ErrNameTaken says that the other log holds another run of the same name.
var ErrNameTaken = errors.New("it holds another run of that name")

// The tables that a run has rows in: those once a run, and those with the column that
// says which cycle a row belongs to. Rows can be stored in this order.
var (
	runTables   = []string{"point", "reason", "sign", "soak", "interruption", "checkpoint"}
	cycleTables = []struct{ name, cycle string }{{"cycle", "n"}, {"measurement", "cycle"}, {"symptom", "cycle"}}
)

// copying is the reason that a run bears in the other log until all of it is there.
const copying = "being copied into this log"

// CopyRun copies a run, its captures included, into the log at the path, which is
// made where there is none. The copy is on the disk and has as many rows of each
// kind as the run when CopyRun returns without an error; with one, what is there
// says that it is a part, and the next CopyRun begins it anew. A run that is there
// already, whole, is left as it is.
func (db *DB) CopyRun(id, path string) error {
	rec, err := db.Find(id)
	if err != nil {
		return err
	}
	there, err := db.makeWay(rec, path)
	if err != nil {
		return fmt.Errorf("log %s: copy run %s: %w", path, rec.ID, err)
	}
	db.mu.Lock()
	defer db.mu.Unlock()
	if db.stmts == nil {
		return db.fail("copy run "+rec.ID, errors.New("it is closed"))
	}
	c := copier{db: db, from: rec.row}
	if err := c.exec("ATTACH ? AS kept", path); err != nil {
		return failAt(path, "open", err)
	}
	err = c.run(there)
	return failAt(path, "copy run "+rec.ID, errors.Join(err, c.exec("DETACH kept")))
}

// makeWay prepares the other log: it is opened as one, and a part of the run that an
// earlier copy left is removed. It says whether the run is there already.
func (db *DB) makeWay(rec *RunRecord, path string) (there bool, err error) {
	other, err := Open(path)
	if err != nil {
		return false, err
	}
	defer func() { err = errors.Join(err, other.Close()) }()
	if a, e := os.Stat(path); e == nil {
		if b, e := os.Stat(db.path); e == nil && os.SameFile(a, b) {
			return false, errors.New("that is this log itself")
		}
	}
	old, err := other.Find(rec.ID)
	switch {
	case errors.Is(err, ErrNoRun):
		return false, nil
	case err != nil:
		return false, err
	case !old.Started.Equal(rec.Started) || old.Unit != rec.Unit:
		return false, ErrNameTaken
	case old.Reason == copying:
		return false, other.DropRun(rec.ID)
	}
	return true, nil
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

func (c *copier) run(there bool) (err error) {
	if err := c.exec("PRAGMA kept.synchronous = FULL"); err != nil {
		return err
	}
	if there {
		const same = "SELECT b.id FROM main.run a JOIN kept.run b ON b.day = a.day AND b.count = a.count WHERE a.id = ?"
		if c.to, err = c.number(same, c.from); err != nil {
			return err
		}
		return c.verify()
	}
	for _, step := range []func() error{c.head, c.cycles, c.verify, c.finish} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
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
		if err := c.exec("UPDATE kept.run SET complete = 0, reason = ? WHERE id = ?", copying, c.to); err != nil {
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

// verify compares how many rows of each kind both logs have of the run, and how many
// bytes of captures.
func (c *copier) verify() error {
	tables := slices.Clone(runTables)
	for _, t := range cycleTables {
		tables = append(tables, t.name)
	}
	for _, table := range tables {
		if err := c.same("rows of "+table, "SELECT count(*) FROM %s."+table+" WHERE run = ?"); err != nil {
			return err
		}
	}
	return c.same("bytes of captures", "SELECT coalesce(sum(length(bytes)), 0) FROM %s.capture WHERE id IN (SELECT capture FROM %[1]s.cycle WHERE run = ?)")
}

func (c *copier) same(what, text string) error {
	a, err := c.number(fmt.Sprintf(text, "main"), c.from)
	if err != nil {
		return err
	}
	b, err := c.number(fmt.Sprintf(text, "kept"), c.to)
	if err == nil && a != b {
		err = fmt.Errorf("%w: the copy has %d %s, the run %d", ErrCorrupt, b, what, a)
	}
	return err
}

// finish takes the mark off.
func (c *copier) finish() error {
	return c.transact(func() error {
		return c.exec("UPDATE kept.run SET (complete, reason) = (SELECT complete, reason FROM main.run WHERE id = ?) WHERE id = ?", c.from, c.to)
	})
}
