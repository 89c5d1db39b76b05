package journal

import (
	"database/sql"
	"time"

	"makebreak/rig/capture"
)

// machineState is what was stored last of the computer at the bench.
type machineState struct {
	count int // facts stored
	last  map[capture.Fact]capture.MachineFact
}

// addMachine stores what is not as it was stored last, as seen after a cycle. It runs inside a
// transaction, and what it adds to what is known is to be forgotten where that fails.
func (r *Run) addMachine(after int, facts []capture.MachineFact) error {
	for _, f := range facts {
		if was, there := r.machine.last[f.Fact]; there && was.Same(f) {
			continue
		}
		at, err := stampOf(f.At)
		if err != nil {
			return err
		}
		if at == nil {
			return misuse("the fact %s has no time", f.Fact)
		}
		var number any
		if f.Fact.Kind() != capture.Word {
			number = realOf(f.Number)
		}
		if err := r.db.exec("INSERT INTO machine VALUES (?,?,?,?,?,?,?)", r.row, r.machine.count, after, at, string(f.Fact), number, f.Text); err != nil {
			return err
		}
		r.machine = r.machine.with(f)
	}
	return nil
}

// with returns what is known with one more fact. What was known before stays as it is.
func (k machineState) with(f capture.MachineFact) machineState {
	last := map[capture.Fact]capture.MachineFact{f.Fact: f}
	for fact, was := range k.last {
		if fact != f.Fact {
			last[fact] = was
		}
	}
	return machineState{k.count + 1, last}
}

// Machine returns what was known of the computer at the bench, in the order in which it was
// seen; nil where none of it was kept.
func (rec *RunRecord) Machine() ([]capture.MachineFact, error) {
	const doing = "read what is known of the computer"
	rows, err := rec.db.read.Query("SELECT after_cycle, at, fact, number, text FROM machine WHERE run = ? ORDER BY seq", rec.row)
	if err != nil {
		return nil, rec.fail(doing, err)
	}
	defer rows.Close()
	var all []capture.MachineFact
	for rows.Next() {
		var m capture.MachineFact
		var at int64
		var number sql.NullFloat64
		if err := scanRow(rows, "machine", &m.After, &at, &m.Fact, &number, &m.Text); err != nil {
			return nil, rec.fail(doing, err)
		}
		m.At = time.Unix(0, at).UTC()
		if m.Fact.Kind() != capture.Word {
			m.Number = floatOf(number)
		}
		all = append(all, m)
	}
	return all, rec.fail(doing, rows.Err())
}
