package journal

import (
	"database/sql"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"maps"
	"math"

	"makebreak/analyze"
)

// listsHeld is how many lists of doubts are remembered. One that holds figures may be
// new every time; beyond this many they are written anew.
const listsHeld = 10_000

// dictionary is what a run's rows refer to by number.
type dictionary struct {
	points map[string]*point
	signs  map[string]int
	lists  map[string]int // of doubts
	// The numbers given next.
	nextPoint, nextSign, nextList int

	key []byte // scratch
}

// point is one thing measured.
type point struct {
	id       int
	event    string
	signal   string
	quantity analyze.Quantity
	limit    analyze.Limit
	sources  []source
	numbers  []float64 // see pack.go
}

// source names one line of a budget.
type source struct{ Source, Distribution string }

// MarshalJSON writes it as [source, distribution].
func (s source) MarshalJSON() ([]byte, error) {
	return json.Marshal([2]string{s.Source, s.Distribution})
}

// UnmarshalJSON reads what MarshalJSON writes.
func (s *source) UnmarshalJSON(b []byte) error {
	var pair [2]string
	if err := json.Unmarshal(b, &pair); err != nil {
		return err
	}
	s.Source, s.Distribution = pair[0], pair[1]
	return nil
}

// sign is one kind of symptom at one place.
type sign struct {
	id                   int
	event, signal, other string
	kind                 analyze.Kind
}

// additions are what a cycle adds to the dictionary. They join it once the
// cycle is stored.
type additions struct {
	points []*point
	keys   []string // of the points
	signs  []sign
	lists  []doubtList
}

func newDictionary() dictionary {
	return dictionary{points: map[string]*point{}, signs: map[string]int{}, lists: map[string]int{}}
}

// appendText appends a text to a key so that no two lists of texts give one key.
func appendText(key []byte, s string) []byte {
	return append(binary.AppendUvarint(key, uint64(len(s))), s...)
}

// pointKey returns the key of what is measured: all that does not change from
// cycle to cycle.
func pointKey(key []byte, m *analyze.Measurement) []byte {
	key = appendText(key, m.Event)
	key = appendText(key, m.Signal)
	key = appendText(key, string(m.Quantity))
	key = binary.LittleEndian.AppendUint64(key, math.Float64bits(m.Limit.Lower))
	key = binary.LittleEndian.AppendUint64(key, math.Float64bits(m.Limit.Upper))
	for i := range m.Budget {
		key = appendText(key, string(m.Budget[i].Source))
		key = appendText(key, m.Budget[i].Distribution)
	}
	return key
}

func (d *dictionary) pointOf(m *analyze.Measurement, fresh *additions) *point {
	d.key = pointKey(d.key[:0], m)
	if p := d.points[string(d.key)]; p != nil {
		return p
	}
	for i, k := range fresh.keys {
		if k == string(d.key) {
			return fresh.points[i]
		}
	}
	p := &point{id: d.nextPoint + len(fresh.points), event: m.Event, signal: m.Signal, quantity: m.Quantity, limit: m.Limit,
		sources: make([]source, len(m.Budget)), numbers: numbersOf(m)}
	for i, c := range m.Budget {
		p.sources[i] = source{string(c.Source), c.Distribution}
	}
	fresh.points = append(fresh.points, p)
	fresh.keys = append(fresh.keys, string(d.key))
	return p
}

func (s *sign) key(key []byte) []byte {
	key = appendText(key, s.event)
	key = appendText(key, s.signal)
	key = appendText(key, string(s.kind))
	return appendText(key, s.other)
}

func (d *dictionary) signOf(x *analyze.Symptom, fresh *additions) int {
	s := sign{event: x.Event, signal: x.Signal, other: x.Other, kind: x.Kind}
	d.key = s.key(d.key[:0])
	if id, ok := d.signs[string(d.key)]; ok {
		return id
	}
	for _, f := range fresh.signs {
		if f.event == s.event && f.signal == s.signal && f.other == s.other && f.kind == s.kind {
			return f.id
		}
	}
	s.id = d.nextSign + len(fresh.signs)
	fresh.signs = append(fresh.signs, s)
	return s.id
}

// add takes in what has been stored.
func (d *dictionary) add(fresh *additions) {
	for i, p := range fresh.points {
		d.points[fresh.keys[i]] = p
		d.nextPoint = p.id + 1
	}
	for i := range fresh.signs {
		d.key = fresh.signs[i].key(d.key[:0])
		d.signs[string(d.key)] = fresh.signs[i].id
		d.nextSign = fresh.signs[i].id + 1
	}
	for i := range fresh.lists {
		l := &fresh.lists[i]
		d.nextList = l.id + 1
		if len(d.lists) < listsHeld {
			d.lists[l.key] = l.id
		}
	}
}

// counts are how much a dictionary holds.
type counts struct{ points, signs, lists int }

func (d *dictionary) mark() counts { return counts{d.nextPoint, d.nextSign, d.nextList} }

// forget takes out what has come in since the mark, since it was not stored.
func (d *dictionary) forget(since counts) {
	if d.mark() == since {
		return
	}
	maps.DeleteFunc(d.points, func(_ string, p *point) bool { return p.id >= since.points })
	maps.DeleteFunc(d.signs, func(_ string, id int) bool { return id >= since.signs })
	maps.DeleteFunc(d.lists, func(_ string, id int) bool { return id >= since.lists })
	d.nextPoint, d.nextSign, d.nextList = since.points, since.signs, since.lists
}

// insert writes the additions. It runs inside a transaction.
func (f *additions) insert(db *DB, run int64) error {
	for _, p := range f.points {
		sources, err := json.Marshal(p.sources)
		if err != nil {
			return err
		}
		if err := asTaken(db.exec("INSERT INTO point VALUES (?,?,?,?,?,?,?,?,?,?)", run, p.id, p.event, p.signal, string(p.quantity),
			realOf(p.limit.Lower), realOf(p.limit.Upper), string(sources), floatBytes(p.numbers), p.quantity.Unit())); err != nil {
			return err
		}
	}
	for _, s := range f.signs {
		if err := asTaken(db.exec("INSERT INTO sign VALUES (?,?,?,?,?,?)", run, s.id, s.event, s.signal, string(s.kind), s.other)); err != nil {
			return err
		}
	}
	for i := range f.lists {
		if err := f.lists[i].insert(db, run); err != nil {
			return err
		}
	}
	return nil
}

// asTaken turns a number that is in use into ErrTaken: two programs write one run.
func asTaken(err error) error {
	if repeated(err) {
		return ErrTaken
	}
	return err
}

// load reads a run's dictionary back.
func (d *dictionary) load(db *DB, run int64) error {
	points, err := loadPoints(db.read, run)
	if err != nil {
		return err
	}
	known := additions{points: points}
	for _, p := range points {
		m := analyze.Measurement{Event: p.event, Signal: p.signal, Quantity: p.quantity, Limit: p.limit, Budget: p.budget()}
		known.keys = append(known.keys, string(pointKey(nil, &m)))
	}
	if known.signs, err = loadSigns(db.read, run); err != nil {
		return err
	}
	d.add(&known)
	return loadDoubts(db.read, run, 0, math.MaxInt, func(l doubtList) {
		l.key = string(doubtsKey(nil, l.doubts))
		d.add(&additions{lists: []doubtList{l}})
	})
}

// loadPoints reads a run's points. The one with the number i stands at i.
func loadPoints(db *sql.DB, run int64) ([]*point, error) {
	rows, err := db.Query("SELECT id, event, signal, quantity, lower, upper, sources, numbers FROM point WHERE run = ? ORDER BY id", run)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var points []*point
	for rows.Next() {
		p := &point{}
		var lower, upper sql.NullFloat64
		var sources, numbers []byte
		if err := scanRow(rows, "point", &p.id, &p.event, &p.signal, &p.quantity, &lower, &upper, &sources, &numbers); err != nil {
			return nil, err
		}
		p.limit = analyze.Limit{Lower: floatOf(lower), Upper: floatOf(upper)}
		if err := json.Unmarshal(sources, &p.sources); err != nil {
			return nil, fmt.Errorf("%w: the budget's sources of point %d are no list of pairs", ErrCorrupt, p.id)
		}
		if p.numbers = floatsOf(numbers); len(p.numbers) != numbersIn(len(p.sources)) || p.id != len(points) {
			return nil, fmt.Errorf("%w: point %d", ErrCorrupt, p.id)
		}
		points = append(points, p)
	}
	return points, rows.Err()
}

func loadSigns(db *sql.DB, run int64) ([]sign, error) {
	rows, err := db.Query("SELECT id, event, signal, kind, other FROM sign WHERE run = ? ORDER BY id", run)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var signs []sign
	for rows.Next() {
		var s sign
		if err := scanRow(rows, "sign", &s.id, &s.event, &s.signal, &s.kind, &s.other); err != nil {
			return nil, err
		}
		if s.id != len(signs) {
			return nil, fmt.Errorf("%w: sign %d", ErrCorrupt, s.id)
		}
		signs = append(signs, s)
	}
	return signs, rows.Err()
}
