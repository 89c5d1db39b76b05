package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// Retention says which captures a soak keeps; the figures of every cycle are kept.
// Zero values keep none.
type Retention struct {
	First int // cycles 1 to First
	Last  int // the last so many cycles; older ones make room
	Every int // each cycle whose number Every divides
	Bad   int // so many cycles that did not pass or drifted; KeepAll: every one
}

// KeepAll is a number of captures that no run reaches.
const KeepAll = math.MaxInt32

// Kept says why a cycle's capture is kept.
type Kept int

// The reasons. Captures kept as KeptLast make room for later ones.
const (
	NotKept Kept = iota - 1
	KeptAll      // no policy: every capture is kept
	KeptFirst
	KeptEvery
	KeptBad
	KeptDrifted
	KeptLast
)

// Interruption is a time during which a run did not go on.
type Interruption struct {
	After   int       // the last cycle stored before it, complete or not; 0: none was
	Stopped time.Time // zero: not known, as the program or the power was cut off
	Resumed time.Time
	Reason  string // in the program's words
	// Ending is why it stopped; the zero Ending: not known, as of a run that was cut off or is older.
	Ending  capture.Ending
	Program string // version that went on; empty: not kept, or the one before went on itself
}

// cutOff is the reason of an interruption that no program could record.
const cutOff = "the program or the power was cut off"

// addSoak stores how a soak keeps captures. It runs inside a transaction.
func (r *Run) addSoak() error {
	s := r.info.Soak
	if s == nil {
		return nil
	}
	return r.db.exec("INSERT INTO soak VALUES (?,?,?,?,?)", r.row, s.First, s.Last, s.Every, s.Bad)
}

// makeRoom removes the capture that is no longer among the last ones once the
// cycle n is stored. It runs inside a transaction.
func (r *Run) makeRoom(n int) error {
	if r.info.Soak == nil || r.info.Soak.Last <= 0 || n <= r.info.Soak.Last {
		return nil
	}
	old := n - r.info.Soak.Last
	var id int64
	err := r.db.queryRow("SELECT k.id FROM cycle c JOIN capture k ON k.id = c.capture WHERE c.run = ? AND c.n = ? AND k.why = ?",
		[]any{r.row, old, int(KeptLast)}, &id)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	if err := r.db.exec("UPDATE cycle SET capture = NULL WHERE run = ? AND n = ?", r.row, old); err != nil {
		return err
	}
	return r.db.exec("DELETE FROM capture WHERE id = ?", id)
}

// addInterruption runs inside a transaction.
func (r *Run) addInterruption(i Interruption) error {
	stopped, err := stampOf(i.Stopped)
	if err != nil {
		return err
	}
	resumed, err := stampOf(i.Resumed)
	if err != nil {
		return err
	}
	if err := r.addEnding(i.Ending); err != nil { // it has the number that the interruption gets
		return err
	}
	return r.db.exec("INSERT INTO interruption SELECT ?, (SELECT count(*) FROM interruption WHERE run = ?), ?, ?, ?, ?, ?",
		r.row, r.row, i.After, stopped, resumed, i.Reason, i.Program)
}

// Checkpoint stores what the figures up to a cycle come to, in place of what was
// stored before.
func (r *Run) Checkpoint(cycle int, state []byte) error {
	doing := fmt.Sprintf("store the figures' sum up to cycle %d of run %s", cycle, r.info.ID)
	return r.db.fail(doing, r.db.transact(func() error {
		return r.db.exec("INSERT INTO checkpoint VALUES (?,?,?) ON CONFLICT (run) DO UPDATE SET cycle = excluded.cycle, state = excluded.state",
			r.row, cycle, state)
	}))
}

// Checkpoint returns what was stored last; zero where nothing was.
func (rec *RunRecord) Checkpoint() (cycle int, state []byte, err error) {
	err = rec.db.row("SELECT cycle, state FROM checkpoint WHERE run = ?", rec.row).scan("checkpoint", &cycle, &state)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil, nil
	}
	return cycle, state, rec.fail("read the figures' sum", err)
}

// Interruptions returns the run's interruptions in their order.
func (rec *RunRecord) Interruptions() ([]Interruption, error) {
	rows, err := rec.db.read.Query("SELECT after_cycle, stopped, resumed, reason, program FROM interruption WHERE run = ? ORDER BY seq", rec.row)
	if err != nil {
		return nil, rec.fail("read the interruptions", err)
	}
	defer rows.Close()
	endings, err := rec.endings()
	if err != nil {
		return nil, err
	}
	var all []Interruption
	for rows.Next() {
		var i Interruption
		var stopped, resumed sql.NullInt64
		if err := scanRow(rows, "interruption", &i.After, &stopped, &resumed, &i.Reason, &i.Program); err != nil {
			return nil, rec.fail("read the interruptions", err)
		}
		i.Stopped, i.Resumed, i.Ending = timeOf(stopped), timeOf(resumed), endings[len(all)]
		all = append(all, i)
	}
	return all, rec.fail("read the interruptions", rows.Err())
}

// Last returns the number of the last cycle stored, complete or not; 0: none is.
func (rec *RunRecord) Last() (int, error) {
	n, err := lastCycle(rec.db.read, rec.row)
	return n, rec.fail("find the last cycle", err)
}

func lastCycle(db *sql.DB, run int64) (n int, err error) {
	err = oneOf(db.Query("SELECT coalesce(max(n), 0) FROM cycle WHERE run = ?", run)).scan("cycle", &n)
	return n, err
}

// FirstFailed returns how many complete cycles the run had done when the first of them
// failed, that one included; 0: none has.
func (rec *RunRecord) FirstFailed() (cycles int, err error) {
	failed, err := gravityOf(analyze.Fail)
	if err != nil {
		return 0, err
	}
	err = rec.db.read.QueryRow(`SELECT count(*) FROM cycle WHERE run = ?1 AND complete AND n <= (SELECT min(n) FROM cycle WHERE run = ?1 AND complete AND verdict = ?2)`,
		rec.row, failed).Scan(&cycles)
	return cycles, rec.fail("find the first failed cycle", err)
}

// CyclesWith returns how many complete cycles have the verdict.
func (rec *RunRecord) CyclesWith(v analyze.Verdict) (n int, err error) {
	gravity, err := gravityOf(v)
	if err != nil {
		return 0, err
	}
	err = rec.db.read.QueryRow("SELECT count(*) FROM cycle WHERE run = ? AND complete AND verdict = ?", rec.row, gravity).Scan(&n)
	return n, rec.fail("count the cycles by their verdicts", err)
}

// Size returns how many bytes of the log's file are in use.
func (db *DB) Size() (int64, error) {
	var pages, free, size int64
	err := db.read.QueryRow("SELECT page_count, freelist_count, page_size FROM pragma_page_count, pragma_freelist_count, pragma_page_size").Scan(&pages, &free, &size)
	return (pages - free) * size, db.fail("find its size", err)
}

// CaptureCounts says how many captures are kept, by the reason why, and how many
// bytes they take.
func (rec *RunRecord) CaptureCounts() (counts map[Kept]int, bytes int64, err error) {
	rows, err := rec.db.read.Query(`SELECT k.why, count(*), sum(length(k.bytes)) FROM cycle c JOIN capture k ON k.id = c.capture
		WHERE c.run = ? AND c.capture IS NOT NULL GROUP BY k.why`, rec.row)
	if err != nil {
		return nil, 0, rec.fail("count the captures", err)
	}
	defer rows.Close()
	counts = map[Kept]int{}
	for rows.Next() {
		var why, n int
		var size int64
		if err := scanRow(rows, "capture", &why, &n, &size); err != nil {
			return nil, 0, rec.fail("count the captures", err)
		}
		counts[Kept(why)] = n
		bytes += size
	}
	return counts, bytes, rec.fail("count the captures", rows.Err())
}

// loadSoak finds out whether a run is a soak.
func (rec *RunRecord) loadSoak() error {
	var s Retention
	err := rec.db.row("SELECT keep_first, keep_last, keep_every, keep_bad FROM soak WHERE run = ?", rec.row).
		scan("soak", &s.First, &s.Last, &s.Every, &s.Bad)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	for _, c := range []struct {
		column string
		n      int
	}{{"keep_first", s.First}, {"keep_last", s.Last}, {"keep_every", s.Every}, {"keep_bad", s.Bad}} {
		if err == nil {
			err = inRange("soak", c.column, int64(c.n), 0)
		}
	}
	rec.Soak = &s
	return err
}
