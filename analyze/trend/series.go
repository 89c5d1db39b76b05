package trend

import (
	"errors"
	"fmt"
	"math"
)

// ErrOrder is the error of a cycle before the one added last.
var ErrOrder = errors.New("cycles must not go back")

// Series is one quantity over the cycles of a run. It is not safe for use by
// several goroutines at once.
type Series struct {
	from, to     int // first and last cycle
	cycles       int64
	missing      int64
	firstMissing int
	skipped      int64
	min, max     Extreme
	moments      moments
	sketch       sketch
	blocks       blocks
	failures     failures

	fitted *fit // of the blocks so far; nil: not made yet
}

// Extreme is a value with the first cycle that had it.
type Extreme struct {
	Value float64 // in the quantity's unit
	Cycle int
}

// New returns an empty series.
func New() (*Series, error) {
	s, err := newSketch()
	if err != nil {
		return nil, err
	}
	return &Series{sketch: s, min: Extreme{Value: math.NaN()}, max: Extreme{Value: math.NaN()}}, nil
}

// Add takes the value of a cycle, in the quantity's unit, NaN where there was none,
// and how it was judged. Cycles count from 1 and never go back; an event that
// happens twice in a cycle gives two values of one cycle. An infinite value is an
// error, and nothing is added.
func (s *Series) Add(cycle int, value float64, judged Outcome) error {
	switch {
	case cycle < 1 || cycle < s.to:
		return fmt.Errorf("cycle %d after cycle %d: %w", cycle, s.to, ErrOrder)
	case math.IsInf(value, 0):
		return fmt.Errorf("cycle %d: the value is infinite", cycle)
	case judged >= outcomes:
		return fmt.Errorf("cycle %d: no such outcome: %d", cycle, judged)
	}
	if !math.IsNaN(value) {
		if err := s.sketch.add(value); err != nil {
			return fmt.Errorf("cycle %d: %w", cycle, err)
		}
	}
	s.count(cycle)
	s.failures.add(cycle, judged)
	if math.IsNaN(value) {
		if s.missing == 0 {
			s.firstMissing = cycle
		}
		s.missing++
		return nil
	}
	if s.moments.n == 0 || value < s.min.Value {
		s.min = Extreme{value, cycle}
	}
	if s.moments.n == 0 || value > s.max.Value {
		s.max = Extreme{value, cycle}
	}
	s.moments.add(value)
	if s.blocks.add(cycle, value) {
		s.fitted = nil
	}
	return nil
}

// Judge takes a cycle that was judged though there is only a bound of its value: it is one of
// the series' cycles, and neither a value nor missing.
func (s *Series) Judge(cycle int, judged Outcome) error {
	switch {
	case cycle < 1 || cycle < s.to:
		return fmt.Errorf("cycle %d after cycle %d: %w", cycle, s.to, ErrOrder)
	case judged >= outcomes:
		return fmt.Errorf("cycle %d: no such outcome: %d", cycle, judged)
	}
	s.count(cycle)
	s.failures.add(cycle, judged)
	return nil
}

func (s *Series) count(cycle int) {
	if s.from == 0 {
		s.from = cycle
	} else if cycle > s.to {
		s.skipped += int64(cycle - s.to - 1)
	}
	if cycle > s.to {
		s.cycles++
	}
	s.to = cycle
}

// fit is what the blocks say.
type fit struct {
	line   line
	step   Step
	enough bool
	shape  Shape
}

// fit fits the blocks once, until the next block is complete.
func (s *Series) fit() *fit {
	if s.fitted != nil {
		return s.fitted
	}
	f := &fit{shape: Unknown}
	if l, ok := lineThrough(s.blocks.done); ok {
		f.line, f.enough = l, true
		f.step, _ = stepIn(s.blocks.done)
		f.shape = f.choose(s.blocks.done, s.looks())
	}
	s.fitted = f
	return f
}

// choose names the shape: steady unless a test is clear enough for one of many looks,
// then whichever explains the blocks clearly better. A step makes the test for drift
// clear as well, and the reverse.
func (f *fit) choose(b []block, looks float64) Shape {
	if 2*min(f.line.p(), f.step.P)*looks >= Significance { // two tests
		return Steady
	}
	level := func(i int) float64 { return f.line.at(b[i].centre) }
	ratio, places := compare(b, level, &f.step)
	f.step.place(b, places)
	switch {
	case ratio > math.Log(clearly):
		return Drifting
	case ratio < -math.Log(clearly):
		return Stepped
	}
	return Changed
}

// looks is among how many looks the level of the tests is shared, so that a steady run
// that is looked at again and again, from its first blocks on, is called changed in no
// more than Significance of all cases. Each doubling of the values is a look of its own;
// looks in between see nearly the same.
func (s *Series) looks() float64 {
	return 1 + math.Max(0, math.Log2(float64(s.moments.n)/minBlocks))
}
