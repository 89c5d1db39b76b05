package archive

import (
	"context"
	"crypto/sha256"
	"fmt"
	"hash"
	"slices"
	"strings"
	"time"

	"makebreak/sequences/journal"
)

// held is what a log holds of a run, as far as a push must know it.
type held struct {
	row        int64
	uuid, name string
	unit       string
	sequence   string
	started    int64
	last       int64 // number of the last cycle; 0: none
	soak       bool
	goesOn     bool // a program is at it now
	state      []byte
	fault      error // why it cannot be read; nil: it can
}

// runColumns are what the archive keeps of a run once, endColumns what it keeps with each push.
var (
	runColumns = columns("uuid:text series:text count:large unit:text done_by:text sequence:text sequence_source:text rig:text rig_source:text started:large planned:large seed:large program:text notes:text faults:text")
	endColumns = columns("ended:large verdict:small complete:small reason:text")
)

const lastCycle = "coalesce((SELECT max(n) FROM cycle WHERE cycle.run = run.id), 0)"

// heldRuns lists the log's runs that are entire, the oldest first: all, or those with the row
// numbers.
func heldRuns(ctx context.Context, s *journal.Snapshot, rows []int64) ([]*held, error) {
	var all []*held
	byRow := map[int64]*held{}
	sums := map[int64]hash.Hash{}
	list := listOf(rows)
	stated := slices.Concat(runColumns, endColumns)
	query := "SELECT id, " + lastCycle + ", EXISTS (SELECT 1 FROM soak WHERE soak.run = run.id), series || '.' || count, uuid, unit, sequence, started, " + names(stated) +
		" FROM run WHERE state = 0 AND (?1 IS NULL OR id IN (SELECT value FROM json_each(?1))) ORDER BY id"
	err := s.Each(ctx, func(v []any) error {
		h := &held{}
		var ok [8]bool
		var soak int64
		h.row, ok[0] = v[0].(int64)
		h.last, ok[1] = v[1].(int64)
		soak, ok[2] = v[2].(int64)
		h.name, ok[3] = v[3].(string)
		h.uuid, ok[4] = v[4].(string)
		h.unit, ok[5] = v[5].(string)
		h.sequence, ok[6] = v[6].(string)
		h.started, ok[7] = v[7].(int64)
		if slices.Contains(ok[:], false) {
			return fmt.Errorf("%w: table run", journal.ErrCorrupt)
		}
		h.soak = soak != 0
		sum := sha256.New()
		b, err := appendRow(nil, stated, v[len(ok):])
		if err != nil {
			h.fault = fmt.Errorf("table run: %w", err)
		}
		b, _ = appendValue(b, large, h.last) // a number has no fault
		_, _ = sum.Write(b)                  // never fails
		all, byRow[h.row], sums[h.row] = append(all, h), h, sum
		return nil
	}, query, list)
	if err != nil {
		return nil, err
	}
	for i := range setTables {
		if err := sumSet(ctx, s, &setTables[i], list, byRow, sums); err != nil {
			return nil, err
		}
	}
	for row, h := range byRow {
		h.state = sums[row].Sum(nil)
	}
	return all, nil
}

// listOf is a list of numbers as JSON, nil for none.
func listOf(rows []int64) any {
	if rows == nil {
		return nil
	}
	b := []byte{'['}
	for i, n := range rows {
		if i > 0 {
			b = append(b, ',')
		}
		b = fmt.Append(b, n)
	}
	return string(append(b, ']'))
}

// sumSet adds a table's rows to the sums of their runs.
func sumSet(ctx context.Context, s *journal.Snapshot, t *relation, list any, runs map[int64]*held, sums map[int64]hash.Hash) error {
	query := "SELECT run, " + names(t.columns) + " FROM " + t.name + " WHERE ?1 IS NULL OR run IN (SELECT value FROM json_each(?1)) ORDER BY " + t.order()
	return s.Each(ctx, func(v []any) error {
		run, _ := v[0].(int64)
		sum := sums[run]
		if sum == nil {
			return nil
		}
		b, err := appendRow([]byte(t.name), t.columns, v[1:])
		if err != nil {
			runs[run].fault = fmt.Errorf("table %s: %w", t.name, err)
		}
		_, _ = sum.Write(b) // never fails
		return nil
	}, query, list)
}

// order is that of a table's rows of several runs.
func (t *relation) order() string {
	_, key, ordered := strings.Cut(t.from, " ORDER BY ")
	if !ordered {
		return "run" // of which it has one row
	}
	return "run, " + key
}

// monthOf is the first day of the month of a time in nanoseconds since 1970, UTC.
func monthOf(ns int64) time.Time {
	t := time.Unix(0, ns).UTC()
	return time.Date(t.Year(), t.Month(), 1, 0, 0, 0, 0, time.UTC)
}
