package calibration

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"makebreak/rig/capture"
	_ "makebreak/testdata/fixedseed"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %.9g, want %.9g ± %g", what, got, want, within)
	}
}

func constant(n int, v float64) []float64 {
	all := make([]float64, n)
	for i := range all {
		all[i] = v
	}
	return all
}

// GUM (JCGM 100:2008) H.3, calibration of a thermometer: equal weights and a standard
// uncertainty that is taken from the residuals.
func TestFit_thermometer(t *testing.T) {
	temperatures := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	corrections := []float64{-.171, -.169, -.166, -.159, -.164, -.165, -.156, -.157, -.159, -.161, -.160}
	x := make([]float64, len(temperatures))
	for i, v := range temperatures {
		x[i] = v - 20
	}
	l, err := fit(x, corrections, constant(11, 0), constant(11, 1))
	if err != nil {
		t.Fatal(err)
	}
	s := math.Sqrt(l.chiSquare / 9)
	near(t, "intercept", l.offset, -0.1712, 5e-5)
	near(t, "its standard uncertainty", s*math.Sqrt(l.varOffset), 0.0029, 5e-5)
	near(t, "slope", l.gain, 0.00218, 5e-6)
	near(t, "its standard uncertainty", s*math.Sqrt(l.varGain), 0.00067, 5e-6)
	near(t, "correlation", l.covBoth/math.Sqrt(l.varGain*l.varOffset), -0.930, 5e-4)
	near(t, "s", s, 0.0035, 5e-5)
	near(t, "correction at 30 °C", l.offset+10*l.gain, -0.1494, 5e-5)
	near(t, "its standard uncertainty", s*math.Sqrt(l.variance(10)), 0.0041, 5e-5)
}

// Pearson's data with York's weights, uncertain in both directions: the solution
// 5.47991018 and -0.48053339 stands in the documentation of the general-purpose
// uncertainty package GTC, where its iteration ends.
func TestFit_bothUncertain(t *testing.T) {
	x := []float64{0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4}
	y := []float64{5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5}
	wx := []float64{1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1}
	wy := []float64{1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500}
	ux, uy := make([]float64, 10), make([]float64, 10)
	for i := range wx {
		ux[i], uy[i] = 1/math.Sqrt(wx[i]), 1/math.Sqrt(wy[i])
	}
	l, err := fit(x, y, ux, uy)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "intercept", l.offset, 5.47991018, 1e-7)
	near(t, "slope", l.gain, -0.48053339, 1e-7)
}

// Where only the ordinates are uncertain the line is that of gonum's weighted
// regression.
func TestFit_agreesWithRegression(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 12).Draw(t, "n")
		x, y, uy, w := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range x {
			x[i] = float64(i) + rapid.Float64Range(0, 0.5).Draw(t, "x")
			y[i] = 1.02*x[i] + rapid.Float64Range(-0.1, 0.1).Draw(t, "y")
			uy[i] = rapid.Float64Range(0.01, 1).Draw(t, "uy")
			w[i] = 1 / (uy[i] * uy[i])
		}
		l, err := fit(x, y, make([]float64, n), uy)
		if err != nil {
			t.Fatal(err)
		}
		offset, gain := stat.LinearRegression(x, y, w, false)
		if math.Abs(l.offset-offset) > 1e-9 || math.Abs(l.gain-gain) > 1e-9 {
			t.Fatalf("got %g + %g·x, want %g + %g·x", l.offset, l.gain, offset, gain)
		}
		// The fit is linear in the ordinates.
		dg, do := l.shift(y)
		if math.Abs(dg-gain) > 1e-9 || math.Abs(do-offset) > 1e-9 {
			t.Fatalf("the ordinates shift the line by %g and %g, want %g and %g", do, dg, offset, gain)
		}
	})
}

// points makes points from what a meter shows at voltages that the rig reads exactly.
func points(t testing.TB, accuracy string, pairs ...any) []Point {
	t.Helper()
	a, err := ParseAccuracy(accuracy)
	if err != nil {
		t.Fatal(err)
	}
	var all []Point
	for i := 0; i < len(pairs); i += 2 {
		r, err := ParseReading(pairs[i].(string))
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, Point{Meter: r, Accuracy: a, ReadVolts: pairs[i+1].(float64), ReadStandard: 2e-4, N: 400})
	}
	return all
}

// combined is the standard uncertainty of a corrected reading in volts by the doubts
// (GUM 5.1.2).
func combined(doubts []capture.Doubt, volts float64) float64 {
	sum := 0.0
	for _, d := range doubts {
		u := d.Relative*volts + d.Volts
		if d.Distribution == capture.Rectangular {
			u /= math.Sqrt(3)
		}
		sum += u * u
	}
	return math.Sqrt(sum)
}

// The doubts say how corrected readings really scatter when calibrations are repeated
// with meters drawn from within their accuracy: a rectangular error that all points of
// a range share, one of the digits for each point, and the rig's own scatter.
func TestDraw_doubtsMatchDraws(t *testing.T) {
	const trials = 40_000
	for name, truth := range map[string][]Point{
		"one range":  points(t, "0.5 % + 2 digits", "3.00 V", 2.97, "13.00 V", 12.87),
		"two ranges": points(t, "0.5 % + 3 digits", "0.650 V", 0.6435, "6.00 V", 5.94, "13.50 V", 13.365),
	} {
		random := rand.New(rand.NewPCG(1, 2))
		rect := func(half float64) float64 { return half * (2*random.Float64() - 1) }
		at := []float64{0.5, 5, 10, 15}
		sum, square := make([]float64, len(at)), make([]float64, len(at))
		for range trials {
			drawn := append([]Point(nil), truth...)
			shared := map[float64]float64{}
			for i := range drawn {
				p := &drawn[i]
				if _, ok := shared[p.Meter.Digit]; !ok {
					shared[p.Meter.Digit] = rect(1)
				}
				p.Meter.Volts += shared[p.Meter.Digit]*truth[i].Half() + rect(truth[i].Accuracy.Digits*p.Meter.Digit)
				p.ReadVolts += random.NormFloat64() * p.ReadStandard
			}
			l, err := draw(drawn, 0)
			if err != nil {
				t.Fatal(err)
			}
			for i, x := range at {
				d := l.Corrected(x) - x/0.99
				sum[i], square[i] = sum[i]+d, square[i]+d*d
			}
		}
		l, err := draw(truth, 0)
		if err != nil {
			t.Fatal(err)
		}
		for i, x := range at {
			mean := sum[i] / trials
			got, want := combined(l.Doubts, l.Corrected(x)), math.Sqrt(square[i]/trials-mean*mean)
			if math.Abs(got/want-1) > 0.03 {
				t.Errorf("%s: at %g V the doubts make %.4g mV, drawn calibrations scatter by %.4g mV", name, x, 1e3*got, 1e3*want)
			}
		}
	}
}

// With one meter range its percentage is the reading's own, and it bends no line: the
// residuals are judged by the digits alone. With two ranges it may.
func TestDraw_ranges(t *testing.T) {
	one, err := draw(points(t, "0.5 % + 1 digits", "1.00 V", 1.0, "7.00 V", 7.0, "13.00 V", 13.0), 0)
	if err != nil {
		t.Fatal(err)
	}
	if d := one.Doubts[0]; d.Source != "meter accuracy" || d.Distribution != capture.Rectangular {
		t.Errorf("first doubt %+v", d)
	}
	near(t, "share", one.Doubts[0].Relative, 0.005, 1e-9)
	near(t, "digits", one.Doubts[0].Volts, 0.01, 1e-9)
	// Three even points of standard uncertainty u: the middle residual has u·√(2/3).
	near(t, "middle", one.Tolerated[1], math.Hypot(0.01/math.Sqrt(3), 2e-4)*math.Sqrt(2.0/3), 1e-7)
	two, err := draw(points(t, "0.5 % + 1 digits", "1.000 V", 1.0, "7.00 V", 7.0, "13.00 V", 13.0), 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(two.Doubts) != len(one.Doubts)+1 || !(two.Tolerated[1] > one.Tolerated[1]) {
		t.Errorf("two ranges: %d doubts, residual known to %g; one range: %d, %g", len(two.Doubts), two.Tolerated[1], len(one.Doubts), one.Tolerated[1])
	}
}

// Points that scatter more than their digits say make the line less sure, not the meter:
// its accuracy stays what its manual says, and what is tolerated of a residual does not
// grow with the residual. By hand: all points weigh the same, so a residual's standard
// uncertainty is the point's own times √(1 - 1/3 - (x - x̄)²/Σ(x - x̄)²).
func TestDraw_scatteringPoints(t *testing.T) {
	for _, middle := range []string{"6.003 V", "6.020 V"} {
		l, err := draw(points(t, "0.05 % + 2 digits", "0.651 V", 0.648, middle, 5.931, "13.471 V", 13.312), 0)
		if err != nil {
			t.Fatal(err)
		}
		if !(l.ChiSquare > 2) {
			t.Errorf("middle point at %s: chi-square %g, the points do not scatter", middle, l.ChiSquare)
		}
		near(t, "share", l.Doubts[0].Relative, 0.0005, 5e-6)
		near(t, "digits", l.Doubts[0].Volts, 0.002, 2e-5)
		own := math.Hypot(0.002/math.Sqrt(3), l.Gain*2e-4)
		for i, free := range []float64{0.2252, 0.6606, 0.1142} {
			near(t, "tolerated", l.Tolerated[i], own*math.Sqrt(free), 2e-6)
		}
	}
}

// Where the meter changed its range, each range's accuracy may err for itself and bends the
// points: a residual is known to what each bend makes of it, rectangular, and to
// no more than the point's own beside. The bends are seen by a line through points whose
// readings err by the half-width of one range.
func TestDraw_toleratedBend(t *testing.T) {
	all := func() []Point {
		return points(t, "0.5 % + 1 digits", "1.0000 V", 1.0, "7.000 V", 7.0, "13.000 V", 13.0)
	}
	l, err := draw(all(), 0)
	if err != nil {
		t.Fatal(err)
	}
	bend := 0.0
	for _, of := range [][]int{{0}, {1, 2}} {
		erring := all()
		for _, i := range of {
			erring[i].Meter.Volts += all()[i].Half()
		}
		bent, err := draw(erring, 0)
		if err != nil {
			t.Fatal(err)
		}
		bend += bent.Residuals[1] * bent.Residuals[1] / 3
	}
	own := 0.001*0.001/3 + 2e-4*2e-4
	if got := l.Tolerated[1] * l.Tolerated[1]; !(bend > own && got > 0.99*bend && got < 1.01*(bend+own)) {
		t.Errorf("variance of the middle residual: %g V², of the bends %g, of the point %g", got, bend, own)
	}
}

// The line's gain has the sign and the size of the points, its offset makes up for the
// rig's.
func TestDraw_signs(t *testing.T) {
	for _, c := range []struct{ gain, offset float64 }{{1.01, 0}, {0.99, 0}, {1, 0.02}, {1, -0.02}, {1.01, -0.02}} {
		all := onLine(t, 3, 1, 13)
		for i := range all {
			all[i].ReadVolts = (all[i].Meter.Volts - c.offset) / c.gain
		}
		l, err := draw(all, 0)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "gain", l.Gain, c.gain, 1e-9)
		near(t, "offset", l.Offset, c.offset, 1e-9)
		near(t, "corrected", l.Corrected(10), c.offset+10*c.gain, 1e-9)
	}
}

// A gain of 0.5 or 2 is refused, one between is not.
func TestDraw_gainBounds(t *testing.T) {
	for gain, ok := range map[float64]bool{0.5: false, 0.501: true, 1.999: true, 2: false} {
		all := onLine(t, 2, 1, 13)
		for i := range all {
			all[i].ReadVolts = all[i].Meter.Volts / gain
		}
		if _, err := draw(all, 0); (err == nil) != ok {
			t.Errorf("gain %g: %v", gain, err)
		}
	}
}
