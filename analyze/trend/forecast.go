package trend

import (
	"fmt"
	"math"
)

const (
	// WarnAt is the confidence from which a forecast warns. It is high because a soak
	// asks again and again: at 0.999, fewer than 1 in 100 steady quantities
	// warn at any time of a run that is asked a hundred times (tested on noise).
	WarnAt = 0.999
	// maxReach is how many times the cycles seen a forecast may look ahead and still
	// warn. A unit that warms up drifts for its first minutes; that must not be drawn
	// out to a week.
	maxReach = 10
	// maxDrawn is how many times the cycles seen the crossing may lie ahead: a drift is
	// drawn out no further than to three times what it has been seen to go.
	maxDrawn = 2
	// lateBlocks is how many blocks the last quarter must have to be looked at alone.
	lateBlocks = 24
)

// Limit is one limit of a quantity, in its unit.
type Limit struct {
	Value float64 // in the quantity's unit
	Upper bool    // values must not lie above, else: not below
}

// Forecast says whether a quantity's drift will take it across a limit within the
// planned cycles. It speaks of the middle of the values; single values cross
// earlier by their spread.
type Forecast struct {
	Limit   Limit
	Planned int
	// Level is where the middle of the values lies at the last cycle.
	Level float64 // in the quantity's unit
	// Crossing is the cycle at which the drift's line meets the limit, 0 where it never
	// does. Earliest and Latest follow from the slope's 95 % bounds, 0: never.
	Crossing, Earliest, Latest int
	// Confidence is that of the statement "it crosses within the planned cycles":
	// one less the probability of so clear a drift in a quantity whose true line just misses
	// the limit. NaN where it can't be told.
	Confidence float64 // share, 0 to 1
	// Warn says that the confidence reaches WarnAt, that the forecast looks no further
	// ahead than ten times the cycles seen, that the crossing lies no further ahead than
	// twice those, and that the drift goes on over the latter half of them.
	Warn bool
	// From is the first cycle that the forecast builds on: the first of the run, the
	// first after a step, or the first of the last quarter where a drift began late.
	From int
	// Beyond says that the middle is across already; there is nothing to forecast.
	Beyond bool
	// Reason says why there is no forecast, or what to doubt in it.
	Reason string
}

// Forecast looks ahead to the planned number of cycles.
func (s *Series) Forecast(limit Limit, planned int) Forecast {
	out := Forecast{Limit: limit, Planned: planned, Level: math.NaN(), Confidence: math.NaN()}
	f := s.fit()
	if math.IsNaN(limit.Value) || math.IsInf(limit.Value, 0) {
		out.Reason = "no limit to cross"
		return out
	}
	if !f.enough {
		out.Reason = fmt.Sprintf("too few values: %d, a forecast needs %d", s.moments.n, minBlocks)
		return out
	}
	windows := s.windows(f)
	if len(windows) == 0 {
		out.Reason = fmt.Sprintf("a step at cycle %d, and too few values since", f.step.At)
		return out
	}
	best, line := math.Inf(1), windows[0]
	for _, l := range windows {
		g := l.forecast(limit, planned, s.to)
		if out.From == 0 || g.chance < best {
			best, line = g.chance, l
			g.fill(&out, l)
		}
	}
	s.conclude(&out, best, len(windows))
	s.restrain(&out, &line)
	return out
}

// windows are the stretches of the run that a drift is looked for in: all of it, or
// what came since a step; and the last quarter alone, since wear begins late.
func (s *Series) windows(f *fit) []line {
	b := s.blocks.done
	all := f.line
	if f.shape == Stepped || f.shape == Changed { // what may be a step may be over
		b = b[f.step.index:]
		l, ok := lineThrough(b)
		if !ok {
			return nil
		}
		all = l
	}
	out := []line{all}
	if n := len(b) / 4; n >= lateBlocks {
		if l, ok := lineThrough(b[len(b)-n:]); ok {
			out = append(out, l)
		}
	}
	return out
}

// ahead is one window's forecast.
type ahead struct {
	chance                     float64 // of so clear a crossing in time, did it just miss
	level                      float64
	crossing, earliest, latest int
}

func (l *line) forecast(limit Limit, planned, now int) ahead {
	dir := -1.0
	if limit.Upper {
		dir = 1
	}
	a := ahead{level: l.at(float64(now))}
	h := float64(planned) - l.centre
	needed := (limit.Value - l.level) / h
	z := dir * l.steeper(needed)
	// The deviate so far takes the level at the centre as known. Its variance adds to
	// that of the slope over the way to the planned cycle.
	if slopeSD := (l.upper - l.lower) / (2 * 1.959963984540054) * h; slopeSD > 0 {
		z /= math.Sqrt(1 + (l.levelSD/slopeSD)*(l.levelSD/slopeSD))
	}
	a.chance = l.left.chance(z, l.left.rest)
	meet := func(slope float64) int {
		if dir*slope <= 0 {
			return 0
		}
		x := math.Ceil(l.centre + (limit.Value-l.level)/slope)
		if x > math.MaxInt32 { // beyond any run, and beyond int on small machines
			return 0
		}
		return max(now, int(x))
	}
	a.crossing, a.earliest, a.latest = meet(l.slope), meet(l.upper), meet(l.lower)
	if !limit.Upper {
		a.earliest, a.latest = a.latest, a.earliest
	}
	return a
}

func (a ahead) fill(out *Forecast, l line) {
	out.Level, out.From = a.level, l.blocks[0].first
	out.Crossing, out.Earliest, out.Latest = a.crossing, a.earliest, a.latest
}

// conclude turns the least chance of so many windows into a confidence: looking
// at two gives chance twice the occasion (Bonferroni).
func (s *Series) conclude(out *Forecast, chance float64, windows int) {
	over := out.Level - out.Limit.Value
	if !out.Limit.Upper {
		over = -over
	}
	switch {
	case over > 0:
		out.Beyond = true
		out.Reason = "the middle of the values is beyond the limit already"
		out.Crossing, out.Earliest, out.Latest = 0, 0, 0
		return
	case out.Planned <= s.to:
		out.Reason = fmt.Sprintf("all %d planned cycles are done", out.Planned)
		return
	}
	out.Confidence = math.Max(0, 1-float64(windows)*chance)
	seen := s.to - out.From + 1
	if reach := float64(out.Planned-s.to) / float64(seen); reach > maxReach {
		out.Reason = fmt.Sprintf("looks %.0f times as far ahead as the %d cycles that it builds on: no warning from that", reach, seen)
		return
	}
	out.Warn = out.Confidence >= WarnAt
}

// restrain takes a warning back that draws out too far what was seen. A swing slower than
// the run looks like a drift. It is told from one only by its bend, or once it turns.
func (s *Series) restrain(out *Forecast, l *line) {
	if !out.Warn {
		return
	}
	seen := s.to - out.From + 1
	switch {
	case out.Crossing == 0:
		out.Warn = false // it does not come near the limit, at the slope that is likeliest
	case out.Crossing-s.to > maxDrawn*seen:
		out.Warn = false
		out.Reason = fmt.Sprintf("crosses only after more than %d times the %d cycles that it builds on: no warning from that yet", maxDrawn, seen)
	case !l.lasts(out.Limit, out.Planned, s.to):
		out.Warn = false
		out.Reason = "the drift of the latest half would not reach the limit in time: no warning from that yet"
	}
}

// lasts reports whether the drift went the same way in both halves, and would still cross
// the limit in time by the slope of the latter alone.
func (l *line) lasts(limit Limit, planned, now int) bool {
	half := len(l.blocks) / 2
	early, late := senSlope(l.blocks[:half]), senSlope(l.blocks[half:])
	ends := l.at(float64(now)) + late*float64(planned-now) - limit.Value
	if !limit.Upper {
		early, ends = -early, -ends
	}
	return early > 0 && ends >= 0
}
