package trend

import "math"

// Line is a drift's line through the blocks of a run, with what bounds it at 95 %.
type Line struct {
	Cycle, Value        float64 // the middle of the blocks, and the line there in the quantity's unit
	SD                  float64 // standard deviation of Value, in its unit
	Slope, Lower, Upper float64 // in the quantity's unit a cycle
}

// Line returns the drift's line; ok is false where there are too few values.
func (s *Series) Line() (l Line, ok bool) {
	f := s.fit()
	x := &f.line
	return Line{x.centre, x.level, x.levelSD, x.slope, x.lower, x.upper}, f.enough
}

// At returns the line at a cycle and its 95 % bounds there, in the quantity's unit.
func (l Line) At(cycle float64) (value, lower, upper float64) {
	away := cycle - l.Cycle
	value = l.Value + l.Slope*away
	steep, flat := (l.Upper-l.Slope)*away, (l.Slope-l.Lower)*away
	if away < 0 {
		steep, flat = flat, steep
	}
	level := 1.959963984540054 * l.SD
	return value, value - math.Hypot(level, flat), value + math.Hypot(level, steep)
}
