package journal

import (
	"database/sql"
	"encoding/binary"
	"fmt"
	"math"

	"makebreak/analyze"
)

// doubtList is a list of doubts that figures refer to by its number.
type doubtList struct {
	id     int
	key    string
	doubts []analyze.Doubt
}

// doubtsKey returns the key of a list of doubts.
func doubtsKey(key []byte, doubts []analyze.Doubt) []byte {
	for i := range doubts {
		d := &doubts[i]
		key = appendText(key, string(d.Code))
		key = binary.LittleEndian.AppendUint64(key, math.Float64bits(d.Value))
		key = appendText(key, d.Signal)
		key = appendText(key, d.Other)
		key = appendText(key, d.Text)
	}
	return key
}

// doubtsOf returns the number of a list of doubts, nil for none.
func (d *dictionary) doubtsOf(doubts []analyze.Doubt, fresh *additions) any {
	if len(doubts) == 0 {
		return nil
	}
	d.key = doubtsKey(d.key[:0], doubts)
	if id, ok := d.lists[string(d.key)]; ok {
		return id
	}
	for i := range fresh.lists {
		if fresh.lists[i].key == string(d.key) {
			return fresh.lists[i].id
		}
	}
	list := doubtList{d.nextList + len(fresh.lists), string(d.key), doubts}
	fresh.lists = append(fresh.lists, list)
	return list.id
}

// insert writes a list. It runs inside a transaction.
func (l *doubtList) insert(db *DB, run int64) error {
	if err := asTaken(db.exec("INSERT INTO doubts VALUES (?,?)", run, l.id)); err != nil {
		return err
	}
	for seq, d := range l.doubts {
		if err := db.exec(insertDoubt, run, l.id, seq, string(d.Code), realOf(d.Value), d.Signal, d.Other, d.Text); err != nil {
			return err
		}
	}
	return nil
}

const insertDoubt = "INSERT INTO doubt (run, doubts, seq, code, value, signal, other, text) VALUES (?,?,?,?,?,?,?,?)"

// loadDoubts reads lists of doubts of a run, the first of them with the number from, and
// hands them on one after the other.
func loadDoubts(db *sql.DB, run int64, from, to int, each func(doubtList)) error {
	rows, err := db.Query(`SELECT l.id, d.code, d.value, d.signal, d.other, d.text FROM doubts l LEFT JOIN doubt d ON d.run = l.run AND d.doubts = l.id
		WHERE l.run = ? AND l.id BETWEEN ? AND ? ORDER BY l.id, d.seq`, run, from, to)
	if err != nil {
		return err
	}
	defer rows.Close()
	list := doubtList{id: -1}
	done := func() {
		if list.id >= 0 {
			each(list)
		}
	}
	for rows.Next() {
		var id int
		var code, signal, other, text sql.NullString // NULL: the list is empty
		var value sql.NullFloat64
		if err := scanRow(rows, "doubt", &id, &code, &value, &signal, &other, &text); err != nil {
			return err
		}
		if id != list.id {
			done()
			list = doubtList{id: id}
		}
		if code.Valid {
			list.doubts = append(list.doubts, analyze.Doubt{Code: analyze.DoubtCode(code.String), Value: floatOf(value),
				Signal: signal.String, Other: other.String, Text: text.String})
		}
	}
	done()
	return rows.Err()
}

// listsAtOnce is how many lists of doubts are read together.
const listsAtOnce = 256

// doubtReader holds some of a run's doubts while its figures are streamed.
type doubtReader struct {
	rec   *RunRecord
	lists map[int][]analyze.Doubt
}

// get returns the list with a number.
func (r *doubtReader) get(id int) ([]analyze.Doubt, error) {
	if doubts, ok := r.lists[id]; ok {
		return doubts, nil
	}
	if len(r.lists) >= listsHeld || r.lists == nil {
		r.lists = map[int][]analyze.Doubt{}
	}
	err := loadDoubts(r.rec.db.read, r.rec.row, id, id+listsAtOnce-1, func(l doubtList) { r.lists[l.id] = l.doubts })
	if err != nil {
		return nil, err
	}
	doubts, ok := r.lists[id]
	if !ok {
		return nil, fmt.Errorf("%w: a figure refers to doubts %d, which are not there", ErrCorrupt, id)
	}
	return doubts, nil
}
