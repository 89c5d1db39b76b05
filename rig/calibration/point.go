package calibration

import (
	"errors"
	"fmt"
	"math"

	"makebreak/rig/capture"
	"makebreak/rig/unit"
)

// Point is one steady voltage, seen by the meter and by the rig at the same terminal.
type Point struct {
	Meter    Reading
	Accuracy Accuracy
	// ReadVolts is what the rig read without any calibration: the mean of N samples,
	// in volts at the terminal.
	ReadVolts float64
	// ReadStandard is that mean's standard uncertainty in volts from scatter and drift.
	ReadStandard float64
	N            int
	// Accepted says that meter and rig differ by more than tolerances explain, and that
	// somebody has looked and takes the point all the same.
	Accepted bool
}

// Half returns the half-width in volts within which the meter's accuracy puts the
// true voltage.
func (p *Point) Half() float64 { return p.Accuracy.HalfWidth(p.Meter) }

// MeterStandard returns the standard uncertainty of the meter's reading in volts,
// rectangular within its accuracy (GUM 4.3.7).
func (p *Point) MeterStandard() float64 { return p.Half() * perSquareRootOf3 }

// own is the standard uncertainty in volts of what may differ from one point to the
// next of the same meter and range: its digits.
func (p *Point) own() float64 {
	return math.Max(p.Accuracy.apart(p.Meter), p.Meter.Digit/2) * perSquareRootOf3
}

// sameRange reports whether two points were taken on one range of the meter, which its
// last digit and its accuracy show.
func (p *Point) sameRange(q *Point) bool {
	return p.Meter.Digit == q.Meter.Digit && p.Accuracy.Share == q.Accuracy.Share &&
		p.Accuracy.Digits == q.Accuracy.Digits && p.Accuracy.Volts == q.Accuracy.Volts
}

var perSquareRootOf3 = 1 / math.Sqrt(3)

// ErrUnsteady is wrapped by the error of a voltage that moved while it was read.
var ErrUnsteady = errors.New("the voltage is not steady")

// Steadiness that is asked of a point, as shares of the highest voltage.
const (
	mostScatter = 0.01  // standard deviation of the samples
	mostDrift   = 0.003 // from the first half of the samples to the second
	fewest      = 4     // samples
)

// Mean makes the rig's side of a point from samples of a steady voltage. The highest
// voltage is the output's, in volts. The standard uncertainty holds the scatter of the
// mean, s/√n (GUM 4.2.3), and the difference between the two halves' means as a
// rectangular width.
func Mean(t *capture.Trace, highest float64) (Point, error) {
	var half [2]struct {
		n        int
		sum, sqr float64
	}
	first, volts, ok := t.First()
	if !ok || t.Len() < fewest {
		return Point{}, fmt.Errorf("at least %d samples of %s are needed; %d came", fewest, t.Signal, t.Len())
	}
	last, _, _ := t.Last()
	k := 0
	for _, vs := range t.Blocks(first, last+1) {
		for _, v := range vs {
			h := &half[min(1, 2*k/t.Len())]
			d := float64(v) - volts
			h.n, h.sum, h.sqr = h.n+1, h.sum+d, h.sqr+d*d
			k++
		}
	}
	n := float64(half[0].n + half[1].n)
	mean := (half[0].sum + half[1].sum) / n
	scatter := math.Sqrt(math.Max(0, (half[0].sqr+half[1].sqr-n*mean*mean)/(n-1)))
	drift := half[1].sum/float64(half[1].n) - half[0].sum/float64(half[0].n)
	if scatter > mostScatter*highest || math.Abs(drift) > mostDrift*highest {
		return Point{}, fmt.Errorf("%s: %w: it scatters by %s and drifted by %s while it was read", t.Signal, ErrUnsteady,
			unit.Voltage.Format(microvolts(scatter)), unit.Voltage.Format(microvolts(drift)))
	}
	return Point{
		ReadVolts:    microvolts(volts + mean),
		ReadStandard: microvoltsUp(math.Hypot(scatter/math.Sqrt(n), drift/math.Sqrt(12))),
		N:            int(n),
	}, nil
}

// microvolts rounds to a microvolt, far below what any part of a rig resolves, so that
// a file holds a point exactly.
func microvolts(v float64) float64 { return math.Round(v*1e6) / 1e6 }

// microvoltsUp rounds an uncertainty up to a microvolt, but for what is not exact in
// binary.
func microvoltsUp(v float64) float64 { return math.Ceil(v*1e6-1e-6) / 1e6 }
