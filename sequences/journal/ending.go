package journal

import (
	"database/sql"
	"errors"

	"makebreak/rig/capture"
)

// endingRow is one row of the table ending.
type endingRow struct {
	seq int // how many interruptions there were before
	capture.Ending
}

// addEnding stores why the run stops now. It runs inside a transaction.
func (r *Run) addEnding(e capture.Ending) error {
	if e.Code == "" {
		return nil
	}
	return r.db.exec("INSERT OR REPLACE INTO ending SELECT ?1, (SELECT count(*) FROM interruption WHERE run = ?1), ?2, ?3, ?4, ?5",
		r.row, string(e.Code), e.Place, e.Other, realOf(e.Value))
}

// endingRows are the run's endings in their order.
func (rec *RunRecord) endingRows() (all []endingRow, err error) {
	const doing = "read why the run stopped"
	rows, err := rec.db.read.Query("SELECT seq, code, place, other, value FROM ending WHERE run = ? ORDER BY seq", rec.row)
	if err != nil {
		return nil, rec.fail(doing, err)
	}
	defer rows.Close()
	for rows.Next() {
		var e endingRow
		var value sql.NullFloat64
		if err := scanRow(rows, "ending", &e.seq, &e.Code, &e.Place, &e.Other, &value); err != nil {
			return nil, rec.fail(doing, err)
		}
		e.Value = floatOf(value)
		all = append(all, e)
	}
	return all, rec.fail(doing, rows.Err())
}

// endings are the run's endings by the number of interruptions before.
func (rec *RunRecord) endings() (map[int]capture.Ending, error) {
	rows, err := rec.endingRows()
	all := map[int]capture.Ending{}
	for _, e := range rows {
		all[e.seq] = e.Ending
	}
	return all, err
}

// loadEnding finds out why a run that has ended did so early.
func (rec *RunRecord) loadEnding() error {
	if rec.Complete || rec.Ended.IsZero() {
		return nil
	}
	var value sql.NullFloat64
	err := rec.db.row("SELECT code, place, other, value FROM ending WHERE run = ?1 AND seq = (SELECT count(*) FROM interruption WHERE run = ?1)", rec.row).
		scan("ending", &rec.Ending.Code, &rec.Ending.Place, &rec.Ending.Other, &value)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	rec.Ending.Value = floatOf(value)
	return err
}

// addConverters adds what converters have counted. It runs inside a transaction.
func (r *Run) addConverters(all []capture.ConverterCounts) error {
	for _, c := range all {
		n := c.Counts
		if err := r.db.exec(`INSERT INTO converter_count VALUES (?,?,?,?,?,?,?) ON CONFLICT (run, converter) DO UPDATE SET
			missed_conversions = missed_conversions + excluded.missed_conversions, doubled_conversions = doubled_conversions + excluded.doubled_conversions,
			bus_errors = bus_errors + excluded.bus_errors, chip_resets = chip_resets + excluded.chip_resets, lost_ready = lost_ready + excluded.lost_ready`,
			r.row, c.Converter, int64(n.MissedConversions), int64(n.DoubledConversions), int64(n.BusErrors), int64(n.ChipResets), int64(n.LostReadyEdges)); err != nil {
			return err
		}
	}
	return nil
}

// loadConverters reads what each converter has of the counts.
func (rec *RunRecord) loadConverters() error {
	rows, err := rec.db.read.Query("SELECT converter, missed_conversions, doubled_conversions, bus_errors, chip_resets, lost_ready FROM converter_count WHERE run = ? ORDER BY converter", rec.row)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var c capture.ConverterCounts
		var n [5]int64
		if err := scanRow(rows, "converter_count", &c.Converter, &n[0], &n[1], &n[2], &n[3], &n[4]); err != nil {
			return err
		}
		for i, column := range []string{"missed_conversions", "doubled_conversions", "bus_errors", "chip_resets", "lost_ready"} {
			if err := inRange("converter_count", column, n[i], 0); err != nil {
				return err
			}
		}
		c.Counts = capture.Counts{MissedConversions: uint64(n[0]), DoubledConversions: uint64(n[1]), BusErrors: uint64(n[2]), ChipResets: uint64(n[3]), LostReadyEdges: uint64(n[4])}
		rec.Converters = append(rec.Converters, c)
	}
	return rows.Err()
}
