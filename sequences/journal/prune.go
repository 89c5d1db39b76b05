package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"time"
)

// Holding is what a run takes up in the log.
type Holding struct {
	RunSummary
	Touched      time.Time // its end, or the beginning of its last cycle
	Ended        bool      // false: it goes on, or was cut off
	Captures     int
	CaptureBytes int64
	Bytes        int64 // in all, captures included; about
}

// Holdings returns what each run takes up, the oldest first. It reads through the
// log's indexes, which takes some seconds in a log of gigabytes.
func (db *DB) Holdings() ([]Holding, error) {
	all, err := db.holdings()
	return all, db.fail("add up the runs", err)
}

func (db *DB) holdings() ([]Holding, error) {
	rows, err := db.read.Query("SELECT " + summaryColumns + `, ended,
		(SELECT max(started) FROM cycle WHERE run = run.id AND n = (SELECT max(n) FROM cycle WHERE run = run.id)),
		(SELECT count(*) FROM measurement WHERE run = run.id),
		(SELECT count(*) FROM cycle WHERE run = run.id AND capture IS NOT NULL),
		(SELECT coalesce(sum(length(k.bytes)), 0) FROM cycle c JOIN capture k ON k.id = c.capture WHERE c.run = run.id AND c.capture IS NOT NULL)
		FROM run ORDER BY id`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []Holding
	var figures []int64
	total, captures := int64(0), int64(0)
	for rows.Next() {
		var h Holding
		var ended, last sql.NullInt64
		var n int64
		h.RunSummary, err = scanSummary(rows.Scan, &ended, &last, &n, &h.Captures, &h.CaptureBytes)
		if err != nil {
			return nil, err
		}
		h.Touched, h.Ended = h.Started, ended.Valid
		if last.Valid {
			h.Touched = timeOf(last)
		}
		if ended.Valid {
			h.Touched = timeOf(ended)
		}
		all, figures = append(all, h), append(figures, n)
		total, captures = total+n, captures+h.CaptureBytes
	}
	if err := rows.Err(); err != nil {
		return nil, err
	}
	size, err := db.Size()
	if err != nil {
		return nil, err
	}
	for i := range all {
		all[i].Bytes = all[i].CaptureBytes
		if total > 0 {
			all[i].Bytes += int64(float64(max(0, size-captures)) * float64(figures[i]) / float64(total))
		}
	}
	return all, nil
}

// pruneBatch is how many cycles are pruned in one transaction, so that another
// program that writes the log never waits long.
const pruneBatch = 2000

// DropCaptures removes a run's captures. Its figures stay.
func (db *DB) DropCaptures(id string) error {
	rec, err := db.Find(id)
	if err != nil {
		return err
	}
	for left := true; left; {
		err := db.transact(func() (err error) {
			left, err = db.dropCaptures(rec.row)
			return err
		})
		if err != nil {
			return db.fail("remove the captures of run "+rec.ID, err)
		}
	}
	return nil
}

// dropCaptures removes some of a run's captures and says whether there were any. It
// runs inside a transaction.
func (db *DB) dropCaptures(run int64) (some bool, err error) {
	const these = "SELECT capture FROM cycle WHERE run = ?1 AND capture IS NOT NULL ORDER BY n LIMIT ?2"
	if err := db.queryRow("SELECT EXISTS ("+these+")", []any{run, pruneBatch}, &some); err != nil || !some {
		return some, err
	}
	// The cycles must let go first; what they held is remembered by a table of this
	// connection's own.
	for _, text := range []string{"CREATE TEMP TABLE IF NOT EXISTS pruned (id INTEGER PRIMARY KEY)", "DELETE FROM pruned"} {
		if err := db.exec(text); err != nil {
			return false, err
		}
	}
	if err := db.exec("INSERT INTO pruned "+these, run, pruneBatch); err != nil {
		return false, err
	}
	if err := db.exec("UPDATE cycle SET capture = NULL WHERE run = ? AND capture IN (SELECT id FROM pruned)", run); err != nil {
		return false, err
	}
	return true, db.exec("DELETE FROM capture WHERE id IN (SELECT id FROM pruned)")
}

// removing is the reason that a run bears while it is being removed. One that still
// bears it was cut off half way, and can be removed again.
const removing = "being removed from the log"

// DropRun removes a run altogether.
func (db *DB) DropRun(id string) error {
	rec, err := db.Find(id)
	if err != nil {
		return err
	}
	doing := "remove run " + rec.ID
	err = db.transact(func() error {
		return db.exec("UPDATE run SET complete = 0, ended = coalesce(ended, started), reason = ? WHERE id = ?", removing, rec.row)
	})
	if err != nil {
		return db.fail(doing, err)
	}
	if err := db.DropCaptures(rec.ID); err != nil {
		return err
	}
	for left := true; left; {
		err := db.transact(func() (err error) {
			left, err = db.dropCycles(rec.row)
			return err
		})
		if err != nil {
			return db.fail(doing, err)
		}
	}
	err = db.transact(func() error {
		for _, table := range []string{"point", "sign", "reason", "soak", "interruption", "checkpoint"} {
			if err := db.exec("DELETE FROM "+table+" WHERE run = ?", rec.row); err != nil {
				return err
			}
		}
		return db.exec("DELETE FROM run WHERE id = ?", rec.row)
	})
	return db.fail(doing, err)
}

// dropCycles removes the last of a run's cycles and says whether there were any. It
// runs inside a transaction.
func (db *DB) dropCycles(run int64) (some bool, err error) {
	var from sql.NullInt64
	if err := db.queryRow("SELECT min(n) FROM (SELECT n FROM cycle WHERE run = ? ORDER BY n DESC LIMIT ?)", []any{run, pruneBatch}, &from); err != nil || !from.Valid {
		return false, err
	}
	for _, text := range []string{"DELETE FROM measurement WHERE run = ? AND cycle >= ?", "DELETE FROM symptom WHERE run = ? AND cycle >= ?", "DELETE FROM cycle WHERE run = ? AND n >= ?"} {
		if err := db.exec(text, run, from.Int64); err != nil {
			return false, err
		}
	}
	return true, nil
}

// ErrNoRoom says that the disk lacks the room to write the log anew.
var ErrNoRoom = errors.New("the disk lacks the room to write the log anew")

// Shrink writes the log anew without its free pages and gives them back to the disk.
// That needs room for two more logs while it lasts, and nobody else may write the log.
// It happens whole or not at all.
func (db *DB) Shrink() error {
	size, err := db.Size()
	if err != nil {
		return err
	}
	full, err := filepath.Abs(db.path)
	if err != nil {
		return db.fail("shrink", err)
	}
	if free, known := freeSpace(filepath.Dir(full)); known && free < 2*size {
		return db.fail("shrink", fmt.Errorf("%w: %d MB are needed, %d MB are free", ErrNoRoom, 2*size>>20, free>>20))
	}
	db.mu.Lock()
	defer db.mu.Unlock()
	if db.stmts == nil {
		return db.fail("shrink", errors.New("it is closed"))
	}
	for _, text := range []string{"VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"} {
		if _, err := db.write.ExecContext(context.Background(), text); err != nil {
			return db.fail("shrink", err)
		}
	}
	return nil
}
