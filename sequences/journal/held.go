package journal

import (
	"encoding/binary"
	"errors"
	"math"

	"makebreak/analyze"
)

// The cycles that a run stored last are held in memory, too. Who writes over the log's file
// destroys what is in it; what is held here can be stored in another one.

const (
	// heldBytes are how many bytes of figures are held, those of thousands of cycles, and
	// heldCaptures of captures.
	heldBytes    = 16 << 20
	heldCaptures = 4 << 20
	// heldEach is about what a cycle takes beside its rows.
	heldEach = 300
)

// held are a run's last cycles, rising.
type held struct {
	cycles          []heldCycle
	bytes, captures int
}

// heldCycle is a cycle with its figures as rows.
type heldCycle struct {
	Cycle   // without measurements
	figures int
	rows    []byte
	doubts  [][]analyze.Doubt // those that are not empty, in the order of the rows
}

// add holds a cycle that is being stored.
func (h *held) add(c *Cycle, rows []measured) {
	x := heldCycle{Cycle: *c, figures: len(rows)}
	x.Measurements = nil
	b := make([]byte, 0, 48*len(rows))
	for i := range rows {
		m, row := &c.Measurements[i], &rows[i]
		doubted := byte(0)
		if len(m.Doubts) > 0 {
			doubted = 1
			x.doubts = append(x.doubts, m.Doubts)
		}
		b = binary.AppendUvarint(b, uint64(row.point))
		b = append(b, byte(row.verdict), doubted)
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(m.Value))
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(m.Expanded))
		b = binary.AppendUvarint(b, uint64(len(row.numbers)))
		b = append(b, row.numbers...)
	}
	x.rows = b
	h.cycles = append(h.cycles, x)
	h.bytes += x.size()
	h.captures += len(x.Capture)
}

func (c *heldCycle) size() int { return heldEach + cap(c.rows) }

// mark is how many cycles are held; forget drops those that have come in since.
func (h *held) mark() int { return len(h.cycles) }

func (h *held) forget(since int) {
	for i := range h.cycles[since:] {
		c := &h.cycles[since+i]
		h.bytes -= c.size()
		h.captures -= len(c.Capture)
	}
	clear(h.cycles[since:])
	h.cycles = h.cycles[:since]
}

// trim drops the first cycles and captures of too many, where so many runs share what may be held.
func (h *held) trim(runs int) {
	n := 0
	for ; h.bytes > heldBytes/runs; n++ {
		h.bytes -= h.cycles[n].size()
		h.captures -= len(h.cycles[n].Capture)
	}
	clear(h.cycles[:n])
	h.cycles = h.cycles[n:]
	for i := 0; h.captures > heldCaptures/runs; i++ {
		h.captures -= len(h.cycles[i].Capture)
		h.cycles[i].Capture = nil
	}
}

// cycle returns a held cycle as it was stored.
func (c *heldCycle) cycle(points []*point) (*Cycle, error) {
	all := c.Cycle
	b, doubts := c.rows, c.doubts
	for range c.figures {
		m := analyze.Measurement{Cycle: c.N}
		at, n := binary.Uvarint(b)
		if n <= 0 || at >= uint64(len(points)) || points[at] == nil {
			return nil, errors.New("a figure that is held has no point")
		}
		p := points[at]
		m.Event, m.Signal, m.Quantity, m.Limit, m.Budget = p.event, p.signal, p.quantity, p.limit, p.budget()
		b = b[n:]
		var err error
		if m.Verdict, err = verdictOf(int(b[0])); err != nil {
			return nil, err
		}
		if b[1] != 0 {
			m.Doubts, doubts = doubts[0], doubts[1:]
		}
		m.Value = math.Float64frombits(binary.LittleEndian.Uint64(b[2:]))
		m.Expanded = math.Float64frombits(binary.LittleEndian.Uint64(b[10:]))
		b = b[18:]
		size, n := binary.Uvarint(b)
		if err := unpackNumbers(&m, p.numbers, b[n:n+int(size)]); err != nil {
			return nil, err
		}
		b = b[n+int(size):]
		all.Measurements = append(all.Measurements, m)
	}
	return &all, nil
}

// pointsHeld returns the run's points, each at its number.
func (r *Run) pointsHeld() []*point {
	points := make([]*point, r.dict.nextPoint)
	for _, p := range r.dict.points {
		points[p.id] = p
	}
	return points
}
