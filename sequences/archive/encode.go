package archive

import (
	"context"
	"encoding/binary"
	"fmt"
	"hash"
	"io"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"makebreak/sequences/journal"
)

// job is a query of the log's rows that go into a table, with the values that stand before each.
type job struct {
	name string // of the run, for errors
	own  []any
	args []any
	sum  hash.Hash // takes the log's values too; nil: none does
}

// stream is rows of the log in the binary form of PostgreSQL's COPY (its manual, "Binary
// Format"), made as they are read.
type stream struct {
	ctx      context.Context
	snapshot *journal.Snapshot
	table    *relation
	jobs     []job
	query    string
	rows     *journal.Rows // of the first job; nil: it was not begun
	begun    bool
	done     bool
	buffer   []byte
	start    int // of what is not read yet
	err      error
	gathered *stretches // of rows that go together; nil: each goes by itself
	line     []byte     // a row that goes with others
}

const (
	copyHead  = "PGCOPY\n\xff\r\n\x00" + "\x00\x00\x00\x00" + "\x00\x00\x00\x00" // flags, length of an extension
	fullRead  = 64 << 10                                                         // bytes
	copiesEnd = "\xff\xff"
)

func newStream(ctx context.Context, s *journal.Snapshot, t *relation, jobs []job) *stream {
	return &stream{ctx: ctx, snapshot: s, table: t, jobs: jobs, query: t.selection()}
}

// Read implements io.Reader.
func (s *stream) Read(p []byte) (int, error) {
	if s.start == len(s.buffer) {
		s.buffer, s.start = s.buffer[:0], 0
		if s.err == nil {
			s.err = s.fill()
		}
		if s.err != nil {
			return 0, s.err
		}
	}
	n := copy(p, s.buffer[s.start:])
	s.start += n
	return n, nil
}

// fill reads rows until the buffer is full; io.EOF: all were read.
func (s *stream) fill() error {
	if s.done {
		return io.EOF
	}
	if !s.begun {
		s.buffer, s.begun = append(s.buffer, copyHead...), true
	}
	for len(s.buffer) < fullRead {
		if len(s.jobs) == 0 {
			s.buffer, s.done = append(s.buffer, copiesEnd...), true
			return nil
		}
		if err := s.row(); err != nil {
			return err
		}
	}
	return nil
}

// row reads one row of the first job, or ends it.
func (s *stream) row() error {
	j := &s.jobs[0]
	if s.rows == nil {
		rows, err := s.snapshot.Rows(s.ctx, s.query, j.args...)
		if err != nil {
			return err
		}
		s.rows = rows
		if s.gathered != nil {
			if s.gathered.own, err = appendRow(s.gathered.own[:0], s.table.own, j.own); err != nil {
				return fmt.Errorf("run %s: %w", j.name, err)
			}
		}
	}
	if !s.rows.Next() {
		err := s.rows.Err()
		s.close()
		if s.gathered != nil {
			s.buffer = s.gathered.flush(s.buffer)
		}
		s.jobs = s.jobs[1:]
		return err
	}
	if s.gathered != nil {
		return s.gather(j)
	}
	s.buffer = binary.BigEndian.AppendUint16(s.buffer, uint16(len(s.table.own)+len(s.table.columns)))
	var err error
	if s.buffer, err = appendRow(s.buffer, s.table.own, j.own); err != nil {
		return fmt.Errorf("run %s: %w", j.name, err)
	}
	from := len(s.buffer)
	if s.buffer, err = appendRow(s.buffer, s.table.columns, s.rows.Values); err != nil {
		return fmt.Errorf("run %s: table %s: %w", j.name, s.table.name, err)
	}
	if j.sum != nil {
		_, _ = j.sum.Write(s.buffer[from:]) // never fails
	}
	return nil
}

// gather adds the row that was read to those that it goes with.
func (s *stream) gather(j *job) (err error) {
	if s.line, err = appendRow(s.line[:0], s.table.columns, s.rows.Values); err == nil {
		_, _ = j.sum.Write(s.line) // never fails
		s.buffer, err = s.gathered.add(s.buffer, s.line)
	}
	if err != nil {
		return fmt.Errorf("run %s: table %s: %w", j.name, s.table.name, err)
	}
	return nil
}

func (s *stream) close() {
	if s.rows != nil {
		s.rows.Close()
		s.rows = nil
	}
}

// appendRow writes values as PostgreSQL takes them. The log's columns have types, which SQLite
// keeps; what is of another one is damage.
func appendRow(b []byte, columns []column, values []any) ([]byte, error) {
	for i := range columns {
		var err error
		if b, err = appendValue(b, columns[i].kind, values[i]); err != nil {
			return b, fmt.Errorf("column %s: %w", columns[i].name, err)
		}
	}
	return b, nil
}

func appendValue(b []byte, k kind, value any) ([]byte, error) {
	size := func(n int) { b = binary.BigEndian.AppendUint32(b, uint32(n)) }
	switch v := value.(type) {
	case nil:
		return append(b, null...), nil
	case int64:
		switch {
		case k == large:
			size(8)
			return binary.BigEndian.AppendUint64(b, uint64(v)), nil
		case k == whole && v == int64(int32(v)):
			size(4)
			return binary.BigEndian.AppendUint32(b, uint32(v)), nil
		case k == small && v == int64(int16(v)):
			size(2)
			return binary.BigEndian.AppendUint16(b, uint16(v)), nil
		}
	case float64:
		if k == real {
			size(8)
			return binary.BigEndian.AppendUint64(b, math.Float64bits(v)), nil
		}
	case string:
		if err := checkText(v); err != nil {
			return b, err
		}
		if k == text {
			size(len(v))
			return append(b, v...), nil
		}
	case []byte:
		if k == bytesKind {
			size(len(v))
			return append(b, v...), nil
		}
	case time.Time:
		if k == day {
			size(4)
			return binary.BigEndian.AppendUint32(b, uint32(int32(math.Floor(v.Sub(firstDay).Hours()/24)))), nil
		}
	}
	return b, fmt.Errorf("%w: it holds a %T that it cannot have", journal.ErrCorrupt, value)
}

// firstDay is that which PostgreSQL counts days from.
var firstDay = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// checkTexts is checkText for those of some values that are texts.
func checkTexts(values []any) error {
	for _, v := range values {
		if s, is := v.(string); is {
			if err := checkText(s); err != nil {
				return err
			}
		}
	}
	return nil
}

// checkText refuses what PostgreSQL has no text for.
func checkText(s string) error {
	if !utf8.ValidString(s) || strings.Contains(s, "\x00") {
		return fmt.Errorf("%w: it holds a text that is no UTF-8 or has a zero in it, which PostgreSQL cannot store", journal.ErrCorrupt)
	}
	return nil
}
