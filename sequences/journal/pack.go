package journal

import (
	"encoding/binary"
	"fmt"
	"math"

	"makebreak/analyze"
	"makebreak/analyze/gum"
)

// A measurement has numbers beside its value and its expanded uncertainty: the
// four below, and three for each line of its budget. Most of them are the same in
// every cycle. The point keeps those of its first measurement; a row keeps those
// that differ, bit for bit: a mask with one bit a number, lowest bit first, in
// whole bytes, then the numbers that it marks, 8 bytes each, lowest first. A row
// that differs in none keeps nothing.
const (
	ownNumbers  = 4 // standard, coverage, degrees of freedom, conformance
	lineNumbers = 3 // standard, sensitivity, degrees of freedom
)

func numbersIn(lines int) int { return ownNumbers + lineNumbers*lines }

// number returns the i-th of a measurement's numbers.
func number(m *analyze.Measurement, i int) *float64 {
	switch i {
	case 0:
		return &m.Standard
	case 1:
		return &m.Coverage
	case 2:
		return &m.DegreesOfFreedom
	case 3:
		return &m.Conformance
	}
	c := &m.Budget[(i-ownNumbers)/lineNumbers]
	switch (i - ownNumbers) % lineNumbers {
	case 0:
		return &c.Standard
	case 1:
		return &c.Sensitivity
	}
	return &c.DegreesOfFreedom
}

func numbersOf(m *analyze.Measurement) []float64 {
	all := make([]float64, numbersIn(len(m.Budget)))
	for i := range all {
		all[i] = *number(m, i)
	}
	return all
}

// packNumbers returns what differs from the point's numbers.
func packNumbers(m *analyze.Measurement, same []float64) []byte {
	mask := (len(same) + 7) / 8
	var b []byte
	for i, s := range same {
		bits := math.Float64bits(*number(m, i))
		if bits == math.Float64bits(s) {
			continue
		}
		if b == nil {
			b = make([]byte, mask, mask+8*(len(same)-i))
		}
		b[i/8] |= 1 << (i % 8)
		b = binary.LittleEndian.AppendUint64(b, bits)
	}
	return b
}

// unpackNumbers fills in a measurement's numbers. Its budget has its lines.
func unpackNumbers(m *analyze.Measurement, same []float64, b []byte) error {
	mask := (len(same) + 7) / 8
	if len(b) > 0 && len(b) < mask {
		return fmt.Errorf("%w: the numbers of a measurement end too soon", ErrCorrupt)
	}
	marks, rest := b[:min(mask, len(b))], b[min(mask, len(b)):]
	for i, s := range same {
		if len(marks) > 0 && marks[i/8]&(1<<(i%8)) != 0 {
			if len(rest) < 8 {
				return fmt.Errorf("%w: the numbers of a measurement end too soon", ErrCorrupt)
			}
			s = math.Float64frombits(binary.LittleEndian.Uint64(rest))
			rest = rest[8:]
		}
		*number(m, i) = s
	}
	if len(rest) > 0 {
		return fmt.Errorf("%w: a measurement has %d bytes of numbers too many", ErrCorrupt, len(rest))
	}
	return nil
}

// budget returns the lines of the point's budget, named and not yet filled in;
// nil where it has none.
func (p *point) budget() []gum.Component {
	if len(p.sources) == 0 {
		return nil
	}
	lines := make([]gum.Component, len(p.sources))
	for i, s := range p.sources {
		lines[i].Source, lines[i].Distribution = gum.Source(s.Source), s.Distribution
	}
	return lines
}

func floatBytes(all []float64) []byte {
	b := make([]byte, 0, 8*len(all))
	for _, x := range all {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
	}
	return b
}

// floatsOf reads what floatBytes wrote; bytes over are left out, which the number
// of floats then shows.
func floatsOf(b []byte) []float64 {
	all := make([]float64, len(b)/8)
	for i := range all {
		all[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
	}
	return all
}
