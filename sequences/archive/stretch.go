package archive

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"

	"github.com/jackc/pgx/v5/pgtype"

	"makebreak/sequences/journal"
)

// stretchCycles is how many cycles the figures in a row of the table measurement are of at most.
// Lists of so many stay in the row itself, where a place in them is found at once.
const stretchCycles = 64

// stretches gathers rows of the log's table measurement, which come by their cycles, into rows of
// the archive's: those of a point, at a place within their cycles, over some cycles.
type stretches struct {
	own    []byte // what stands before each row, encoded
	number int64  // of the cycles that are gathered now
	open   map[[8]byte]*stretch
	begun  []*stretch // the same, in order
	spare  []*stretch
}

// stretch is figures of a point.
type stretch struct {
	place       [8]byte // point and seq
	first, last int64   // cycles
	n           int     // cycles from the first to the last
	present     uint64  // bits of those that have a figure, the first one highest
	values      list
	expanded    list
	verdict     list
	doubts      list
	numbers     []byte
	numbered    bool // one has numbers
}

// list is elements of an array as PostgreSQL takes them; while they are all the same it holds one.
type list struct {
	elements []byte
	n        int
	differ   bool
	missing  bool // one is NULL
}

// Places of the columns in a row of the log's.
const (
	cycleCell = iota
	seqCell
	pointCell
	valueCell
	expandedCell
	verdictCell
	doubtsCell
	numbersCell
	figureCells
)

// add takes in a row of the log's, encoded, and appends those rows to b that are whole by then.
func (s *stretches) add(b, row []byte) ([]byte, error) {
	var cells [figureCells][]byte
	for i := range cells {
		size := 4 + int(max(0, int32(binary.BigEndian.Uint32(row))))
		cells[i], row = row[:size], row[size:]
	}
	if len(cells[cycleCell]) != 12 || len(cells[seqCell]) != 8 || len(cells[pointCell]) != 8 {
		return b, fmt.Errorf("%w: a measurement has no cycle, place or point", journal.ErrCorrupt)
	}
	cycle := int64(binary.BigEndian.Uint64(cells[cycleCell][4:]))
	if number := (cycle - 1) / stretchCycles; number != s.number {
		b = s.flush(b)
		s.number = number
	}
	s.of(cells[pointCell][4:], cells[seqCell][4:], cycle).add(cycle, &cells)
	return b, nil
}

// of returns the stretch of a point and place, which begins with the cycle where there is none.
func (s *stretches) of(point, seq []byte, cycle int64) *stretch {
	var key [8]byte
	copy(key[:4], point)
	copy(key[4:], seq)
	x := s.open[key]
	if x != nil {
		return x
	}
	if last := len(s.spare) - 1; last >= 0 {
		x, s.spare = s.spare[last], s.spare[:last]
	} else {
		x = &stretch{}
	}
	x.reset(key, cycle)
	if s.open == nil {
		s.open = map[[8]byte]*stretch{}
	}
	s.open[key], s.begun = x, append(s.begun, x)
	return x
}

// flush appends the rows that are gathered.
func (s *stretches) flush(b []byte) []byte {
	for _, x := range s.begun {
		b = binary.BigEndian.AppendUint16(b, uint16(len(byMonth)+len(stretchColumns)))
		b = x.appendTo(append(b, s.own...))
	}
	s.spare = append(s.spare, s.begun...)
	s.begun = s.begun[:0]
	clear(s.open)
	return b
}

func (x *stretch) reset(place [8]byte, first int64) {
	*x = stretch{place: place, first: first, numbers: x.numbers[:0],
		values: x.values.reset(), expanded: x.expanded.reset(), verdict: x.verdict.reset(), doubts: x.doubts.reset()}
	x.values.differ = true // they always have their list
}

func (l *list) reset() list { return list{elements: l.elements[:0]} }

func (x *stretch) add(cycle int64, cells *[figureCells][]byte) {
	for ; x.n < int(cycle-x.first); x.n++ {
		for _, l := range []*list{&x.values, &x.expanded, &x.verdict, &x.doubts} {
			l.skip()
		}
		x.numbers = append(x.numbers, null...)
	}
	x.present |= 1 << (stretchCycles - 1 - x.n)
	x.last = cycle
	x.n++
	x.values.add(cells[valueCell])
	x.expanded.add(cells[expandedCell])
	x.verdict.add(cells[verdictCell])
	x.doubts.add(cells[doubtsCell])
	x.numbers = append(x.numbers, cells[numbersCell]...)
	x.numbered = x.numbered || !isNull(cells[numbersCell])
}

// skip stands for a cycle without a figure.
func (l *list) skip() {
	if l.differ {
		l.add([]byte(null))
		return
	}
	l.n++
}

func isNull(cell []byte) bool { return cell[0] == 0xff } // no cell is so long

func (l *list) add(cell []byte) {
	l.missing = l.missing || isNull(cell)
	if l.n > 0 && !l.differ && !bytes.Equal(cell, l.elements) { // the first one is of the stretch's first cycle
		l.elements = append(l.elements, bytes.Repeat(l.elements, l.n-1)...)
		l.differ = true
	}
	if l.n == 0 || l.differ {
		l.elements = append(l.elements, cell...)
	}
	l.n++
}

// stretchColumns are those of the archive's table measurement, after month and run.
var stretchColumns = columns("point:whole seq:whole first:large last:large present:list value_list:list expanded:real expanded_list:list verdict:small verdict_list:list doubts:whole doubts_list:list numbers:binary")

const null = "\xff\xff\xff\xff"

// appendTo writes the row.
func (x *stretch) appendTo(b []byte) []byte {
	for _, half := range [][]byte{x.place[:4], x.place[4:]} {
		b = append(append(b, 0, 0, 0, 4), half...)
	}
	for _, n := range []int64{x.first, x.last} {
		b = binary.BigEndian.AppendUint64(append(b, 0, 0, 0, 8), uint64(n))
	}
	if bits.OnesCount64(x.present) == x.n {
		b = append(b, null...)
	} else {
		whole := binary.BigEndian.AppendUint64(nil, x.present)[:(x.n+7)/8]
		b = binary.BigEndian.AppendUint32(b, uint32(4+len(whole)))
		b = append(binary.BigEndian.AppendUint32(b, uint32(x.n)), whole...)
	}
	b = appendArray(b, pgtype.Float8OID, x.n, x.values.missing, x.values.elements)
	b = x.expanded.appendTo(b, pgtype.Float8OID)
	b = x.verdict.appendTo(b, pgtype.Int2OID)
	b = x.doubts.appendTo(b, pgtype.Int4OID)
	if !x.numbered {
		return append(b, null...)
	}
	b = binary.BigEndian.AppendUint32(b, uint32(len(x.numbers)))
	return append(b, x.numbers...)
}

// appendTo writes the value that all have, and the list, of which one is NULL.
func (l *list) appendTo(b []byte, oid uint32) []byte {
	if !l.differ {
		return append(append(b, l.elements...), null...)
	}
	return appendArray(append(b, null...), oid, l.n, l.missing, l.elements)
}

// appendArray writes an array of one dimension in PostgreSQL's binary form.
func appendArray(b []byte, oid uint32, n int, missing bool, elements []byte) []byte {
	const head = 20
	flags := uint32(0)
	if missing {
		flags = 1
	}
	for _, word := range []uint32{uint32(head + len(elements)), 1, flags, oid, uint32(n), 1} {
		b = binary.BigEndian.AppendUint32(b, word)
	}
	return append(b, elements...)
}

// fetchedStretch is a row of the table measurement as it is fetched.
type fetchedStretch struct {
	run, point, seq, first, last int64
	present                      pgtype.Bits
	values                       []pgtype.Float8
	expanded                     pgtype.Float8
	expandedList                 []pgtype.Float8
	verdict                      pgtype.Int2
	verdictList                  []pgtype.Int2
	doubts                       pgtype.Int4
	doubtsList                   []pgtype.Int4
	numbers                      []byte
}

// into is where a row's columns go.
func (x *fetchedStretch) into() []any {
	return []any{&x.run, &x.point, &x.seq, &x.first, &x.last, &x.present, &x.values, &x.expanded, &x.expandedList, &x.verdict, &x.verdictList, &x.doubts, &x.doubtsList, &x.numbers}
}

var errStretch = fmt.Errorf("a row of the table measurement is not as a push makes it")

// each calls f with each of the log's rows up to the cycle last: cycle, seq, point, value,
// expanded, verdict, doubts, numbers.
func (x *fetchedStretch) each(last int64, f func(values []any) error) error {
	n, numbers := len(x.values), x.numbers
	for _, length := range []int{int(x.present.Len), len(x.expandedList), len(x.verdictList), len(x.doubtsList)} {
		if length != 0 && length != n {
			return errStretch
		}
	}
	for i, value := range x.values {
		own, rest, err := nextNumbers(numbers)
		if err != nil {
			return err
		}
		numbers = rest
		cycle := x.first + int64(i)
		if cycle > last {
			break
		}
		if x.present.Valid && x.present.Bytes[i/8]&(0x80>>(i%8)) == 0 {
			continue
		}
		expanded, verdict, doubts := at(x.expandedList, i, x.expanded), at(x.verdictList, i, x.verdict), at(x.doubtsList, i, x.doubts)
		if err := f([]any{cycle, x.seq, x.point, orNil(value.Valid, value.Float64), orNil(expanded.Valid, expanded.Float64),
			orNil(verdict.Valid, int64(verdict.Int16)), orNil(doubts.Valid, int64(doubts.Int32)), own}); err != nil {
			return err
		}
	}
	return nil
}

// at is a list's element, or what all have where there is no list.
func at[T any](list []T, i int, all T) T {
	if list == nil {
		return all
	}
	return list[i]
}

func orNil[T any](valid bool, v T) any {
	if !valid {
		return nil
	}
	return v
}

// nextNumbers takes a figure's numbers from those of a stretch; nil: it has none.
func nextNumbers(b []byte) (own any, rest []byte, err error) {
	if b == nil {
		return nil, nil, nil
	}
	if len(b) < 4 {
		return nil, nil, errStretch
	}
	size, b := binary.BigEndian.Uint32(b), b[4:]
	switch {
	case size == math.MaxUint32:
		return nil, b, nil
	case uint64(size) > uint64(len(b)):
		return nil, nil, errStretch
	}
	return b[:size:size], b[size:], nil
}
