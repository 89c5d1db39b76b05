package calibration

import (
	"fmt"
	"math"
	"slices"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/problem"
	"makebreak/rig/wiring"
)

// A Calibration is the result of comparing an output with a meter.
type Calibration struct {
	Output    string
	Meter     string // the meter's serial
	By        string // who did it; may be empty
	Date, Due Day
	Wiring    string // what was calibrated, see the function Wiring
	// Nonlinearity is the half-width in volts at the terminal within which the
	// converter's nonlinearity moves a point.
	Nonlinearity float64 // volts
	Points       []Point
	Line
}

// A Line is the straight line through a calibration's points.
type Line struct {
	// The voltage at the terminal is Gain times the uncalibrated reading plus Offset,
	// in volts.
	Gain   float64 // volts per volt
	Offset float64 // volts
	// VarGain, VarOffset and Cov are the covariance matrix of gain and offset from
	// what may differ from point to point. The meter's accuracy that all points share
	// is not in it.
	VarGain   float64 // a share of one, squared
	VarOffset float64 // volts squared
	Cov       float64 // volts
	// Residuals are the meter's readings less the line, in volts.
	Residuals []float64 // volts
	// Tolerated are the standard uncertainties of the residuals in volts. With two
	// points they are 0: two points always lie on a line.
	Tolerated []float64 // volts
	ChiSquare float64   // weighted sum of the squared residuals, without a unit
	// Doubts are the uncertainties of a corrected reading that come from the meter
	// and the points.
	Doubts []capture.Doubt
}

// New fits a calibration of an output that is stored today, and refuses days and points
// that cannot be right. The rig is read without corrections. The error is of the kind Input.
func New(rig *wiring.Rig, c Calibration, today Day) (*Calibration, error) {
	c.Points = slices.Clone(c.Points)
	if err := c.check(rig.Uncorrected(), today); err != nil {
		return nil, problem.Of(problem.Input, fmt.Errorf("calibration of %s: %w", c.Output, err))
	}
	return &c, nil
}

// draw fits the line. Weights are the inverse variances of what may differ from point
// to point: the meter's digits, the reading's scatter and the converter's nonlinearity
// (half-width in volts).
func draw(points []Point, nonlinearity float64) (Line, error) {
	n := len(points)
	x, y, ux, uy := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range points {
		p := &points[i]
		x[i], y[i] = p.ReadVolts, p.Meter.Volts
		ux[i], uy[i] = math.Hypot(p.ReadStandard, nonlinearity*perSquareRootOf3), p.own()
	}
	f, err := fit(x, y, ux, uy)
	if err != nil {
		return Line{}, err
	}
	if !(f.gain > leastGain && f.gain < mostGain) {
		return Line{}, fmt.Errorf("the line through the points has a gain of %.4g, which should be near 1", f.gain)
	}
	l := Line{Gain: f.gain, Offset: f.offset, ChiSquare: f.chiSquare}
	for i := range points {
		l.Residuals = append(l.Residuals, y[i]-f.offset-f.gain*x[i])
	}
	ranges := f.ranges(points) // of the fit as it is: shift goes by its variance of the gain
	if n > 2 {
		// Points that scatter more than stated make the line less sure (Birge's ratio).
		worse := math.Max(1, f.chiSquare/float64(n-2))
		f.varGain, f.varOffset, f.covBoth = f.varGain*worse, f.varOffset*worse, f.covBoth*worse
	}
	l.VarGain, l.VarOffset, l.Cov = f.varGain, f.varOffset, f.covBoth
	l.tolerate(&f, ranges)
	l.doubt(&f, ranges)
	return l, nil
}

// shared is what the accuracy of one of the meter's ranges does to the line.
type shared struct {
	half         []float64 // each point's half-width in volts; 0 for those of other ranges
	gain, offset float64   // shift of the line where all of them err by that
}

// ranges lists the meter's ranges in the order of the points. The manual's accuracy is
// an error that all points of a range share, in full (GUM F.1.2.3).
func (l *line) ranges(points []Point) []shared {
	var all []shared
	done := make([]bool, len(points))
	for i := range points {
		if done[i] {
			continue
		}
		s := shared{half: make([]float64, len(points))}
		for k := i; k < len(points); k++ {
			if points[k].sameRange(&points[i]) {
				done[k] = true
				s.half[k] = points[k].Half()
			}
		}
		s.gain, s.offset = l.shift(s.half)
		all = append(all, s)
	}
	return all
}

// tolerate works out the residuals' standard uncertainties: a point's own variance less
// what it takes part in the line, and what a range's accuracy bends the points, which
// is nothing where one range took them all.
func (l *Line) tolerate(f *line, ranges []shared) {
	l.Tolerated = make([]float64, len(f.weights))
	if len(f.weights) < 3 {
		return
	}
	for i, w := range f.weights {
		v := 1/w - (1/sumOf(f.weights) + (f.xs[i]-f.middle)*(f.xs[i]-f.middle)/squares(f))
		for _, r := range ranges {
			bend := r.half[i] - r.offset - r.gain*f.xs[i]
			v += bend * bend / 3
		}
		if v > 1e-9/w { // else the point alone holds its end of the line
			l.Tolerated[i] = math.Sqrt(v)
		}
	}
}

func sumOf(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum
}

// squares is the weighted sum of squares of the abscissas about their mean.
func squares(f *line) float64 {
	sum := 0.0
	for i, w := range f.weights {
		sum += w * (f.xs[i] - f.middle) * (f.xs[i] - f.middle)
	}
	return sum
}

// doubt makes the uncertainties of a corrected reading. A change of gain and offset by
// g and o changes the corrected reading y by o - g·offset/gain + y·g/gain. The points'
// own part is split into two that are independent of each other: the line's height at
// the points' middle, and its slope about it.
func (l *Line) doubt(f *line, ranges []shared) {
	for _, r := range ranges {
		g := r.gain / l.Gain
		l.Doubts = append(l.Doubts, capture.Doubt{Source: capture.MeterAccuracy, Distribution: capture.Rectangular,
			Relative: g, Volts: r.offset - g*l.Offset})
	}
	height := math.Sqrt(math.Max(0, f.variance(f.middle)))
	slope := math.Sqrt(l.VarGain) / l.Gain
	l.Doubts = append(l.Doubts,
		capture.Doubt{Source: capture.CalibrationPoints, Distribution: capture.Normal, Volts: height},
		capture.Doubt{Source: capture.CalibrationSlope, Distribution: capture.Normal,
			Relative: slope, Volts: -slope * (l.Offset + l.Gain*f.middle)})
}

// agePerYear is by what share a divider may change in a year: common practice for
// metal film resistors that are hardly loaded, no source.
const agePerYear = 0.1e-2

// Correction returns what the calibration says of readings taken on a day: besides the
// meter and the points, the divider has aged since.
func (c *Calibration) Correction(today Day) wiring.Correction {
	doubts := append([]capture.Doubt(nil), c.Doubts...)
	if years := c.Date.YearsUntil(today); years > 0 {
		doubts = append(doubts, capture.Doubt{Source: capture.CalibrationAgeing, Distribution: capture.Rectangular, Relative: agePerYear * years})
	}
	return wiring.Correction{Gain: c.Gain, Offset: c.Offset, Doubts: doubts}
}

// Corrected returns the volts at the terminal for an uncalibrated reading.
func (l *Line) Corrected(read float64) float64 { return l.Offset + l.Gain*read }

// A Day is a day of the calendar.
type Day struct{ t time.Time }

// DayOf returns the day on which an instant falls where the clock says it.
func DayOf(t time.Time) Day {
	y, m, d := t.Date()
	return Day{time.Date(y, m, d, 0, 0, 0, 0, time.UTC)}
}

// ParseDay reads a day as in 2026-03-31.
func ParseDay(s string) (Day, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil || t.Year() < 1970 {
		return Day{}, fmt.Errorf("%q is not a day: write it as in 2026-03-31", s)
	}
	return Day{t}, nil
}

// String writes the day as in 2026-03-31.
func (d Day) String() string { return d.t.Format(time.DateOnly) }

// Before reports whether the day comes before the other.
func (d Day) Before(other Day) bool { return d.t.Before(other.t) }

// YearLater returns the same day a year later.
func (d Day) YearLater() Day { return Day{d.t.AddDate(1, 0, 0)} }

// YearsUntil returns the years from the day to a later one.
func (d Day) YearsUntil(other Day) float64 { return other.t.Sub(d.t).Hours() / 24 / 365.25 }
