package measure

import (
	"fmt"
	"math"
	"strconv"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// lostIn returns what may have been lost of a line in from..to. What merged with an edge
// happened right before it, as late as the kernel's handler ran. What was dropped may have
// been anywhere from the edge before to the one that showed it.
func lostIn(t *capture.Track, from, to capture.Instant) []capture.Loss {
	var lost []capture.Loss
	for _, l := range t.Losses {
		if l.To < from || l.From >= to || l.Sign == capture.Merge && l.To >= to {
			continue
		}
		lost = append(lost, l)
	}
	return lost
}

// lossy reports whether edges of the contact are missing, or may be without a sign.
func (c change) lossy() bool { return len(c.lost) > 0 }

// missingEdges says that edges of contacts are missing, or may be.
func missingEdges(contacts ...change) analyze.Doubt {
	for _, c := range contacts {
		for _, l := range c.lost {
			if l.Sign != capture.Neighbour {
				return of(analyze.EdgesMissing)
			}
		}
	}
	return of(analyze.EdgesInDoubt)
}

// lateAt reports whether there may have been edges before the first one recorded, at the
// instant. Where edges merged in the state, that one may be several as well: three leave no
// sign, and have the last one's stamp.
func (c change) lateAt(first capture.Instant) bool {
	for _, l := range c.lost {
		if l.Sign == capture.Merge || l.From < first {
			return true
		}
	}
	return false
}

// earlyAt reports whether there may have been edges after the last one recorded, at the
// instant.
func (c change) earlyAt(last capture.Instant) bool {
	for _, l := range c.lost {
		if l.Sign == capture.Merge || l.To > last {
			return true
		}
	}
	return false
}

// lateness is the longest, in seconds, that an edge of a capture's contacts is known to have
// waited for the kernel's handler: 0 where it is no longer than twice the uncertainty of a
// stamp, below which no record claims to see a bounce. What else comes until the handler runs
// is taken for the same edge, which has the last one's stamp. Three that are taken for one
// leave no sign, and the handler is late for all lines at once: so any edge of the capture
// may have come sooner by that.
func lateness(c *capture.Capture) float64 {
	late := 0.0
	for _, t := range c.Tracks {
		if t.Late > 2*t.Stamp {
			late = math.Max(late, t.Late.Seconds())
		}
	}
	return late
}

// stamps is the uncertainty of the time stamps of one edge on each track.
func (m *Meter) stamps(tracks ...*capture.Track) []gum.Component {
	budget := stampOf(tracks...)
	if m.late > 0 {
		budget = append(budget, gum.Line(analyze.EdgesMayMerge, "rectangular", m.late, 1))
	}
	return budget
}

// hidden says that there may be more to count than was recorded, or nothing.
func (m *Meter) hidden() []analyze.Doubt {
	if m.late == 0 {
		return nil
	}
	return figure(analyze.EdgesMayHide, roundUp(m.late)) // few different ones, since logs keep each
}

// boundRow appends a measurement of which the value is only a bound, for what its doubts
// say. The bound holds what the budget says of the value: it lies that much farther out.
func (m *Meter) boundRow(x analyze.Measurement, b analyze.Bound, budget []gum.Component) {
	u := 0.0
	if len(budget) > 0 {
		_, u = gum.Combine(budget).Expanded()
	}
	code := analyze.AtMost
	if b == analyze.LowerBound {
		code, u = analyze.AtLeast, -u
	}
	if x.Value += u; x.Quantity == analyze.BounceTime {
		x.Value = math.Max(0, x.Value)
	}
	x.Value = outward(x.Value, b)
	x.Doubts = append(x.Doubts, of(code))
	m.row(x, nil)
}

// outward rounds a bound to three significant digits, and never beyond what is known.
func outward(v float64, b analyze.Bound) float64 {
	if v == 0 || math.IsInf(v, 0) {
		return v
	}
	const little = 1e-6 // of the last digit: what a number lacks that was written so
	digits := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	scaled := v * math.Pow(10, float64(digits))
	if b == analyze.UpperBound {
		scaled = math.Ceil(scaled - little)
	} else {
		scaled = math.Floor(scaled + little)
	}
	// Through the decimal text, so that the result is the nearest number to it.
	w, err := strconv.ParseFloat(fmt.Sprintf("%.0fe%d", scaled, -digits), 64)
	if err != nil {
		return v
	}
	return w
}

// doubtMissing leaves a verdict undecided that says that a contact did not move, where
// edges of it were lost or may have been: it may have.
func doubtMissing(v analyze.Verdict, why analyze.Doubt, contacts ...change) (analyze.Verdict, []analyze.Doubt) {
	for _, c := range contacts {
		if v == analyze.Fail && c.lossy() {
			return analyze.Undecided, []analyze.Doubt{why, missingEdges(contacts...)}
		}
	}
	return v, []analyze.Doubt{why}
}
