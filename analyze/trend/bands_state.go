package trend

import (
	"encoding/binary"
	"hash/crc32"
	"math"
	"slices"
)

const bandsMagic = "bands\x00\x00\x01" // the last byte is the version

// MarshalBinary returns the whole state. Bands read back from it go on exactly as the original
// would.
func (b *Bands) MarshalBinary() ([]byte, error) {
	w := writer(bandsMagic)
	w.ints(int64(b.size))
	for _, all := range [][]stretch{b.done, b.pending, {b.open}} {
		w.ints(int64(len(all)))
		for _, s := range all {
			w.ints(int64(s.first), int64(s.last), int64(s.n), int64(len(s.points)))
			w.floats(s.points...)
		}
	}
	return binary.LittleEndian.AppendUint32(w, crc32.ChecksumIEEE(w)), nil
}

// UnmarshalBinary replaces the bands by a state that MarshalBinary wrote. On an error they stay
// as they were.
func (b *Bands) UnmarshalBinary(data []byte) error {
	n := len(data) - 4
	if n < len(bandsMagic) || string(data[:len(bandsMagic)]) != bandsMagic || crc32.ChecksumIEEE(data[:n]) != binary.LittleEndian.Uint32(data[n:]) {
		return errState
	}
	r := reader{data: data[len(bandsMagic):n]}
	read := Bands{size: r.count(math.MaxInt32), done: r.stretches(maxStretches), pending: r.stretches(maxLevels)}
	if open := r.stretches(2); len(open) == 1 {
		read.open = open[0]
	}
	if r.failed || len(r.data) > 0 || !read.sound() {
		return errState
	}
	*b = read
	return nil
}

func (r *reader) stretches(bound int) []stretch {
	all := make([]stretch, r.count(bound))
	for i := range all {
		s := &all[i]
		s.first, s.last, s.n = r.count(math.MaxInt32), r.count(math.MaxInt32), r.count(math.MaxInt32)
		s.points = make([]float64, r.count(bandPoints+1), bandPoints)
		for k := range s.points {
			s.points[k] = r.float()
		}
	}
	return all
}

// sound reports whether what was read can be the state of bands.
func (b *Bands) sound() bool {
	if b.size&(b.size-1) != 0 || b.size == 0 && b.N()+len(b.done)+len(b.pending) > 0 {
		return false
	}
	for _, s := range b.done {
		if s.n != b.size || !s.sound(min(b.size, bandPoints)) || !slices.IsSorted(s.points) {
			return false
		}
	}
	for i, s := range b.pending {
		if s.n != 0 && (s.n != bandPoints<<i || s.n >= b.size || !slices.IsSorted(s.points) || !s.sound(bandPoints)) {
			return false
		}
	}
	return b.open.n == len(b.open.points) && b.open.n < max(1, min(b.size, bandPoints)) && (b.open.n == 0 || b.open.sound(b.open.n))
}

func (s *stretch) sound(points int) bool {
	return s.first >= 1 && s.last >= s.first && len(s.points) == points && !slices.ContainsFunc(s.points, func(x float64) bool { return !finite(x) })
}
