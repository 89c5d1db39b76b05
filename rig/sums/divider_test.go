package sums

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"makebreak/rig/ads1x15"
	"makebreak/rig/wiring"
)

// figures are what a sheet must hold, to the last digit given.
type figures map[string]struct{ want, within float64 }

func hold(t *testing.T, s *Sheet, all figures) {
	t.Helper()
	for name, f := range all {
		if got := s.Value(name); !(math.Abs(got-f.want) <= f.within) {
			t.Errorf("%s: got %.9g, want %.9g ± %g", name, got, f.want, f.within)
		}
	}
}

// failing is a test, or one case of a property.
type failing interface {
	Helper()
	Fatalf(format string, args ...any)
}

// yes returns what was answered to a question.
func yes(t failing, s *Sheet, name string) bool {
	t.Helper()
	for _, a := range s.Answers {
		if a.Name == name {
			return a.Yes
		}
	}
	t.Fatalf("%q was not answered", name)
	return false
}

var unknown = math.NaN()

func outputDivider() DividerInput {
	return DividerInput{Model: ads1x15.ADS1115, Highest: 15, Supply: 3.3, Range: 4.096, Lower: 10e3, Upper: unknown, Tolerance: 0.01, Series: wiring.E24,
		Capacitor: unknown, CapacitorTolerance: 0.1, Corner: unknown, Rate: unknown}
}

// The divider for 15 V into 3.3 V, by the voltage divider rule, worked by hand:
// 10 k × 1.01/0.99 × (15/3.3 − 1) = 36.1708 k, so 39 k; 15 V × 10.1/48.71 = 3.110244 V;
// 15 V/48.51 k = 309.215 µA; 225 V² × 38.61 k/(48.51 k)² = 3.69164 mW;
// 225 V² × 10.1 k/(48.71 k)² = 0.957784 mW; two parts of 1 %, rectangular (GUM 4.3.7):
// 39/49 × 1 % × √(2/3) = 0.649865 %. Step 125 µV, input 6 MΩ: TI SBAS444.
func TestDivider_Found(t *testing.T) {
	s, err := Divider(outputDivider())
	if err != nil {
		t.Fatal(err)
	}
	hold(t, s, figures{
		"allowed_volts":               {3.3, 0},
		"least_upper_ohms":            {36170.8, 0.05},
		"upper_ohms":                  {39e3, 0},
		"worst_input_volts":           {3.110244, 5e-7},
		"input_margin_volts":          {0.189756, 5e-7},
		"clip_volts":                  {3.3 * (4.9 + 39e3/6e6), 1e-9},
		"step_volts":                  {125e-6 * (4.9 + 39e3/6e6), 1e-12},
		"load_amperes":                {309.215e-6, 5e-10},
		"source_ohms":                 {7959.18, 0.005},
		"input_share":                 {0.00132477, 5e-9},
		"resistors_uncertainty_share": {0.00649865, 5e-9},
		"upper_watts":                 {3.69164e-3, 5e-9},
		"lower_watts":                 {0.957784e-3, 5e-10},
		"upper_rating_watts":          {0.125, 0},
		"lower_rating_watts":          {0.125, 0},
	})
	if len(s.Answers) != 0 || len(s.Warnings) != 0 || !s.Yes() {
		t.Errorf("answers %v, warnings %v", s.Answers, s.Warnings)
	}
}

// 33 k over 10 k: 15 V × 10.1/(32.67 + 10.1) = 3.54220 V, above 3.3 V; 39 k over 10 k
// stays at 3.110244 V.
func TestDivider_Judged(t *testing.T) {
	for upper, fits := range map[float64]bool{33e3: false, 36.5e3: true, 39e3: true} {
		in := outputDivider()
		in.Upper = upper
		s, err := Divider(in)
		if err != nil {
			t.Fatal(err)
		}
		if got := yes(t, s, "fits"); got != fits || s.Yes() != fits {
			t.Errorf("%g ohm fits: %t", upper, got)
		}
	}
}

// E96 gives 36.5 k; a range below the supply is what bounds: 10 k × 1.01/0.99 ×
// (15/2.048 − 1) = 64.52 k, so 68 k; an output of 3 V needs none.
func TestDivider_Choices(t *testing.T) {
	in := outputDivider()
	in.Series = wiring.E96
	s, err := Divider(in)
	if err != nil || s.Value("upper_ohms") != 36.5e3 {
		t.Errorf("E96: %g, %v", s.Value("upper_ohms"), err)
	}
	in = outputDivider()
	in.Range = 2.048
	if s, err = Divider(in); err != nil || s.Value("upper_ohms") != 68e3 || s.Value("allowed_volts") != 2.048 {
		t.Errorf("narrower range: %g, %v", s.Value("upper_ohms"), err)
	}
	in = outputDivider()
	in.Highest = 3
	if s, err = Divider(in); err != nil || !math.IsNaN(s.Value("upper_ohms")) || len(s.Warnings) != 1 {
		t.Errorf("3 V: upper %g, warnings %v, %v", s.Value("upper_ohms"), s.Warnings, err)
	}
	in.Upper = 10e3
	if s, err = Divider(in); err != nil || !yes(t, s, "fits") {
		t.Errorf("a divider that is not needed: %v", err)
	}
}

func TestDivider_Warnings(t *testing.T) {
	in := outputDivider()
	in.Lower = 1e6
	s, err := Divider(in)
	if err != nil || len(s.Warnings) != 1 || !strings.Contains(s.Warnings[0], "the converter's own input") {
		t.Errorf("1 Mohm: %v, %v", s.Warnings, err)
	}
	in.Lower = 100
	if s, err = Divider(in); err != nil || len(s.Warnings) != 1 || !strings.Contains(s.Warnings[0], "load it less") {
		t.Errorf("100 ohm: %v, %v", s.Warnings, err)
	}
}

func TestDivider_Refused(t *testing.T) {
	for want, change := range map[string]func(*DividerInput){
		"no converter \"AD7\"": func(in *DividerInput) { in.Model = "AD7" },
		"6.144 V, 4.096 V":     func(in *DividerInput) { in.Range = 3.3 },
		"from 2 V to 5.5 V":    func(in *DividerInput) { in.Supply = 12 },
		"at most 20 %":         func(in *DividerInput) { in.Tolerance = 0.3 },
	} {
		in := outputDivider()
		change(&in)
		if _, err := Divider(in); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", want, err)
		}
	}
}

// The divider that is found never lets the input see more than allowed, wherever in
// their tolerance both resistors lie, and the next smaller preferred value would. The
// power is never more than the sheet says.
func TestDivider_WorstCase(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := outputDivider()
		in.Highest = rapid.Float64Range(3.4, 60).Draw(t, "highest")
		in.Supply = rapid.SampledFrom([]float64{2, 3.3, 5, 5.5}).Draw(t, "supply")
		in.Range = rapid.SampledFrom(ads1x15.Ranges()).Draw(t, "range")
		in.Lower = rapid.SampledFrom([]float64{470, 1e3, 4.7e3, 10e3, 22e3}).Draw(t, "lower")
		in.Tolerance = rapid.SampledFrom([]float64{0.001, 0.01, 0.05}).Draw(t, "tolerance")
		in.Series = rapid.SampledFrom([]wiring.Series{wiring.E24, wiring.E96}).Draw(t, "series")
		in.Capacitor = rapid.SampledFrom([]float64{unknown, 4.7e-9, 100e-9}).Draw(t, "capacitor")
		s, err := Divider(in)
		if err != nil {
			t.Fatal(err)
		}
		allowed := math.Min(in.Supply, in.Range)
		upper := s.Value("upper_ohms")
		if in.Highest <= allowed {
			if !math.IsNaN(upper) {
				t.Fatalf("%g V need no divider", in.Highest)
			}
			return
		}
		drawn(t, s)
		off := rapid.Float64Range(-1, 1)
		u := upper * (1 + in.Tolerance*off.Draw(t, "upper is off by"))
		l := in.Lower * (1 + in.Tolerance*off.Draw(t, "lower is off by"))
		const rounding = 1 + 1e-8
		if pin := in.Highest * l / (u + l); pin > allowed*rounding {
			t.Fatalf("%g over %g: the input sees %g V of %g V", u, l, pin, allowed)
		}
		current := in.Highest / (u + l)
		if current > s.Value("load_amperes")*rounding || current*current*u > s.Value("upper_watts")*rounding || current*current*l > s.Value("lower_watts")*rounding {
			t.Fatalf("%g over %g: %g A, %g W and %g W are more than the sheet says", u, l, current, current*current*u, current*current*l)
		}
		low, high := 1-in.Tolerance, 1+in.Tolerance
		smaller := nextBelow(in.Series, upper)
		if pin := in.Highest * in.Lower * high / (smaller*low + in.Lower*high); pin <= allowed/rounding {
			t.Fatalf("%g ohm would do as well as %g ohm", smaller, upper)
		}
	})
}

// nextBelow walks the series, whose values TestSeries of package wiring holds to the
// standard's.
func nextBelow(s wiring.Series, r float64) float64 {
	best := 0.0
	for e := -1; e <= 9; e++ {
		for _, v := range s.Decade() {
			if x := v * math.Pow10(e); x < r*0.9999 {
				best = math.Max(best, x)
			}
		}
	}
	return best
}

// The ratings go up by the usual steps; twice 62 mW is just below an eighth of a watt.
func TestRatingAbove(t *testing.T) {
	for watts, want := range map[float64]float64{0: 0.125, 0.062: 0.125, 0.0625: 0.25, 0.2: 0.5, 0.36: 1, 60: math.Inf(1)} {
		if got := RatingAbove(watts); got != want {
			t.Errorf("for %g W: %g W, want %g W", watts, got, want)
		}
	}
}
