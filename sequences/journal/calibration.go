package journal

import (
	"database/sql"
	"slices"

	"makebreak/rig/capture"
)

// addCalibrations stores what is known of the outputs' calibrations from a cycle on, where
// it is not what was stored last. It runs inside a transaction.
func (r *Run) addCalibrations(since int, all []capture.Calibration) error {
	if all == nil || sameCalibrations(all, r.calibrations) {
		return nil
	}
	r.calibrations = all
	for i := range all {
		c := &all[i]
		if err := r.db.exec("INSERT INTO calibration VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?)", r.row, since, i,
			c.Output, string(c.State), c.Judged, c.Meter, c.By, c.Made, c.Due, c.Rig, seedOf(c.Seed), c.Gain, c.Offset); err != nil {
			return err
		}
	}
	return nil
}

// sameCalibrations compares what is known of two sets, whenever they began.
func sameCalibrations(a, b []capture.Calibration) bool {
	return slices.EqualFunc(a, b, func(x, y capture.Calibration) bool {
		same := (x.Seed == nil) == (y.Seed == nil) && (x.Seed == nil || *x.Seed == *y.Seed)
		x.Seed, y.Seed, x.Since, y.Since = nil, nil, 0, 0
		return same && x == y
	})
}

func seedOf(seed *uint64) sql.NullInt64 {
	if seed == nil {
		return sql.NullInt64{}
	}
	return sql.NullInt64{Int64: int64(*seed), Valid: true}
}

// Calibrations returns what is known of the outputs' calibrations, each with the first
// cycle that it holds for; nil where none of it was kept.
func (rec *RunRecord) Calibrations() ([]capture.Calibration, error) {
	const doing = "read the calibrations"
	rows, err := rec.db.read.Query(`SELECT since, output, state, judged, meter, done_by, made, due, rig, seed, gain, offset
		FROM calibration WHERE run = ? ORDER BY since, seq`, rec.row)
	if err != nil {
		return nil, rec.fail(doing, err)
	}
	defer rows.Close()
	var all []capture.Calibration
	for rows.Next() {
		var c capture.Calibration
		var seed sql.NullInt64
		if err := scanRow(rows, "calibration", &c.Since, &c.Output, &c.State, &c.Judged, &c.Meter, &c.By, &c.Made, &c.Due, &c.Rig, &seed, &c.Gain, &c.Offset); err != nil {
			return nil, rec.fail(doing, err)
		}
		if seed.Valid {
			u := uint64(seed.Int64)
			c.Seed = &u
		}
		all = append(all, c)
	}
	return all, rec.fail(doing, rows.Err())
}

// lastSet are those of the calibrations that hold at the end.
func lastSet(all []capture.Calibration) []capture.Calibration {
	last := 0
	for _, c := range all {
		last = max(last, c.Since)
	}
	return slices.DeleteFunc(slices.Clone(all), func(c capture.Calibration) bool { return c.Since != last })
}
