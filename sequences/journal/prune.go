package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"time"

	"makebreak/rig/problem"
)

// Holding is what a run takes up in the log.
type Holding struct {
	RunSummary
	Touched      time.Time // its end, or the beginning of its last cycle
	Ended        bool      // false: it goes on, or was cut off
	Busy         bool      // another opening of the log has locked it to write it
	Captures     int
	CaptureBytes int64
	Bytes        int64 // in all, captures included; about

	progress progress
}

// Holdings returns what each run takes up, the oldest first. It reads through the
// log's indexes, which takes some seconds in a log of gigabytes.
func (db *DB) Holdings() ([]Holding, error) {
	all, err := db.holdings()
	db.markBusy(all)
	return all, db.fail("add up the runs", err)
}

func (db *DB) holdings() ([]Holding, error) {
	rows, err := db.read.Query("SELECT " + summaryColumns + `, ` + progressColumns + `,
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
		var last sql.NullInt64
		var n int64
		h.RunSummary, err = scanSummary(func(into ...any) error { return scanRow(rows, "run", into...) }, &h.progress.ended, &h.progress.last, &h.progress.gaps, &last, &n, &h.Captures, &h.CaptureBytes)
		if err != nil {
			return nil, err
		}
		ended := h.progress.ended
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

// inSteps runs a step in one transaction after another while there is something left
// for it, and calls stored after each. Where the disk is full, the reserve is released and
// the steps become smaller.
func (db *DB) inSteps(step func(batch int) (more bool, err error), stored func()) error {
	batch := pruneBatch
	for more := true; more; {
		var again bool
		err := db.transact(func() (err error) {
			again, err = step(batch)
			return err
		})
		switch {
		case err == nil:
			more = again // a step that failed has said nothing
			stored()
		case !errors.Is(err, ErrFull):
			return err
		case releaseReserve(db.full, reserveBytes):
			db.emptyWAL()
		case batch > 1:
			batch /= 4
			db.emptyWAL()
			syncDisk(filepath.Dir(db.full))
		default:
			return err
		}
	}
	return nil
}

// adviseIfFull adds what to do where a disk is too full even for removing.
func (db *DB) adviseIfFull(err error) error {
	if !errors.Is(err, ErrFull) {
		return err
	}
	name := filepath.Base(db.path)
	return fmt.Errorf("%w\nremoving needs some room, too: free %d MB on that disk and do it again, or copy %s, with %s-wal where there is one, to another disk and prune it there (--log)",
		err, reserveBytes>>20, name, name)
}

// Removed is what has gone from a log.
type Removed struct {
	Runs, Cycles, Captures int
	CaptureBytes           int64
}

// Add adds what has gone besides.
func (r *Removed) Add(o Removed) {
	r.Runs, r.Cycles, r.Captures = r.Runs+o.Runs, r.Cycles+o.Cycles, r.Captures+o.Captures
	r.CaptureBytes += o.CaptureBytes
}

// removeInSteps takes steps as inSteps does, and adds up what they removed: a step that was
// taken back counts for nothing.
func (db *DB) removeInSteps(gone *Removed, step func(batch int) (Removed, bool, error)) error {
	var last Removed
	return db.inSteps(func(batch int) (more bool, err error) {
		last, more, err = step(batch)
		return more, err
	}, func() { gone.Add(last) })
}

// DropCaptures removes a run's captures, unless it has gone on since it was looked at.
// Its figures stay. What has gone is said also where an error came in between.
func (db *DB) DropCaptures(h Holding) (gone Removed, err error) {
	rec, err := db.Lock(h.Run)
	if err != nil {
		return gone, err
	}
	err = db.removeInSteps(&gone, func(batch int) (Removed, bool, error) {
		if err := db.unchanged(rec.row, h.progress); err != nil {
			return Removed{}, false, err
		}
		return db.dropCaptures(rec.row, batch)
	})
	return gone, db.adviseIfFull(db.fail("remove the captures of run "+rec.ID, err))
}

// progress is what changes when a run goes on.
type progress struct {
	ended      sql.NullInt64
	last, gaps int64
}

// progressColumns are read for a row of the table run.
const progressColumns = `ended, (SELECT coalesce(max(n), 0) FROM cycle WHERE run = run.id), (SELECT count(*) FROM interruption WHERE run = run.id)`

// unchanged returns ErrWentOn where a run is not as it was. It runs inside a transaction.
func (db *DB) unchanged(run int64, was progress) error {
	var now progress
	if err := db.queryRow("SELECT "+progressColumns+" FROM run WHERE id = ?", []any{run}, &now.ended, &now.last, &now.gaps); err != nil {
		return err
	}
	if now != was {
		return ErrWentOn
	}
	return nil
}

// dropCaptures removes some of a run's captures. It says which, and whether there were any.
// It runs inside a transaction.
func (db *DB) dropCaptures(run int64, batch int) (gone Removed, some bool, err error) {
	const these = "SELECT capture FROM cycle WHERE run = ?1 AND capture IS NOT NULL ORDER BY n LIMIT ?2"
	if err := db.queryRow("SELECT EXISTS ("+these+")", []any{run, batch}, &some); err != nil || !some {
		return gone, false, err
	}
	// The cycles must lose their references first. A table of this connection remembers
	// them.
	for _, text := range []string{"CREATE TEMP TABLE IF NOT EXISTS pruned (id INTEGER PRIMARY KEY)", "DELETE FROM pruned"} {
		if err := db.exec(text); err != nil {
			return gone, false, err
		}
	}
	if err := db.exec("INSERT INTO pruned "+these, run, batch); err != nil {
		return gone, false, err
	}
	if _, err := db.change("UPDATE cycle SET capture = NULL WHERE run = ? AND capture IN (SELECT id FROM pruned)", run); err != nil {
		return gone, false, err
	}
	if err := db.queryRow("SELECT coalesce(sum(length(bytes)), 0) FROM capture WHERE id IN (SELECT id FROM pruned)", nil, &gone.CaptureBytes); err != nil {
		return gone, false, err
	}
	gone.Captures, err = db.change("DELETE FROM capture WHERE id IN (SELECT id FROM pruned)")
	return gone, true, err
}

// DropRun removes a run altogether, unless it has gone on since it was looked at. As long
// as nothing of it is gone, it is as it was. What has gone is said also where an error came
// in between.
func (db *DB) DropRun(h Holding) (gone Removed, err error) {
	rec, err := db.Lock(h.Run)
	if err != nil {
		return gone, err
	}
	gone, err = db.dropRun(rec.row, &h.progress)
	return gone, db.adviseIfFull(db.fail("remove run "+rec.ID, err))
}

// dropRun removes a run; with a progress only one that has not gone on since.
func (db *DB) dropRun(run int64, was *progress) (gone Removed, err error) {
	for _, drop := range []func(int64, int) (Removed, bool, error){db.dropCaptures, db.dropCycles} {
		err := db.removeInSteps(&gone, func(batch int) (Removed, bool, error) {
			if err := db.mark(run, was); err != nil {
				return Removed{}, false, err
			}
			return drop(run, batch)
		})
		if err != nil {
			return gone, err
		}
		was = nil
	}
	return gone, db.removeInSteps(&gone, func(int) (last Removed, more bool, err error) {
		for _, table := range slices.Backward(runTables) {
			if err := db.exec("DELETE FROM "+table+" WHERE run = ?", run); err != nil {
				return last, false, err
			}
		}
		last.Runs, err = db.change("DELETE FROM run WHERE id = ?", run)
		return last, false, err
	})
}

// mark puts a run in the state Removing. It runs inside the transaction that removes
// a part of it.
func (db *DB) mark(run int64, was *progress) error {
	var marked bool
	if err := db.queryRow("SELECT state = ? FROM run WHERE id = ?", []any{Removing, run}, &marked); err != nil || marked {
		return err
	}
	if was != nil {
		if err := db.unchanged(run, *was); err != nil {
			return err
		}
	}
	return db.exec("UPDATE run SET complete = 0, ended = coalesce(ended, started), state = ? WHERE id = ?", Removing, run)
}

// dropCycles removes the last of a run's cycles. It says which, and whether there were any.
// It runs inside a transaction.
func (db *DB) dropCycles(run int64, batch int) (gone Removed, some bool, err error) {
	var from sql.NullInt64
	if err := db.queryRow("SELECT min(n) FROM (SELECT n FROM cycle WHERE run = ? ORDER BY n DESC LIMIT ?)", []any{run, batch}, &from); err != nil || !from.Valid {
		return gone, false, err
	}
	for _, text := range []string{"DELETE FROM measurement WHERE run = ? AND cycle >= ?", "DELETE FROM symptom WHERE run = ? AND cycle >= ?"} {
		if err := db.exec(text, run, from.Int64); err != nil {
			return gone, false, err
		}
	}
	gone.Cycles, err = db.change("DELETE FROM cycle WHERE run = ? AND n >= ?", run, from.Int64)
	return gone, true, err
}

// ErrNoRoom says that the disk lacks the room to write the log anew.
var ErrNoRoom error = problem.New(problem.Storage, "the disk lacks the room to write the log anew")

// Shrink gives the log's free pages back to the disk, and says how many bytes its files
// became smaller. It writes the log anew where there is room for two more of it meanwhile;
// that happens whole or not at all, and nobody else may write the log. Else the log gives
// back page by page, for which one that was begun by an older program is not made.
func (db *DB) Shrink() (given int64, err error) {
	before := db.onDisk()
	err = db.shrink()
	return max(0, before-db.onDisk()), db.fail("shrink", err)
}

// onDisk is how many bytes the log's files take: SQLite's page count would leave out what
// only waits to be brought into the log.
func (db *DB) onDisk() int64 { return fileSize(db.full) + fileSize(db.full+"-wal") }

func (db *DB) shrink() error {
	size, err := db.Size()
	if err != nil {
		return err
	}
	free, known := freeSpace(filepath.Dir(db.full))
	if known && free < 2*size {
		return db.shrinkInPlace(size, free)
	}
	db.mu.Lock()
	defer db.mu.Unlock()
	if err := db.writable(); err != nil {
		return err
	}
	if db.watch != nil {
		defer func() { db.watch.looked = looked{} }() // of the file as it is written now nothing is known
	}
	for _, text := range []string{"VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"} {
		if _, err := db.write.ExecContext(context.Background(), text); err != nil {
			return err
		}
	}
	return nil
}

func (db *DB) shrinkInPlace(size, free int64) error {
	if err := db.giveBack(func() bool { return true }); err != nil {
		return err
	}
	if free, err := db.freePages(); err != nil || free == 0 {
		return err
	}
	return fmt.Errorf("%w: %d MB are needed, %d MB are free", ErrNoRoom, 2*size>>20, free>>20)
}
