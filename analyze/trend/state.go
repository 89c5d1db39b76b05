package trend

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
)

// MaxState is the size in bytes that a marshalled series never exceeds.
const MaxState = 36 << 10

const magic = "trend\x00\x00\x01" // the last byte is the version

// maxJudged is more than any run has.
const maxJudged = 1e12

var errState = errors.New("not the state of a series, or damaged")

// MarshalBinary returns the series' whole state, at most MaxState bytes. A series
// read back from it goes on exactly as the original would, to the last bit.
func (s *Series) MarshalBinary() ([]byte, error) {
	digest, err := s.sketch.marshal()
	if err != nil {
		return nil, fmt.Errorf("state of a series: %w", err)
	}
	w := writer([]byte(magic))
	w.ints(int64(s.from), int64(s.to), s.cycles, s.missing, int64(s.firstMissing), s.skipped,
		int64(s.min.Cycle), int64(s.max.Cycle))
	w.floats(s.min.Value, s.max.Value)
	m := &s.moments
	w.ints(m.n)
	w.floats(m.mean, m.m2, m.first, m.last, m.sum, m.products)
	f := &s.failures
	w.ints(f.judged, f.doubtful, f.outside, int64(f.first), int64(f.last), f.streak, f.longest, f.rows, f.at)
	w.floats(f.places, f.gaps, f.logs, f.gap, f.differences)
	b := &s.blocks
	w.ints(int64(b.depth), int64(len(b.done)))
	w.blocks(b.done)
	for level := range b.depth {
		n := b.waiting[level]
		w.ints(int64(n))
		w.blocks(b.pending[level][:n])
	}
	w.ints(int64(len(digest)))
	w = append(w, digest...)
	return binary.LittleEndian.AppendUint32(w, crc32.ChecksumIEEE(w)), nil
}

// UnmarshalBinary replaces the series by a state that MarshalBinary wrote. On an
// error the series stays as it was.
func (s *Series) UnmarshalBinary(data []byte) error {
	n := len(data) - 4
	if n < len(magic) || len(data) > MaxState || string(data[:len(magic)]) != magic ||
		crc32.ChecksumIEEE(data[:n]) != binary.LittleEndian.Uint32(data[n:]) {
		return errState
	}
	r := reader{data: data[len(magic):n]}
	var t Series
	t.from, t.to, t.cycles, t.missing = int(r.int()), int(r.int()), r.int(), r.int()
	t.firstMissing, t.skipped = int(r.int()), r.int()
	t.min.Cycle, t.max.Cycle = int(r.int()), int(r.int())
	t.min.Value, t.max.Value = r.float(), r.float()
	t.moments = moments{n: r.int(), mean: r.float(), m2: r.float(), first: r.float(), last: r.float(),
		sum: r.float(), products: r.float()}
	t.failures = failures{judged: r.int(), doubtful: r.int(), outside: r.int(), first: int(r.int()), last: int(r.int()),
		streak: r.int(), longest: r.int(), rows: r.int(), at: r.int(), places: r.float(), gaps: r.float(), logs: r.float(), gap: r.float(), differences: r.float()}
	r.blocks(&t.blocks)
	digest := r.bytes(r.int())
	if r.failed || len(r.data) > 0 || !t.sound() {
		return errState
	}
	var err error
	if t.sketch, err = unmarshalSketch(digest, t.moments.n); err != nil {
		return fmt.Errorf("state of a series: %w", err)
	}
	*s = t
	return nil
}

// sound reports whether the counts agree with each other.
func (s *Series) sound() bool {
	b, f := &s.blocks, &s.failures
	total, size := int64(0), int64(1)
	for level := range b.depth {
		total += size * int64(b.waiting[level])
		size *= join
	}
	total += size * int64(len(b.done))
	return total == s.moments.n && s.missing >= 0 && s.skipped >= 0 && s.from >= 0 && s.to >= s.from &&
		f.judged <= maxJudged && f.outside >= 0 && f.doubtful >= 0 && f.judged-f.outside >= f.doubtful &&
		f.rows >= 0 && f.rows <= f.outside && f.at <= f.judged && f.streak <= f.longest && f.longest <= f.outside
}

type writer []byte

func (w *writer) ints(v ...int64) {
	for _, x := range v {
		*w = binary.LittleEndian.AppendUint64(*w, uint64(x))
	}
}

func (w *writer) floats(v ...float64) {
	for _, x := range v {
		*w = binary.LittleEndian.AppendUint64(*w, math.Float64bits(x))
	}
}

func (w *writer) blocks(b []block) {
	for _, c := range b {
		w.ints(int64(c.first), int64(c.last))
		w.floats(c.centre, c.value)
	}
}

// reader reads what writer wrote; failed says that it ended too soon or made no
// sense, after which all is zero.
type reader struct {
	data   []byte
	failed bool
}

func (r *reader) bytes(n int64) []byte {
	if r.failed || n < 0 || n > int64(len(r.data)) {
		r.failed = true
		return nil
	}
	b := r.data[:n]
	r.data = r.data[n:]
	return b
}

func (r *reader) int() int64 {
	b := r.bytes(8)
	if b == nil {
		return 0
	}
	return int64(binary.LittleEndian.Uint64(b))
}

func (r *reader) float() float64 { return math.Float64frombits(uint64(r.int())) }

// count reads a count that must lie below a bound.
func (r *reader) count(bound int) int {
	n := r.int()
	if n < 0 || n >= int64(bound) {
		r.failed = true
		return 0
	}
	return int(n)
}

func (r *reader) block() block {
	c := block{first: int(r.int()), last: int(r.int()), centre: r.float(), value: r.float()}
	if !finite(c.centre) || !finite(c.value) {
		r.failed = true
	}
	return c
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func (r *reader) blocks(b *blocks) {
	b.depth = r.count(maxLevels)
	n := r.count(maxBlocks)
	b.done = make([]block, 0, maxBlocks)
	for range n {
		b.done = append(b.done, r.block())
	}
	for level := range b.depth {
		b.waiting[level] = uint8(r.count(join))
		for i := range b.waiting[level] {
			b.pending[level][i] = r.block()
		}
	}
}
