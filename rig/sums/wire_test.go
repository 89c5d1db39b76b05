package sums

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// cable is 10 V to a load of 1 A over 10 m of 1 mm², at 20 °C, no more resistance than nominal.
func cable() DropInput {
	return DropInput{Voltage: 10, Least: unknown, Current: 1, Load: unknown, Power: unknown, Length: 10, Area: 1, Parallel: 1, Temperature: 20}
}

// Gauges as ASTM B258 tables them, in inches, from memory and as quoted publicly; their areas in
// mm² as a public table has them (daycounter.com).
func TestGaugeArea(t *testing.T) {
	for text, want := range map[string]struct{ inches, area float64 }{
		"4/0": {0.4600, 107}, "1/0": {0.3249, 53.5}, "0": {0.3249, 53.5}, "10": {0.1019, 5.26}, "12": {0.0808, 3.31}, "AWG 18": {0.0403, 0.823}, "22AWG": {0.0253, 0.326},
		"24": {0.0201, 0.205}, "30": {0.0100, 0.0509}, "36": {0.0050, 0.0127},
	} {
		got, err := GaugeArea(text)
		d := 2 * math.Sqrt(got/math.Pi) / 25.4
		if err != nil || math.Abs(d-want.inches) > 0.5001e-4 || math.Abs(got/want.area-1) > 5e-3 {
			t.Errorf("%s: %g mm², %g in, %v; want %g mm², %g in", text, got, d, err, want.area, want.inches)
		}
	}
	for _, text := range []string{"", "5/0", "41", "-1", "22.5", "22 mm", "0/0", "AWG", "22/0"} {
		if a, err := GaugeArea(text); err == nil {
			t.Errorf("%q is %g mm²", text, a)
		}
	}
}

// The resistance of solid uncoated copper at 75 °C, in ohms for 1000 ft: NEC chapter 9, table 8, as
// quoted in installers' worksheets; to 0.2 %, since the table rounds the areas.
func TestDrop_WarmWire(t *testing.T) {
	for gauge, want := range map[string]float64{"18": 7.77, "16": 4.89, "14": 3.07, "12": 1.93} {
		in := cable()
		var err error
		if in.Area, err = GaugeArea(gauge); err != nil {
			t.Fatal(err)
		}
		in.Length, in.Temperature, in.Current = 304.8, 75, 0.01
		s, err := Drop(in)
		if err != nil {
			t.Fatal(err)
		}
		hold(t, s, figures{"loop_ohms": {2 * want, 2 * want * 0.002}})
	}
}

// The most that IEC 60228 allows copper conductors at 20 °C, in ohms a kilometre: classes 1 and 2
// (solid, stranded) within 8 % of the nominal, class 5 (flexible) within 16 %, as public copies of
// its tables have them.
func TestDrop_Conductors(t *testing.T) {
	for area, most := range map[float64][2]float64{
		0.5: {36.0, 39.0}, 0.75: {24.5, 26.0}, 1: {18.1, 19.5}, 1.5: {12.1, 13.3}, 2.5: {7.41, 7.98}, 4: {4.61, 4.95}, 6: {3.08, 3.30}, 10: {1.83, 1.91},
	} {
		for i, tolerance := range []float64{0.08, 0.16} {
			in := cable()
			in.Area, in.Length, in.Tolerance, in.Current = area, 500, tolerance, 1e-3
			s, err := Drop(in)
			if err != nil {
				t.Fatal(err)
			}
			if got := s.Value("loop_ohms"); got < most[i] || got > most[i]*(1+tolerance) {
				t.Errorf("%g mm² with %g: %g ohm, the standard allows %g", area, tolerance, got, most[i])
			}
		}
	}
}

// A published example: 20 A over 5 m out and 5 m back, 17.241 ohm mm²/km: 1.38 V with 2.5 mm²,
// 2.3 V with 1.5 mm², and 1.43 V with 2.5 mm² at 30 °C (hwt-test.dk, forum 298265).
func TestDrop_Published(t *testing.T) {
	for _, c := range []struct{ area, celsius, volts, within float64 }{{2.5, 20, 1.38, 0.005}, {1.5, 20, 2.3, 0.005}, {2.5, 30, 1.43, 0.005}} {
		in := cable()
		in.Voltage, in.Current, in.Length, in.Area, in.Temperature = 12, 20, 5, c.area, c.celsius
		s, err := Drop(in)
		if err != nil {
			t.Fatal(err)
		}
		hold(t, s, figures{"drop_volts": {c.volts, c.within}, "cable_watts": {20 * c.volts, 20 * c.within}})
	}
}

// By hand, 2/58 ohm a metre of both conductors of 1 mm²: 29 m are 1 ohm. 10 V behind 1 ohm: at 1 A
// 9 V are left; at 9 ohm 9 V; 9 W take 1 A at 9 V.
func TestDrop_Loads(t *testing.T) {
	for name, change := range map[string]func(*DropInput){
		"current":    func(*DropInput) {},
		"resistance": func(in *DropInput) { in.Current, in.Load = unknown, 9 },
		"power":      func(in *DropInput) { in.Current, in.Power = unknown, 9 },
		"parallel":   func(in *DropInput) { in.Parallel, in.Length = 3, 87 },
		"joints":     func(in *DropInput) { in.Joints, in.Length = 0.5, 14.5 },
	} {
		in := cable()
		in.Length, in.Least = 29, 8
		change(&in)
		s, err := Drop(in)
		if err != nil {
			t.Fatal(err)
		}
		hold(t, s, figures{"far_volts": {9, 1e-12}, "far_amperes": {1, 1e-12}, "drop_share": {0.1, 1e-12}, "margin_volts": {1, 1e-12}})
		if !yes(t, s, "works") || len(s.Drawing()) != 4 {
			t.Errorf("%s: %v, drawing %q", name, s.Answers, s.Drawing())
		}
	}
}

// At the longest length, and with the least cross-section, the load has just its least voltage;
// the next size leaves more, and the next smaller one that is made less.
func TestDrop_BothWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := cable()
		in.Voltage = rapid.Float64Range(5, 60).Draw(t, "voltage")
		in.Least = in.Voltage * rapid.Float64Range(0.55, 0.98).Draw(t, "least")
		amperes := rapid.Float64Range(0.01, 3).Draw(t, "amperes")
		switch rapid.IntRange(0, 2).Draw(t, "kind of load") {
		case 1:
			in.Current, in.Load = unknown, in.Voltage/amperes
		case 2:
			in.Current, in.Power = unknown, in.Voltage*amperes
		default:
			in.Current = amperes
		}
		in.Length = rapid.Float64Range(1, 300).Draw(t, "length")
		in.Area = rapid.SampledFrom(areas).Draw(t, "area")
		in.Parallel = rapid.IntRange(1, 4).Draw(t, "parallel")
		in.Temperature = rapid.Float64Range(-20, 70).Draw(t, "temperature")
		in.Tolerance = rapid.Float64Range(0, 0.2).Draw(t, "tolerance")
		s, err := Drop(in)
		if err != nil {
			t.Fatal(err)
		}
		drawn(t, s)
		left := func(length, area float64) float64 {
			again := in
			again.Length, again.Area = length, area
			s, err := Drop(again)
			if err != nil {
				t.Fatal(err)
			}
			return s.Value("far_volts")
		}
		for _, far := range []float64{left(s.Value("longest_metres"), in.Area), left(in.Length, s.Value("least_area_square_millimetres"))} {
			if math.Abs(far-in.Least) > 1e-6*in.Voltage {
				t.Fatalf("at the limit %g V are left, want %g V", far, in.Least)
			}
		}
		for i, a := range areas {
			if a != s.Value("size_square_millimetres") {
				continue
			}
			if left(in.Length, a) < in.Least-1e-9 || i > 0 && left(in.Length, areas[i-1]) >= in.Least {
				t.Fatalf("%g mm² is not the next size", a)
			}
		}
		if g := s.Value("gauge_square_millimetres"); g > 0 && left(in.Length, g) < in.Least-1e-9 {
			t.Fatalf("the gauge of %g mm² is too thin", g)
		}
		if s.Yes() != (s.Value("far_volts") >= in.Least) {
			t.Fatalf("%v with %g V of %g V", s.Answers, s.Value("far_volts"), in.Least)
		}
	})
}

// What is not given is found: the longest cable of a size, the next size for a length.
func TestDrop_Found(t *testing.T) {
	in := cable()
	in.Least, in.Length = 9, unknown
	s, err := Drop(in)
	if err != nil {
		t.Fatal(err)
	}
	hold(t, s, figures{"longest_metres": {29, 1e-9}, "far_volts": {9, 1e-9}})
	in.Length, in.Area = 29, unknown
	if s, err = Drop(in); err != nil {
		t.Fatal(err)
	}
	hold(t, s, figures{"least_area_square_millimetres": {1, 1e-9}, "size_square_millimetres": {1, 0}, "far_volts": {9, 1e-9}})
	if len(s.Answers) != 0 {
		t.Errorf("nothing was to be judged: %v", s.Answers)
	}
	in.Length = 10e3
	if s, err = Drop(in); err != nil || yes(t, s, "usual_size") || len(s.Warnings) != 0 {
		t.Errorf("10 km: %v, %v", s, err)
	}
	in.Area = 1
	if s, err = Drop(in); err != nil || yes(t, s, "works") || len(s.Warnings) != 1 || !strings.Contains(s.Warnings[0], "no usual conductor") {
		t.Errorf("10 km of 1 mm²: %q, %v", s.Warnings, err)
	}
}

// A load of constant power finds no voltage at which it can run once the cable takes half.
func TestDrop_ConstantPower(t *testing.T) {
	in := cable()
	in.Current, in.Power, in.Least, in.Length = unknown, 10, 4, unknown
	s, err := Drop(in)
	if err != nil {
		t.Fatal(err)
	}
	hold(t, s, figures{"least_stable_volts": {5, 0}, "most_loop_ohms": {2.5, 1e-12}, "longest_metres": {72.5, 1e-9}})
	in.Length = 80
	if s, err = Drop(in); err != nil || yes(t, s, "works") || !strings.Contains(s.Answers[0].Text, "cannot carry this load") {
		t.Errorf("80 m: %v, %v", s.Answers, err)
	}
	i := slices.IndexFunc(s.Steps, func(f Figure) bool { return f.Name == "far_volts" })
	if sum := s.Steps[i].Sum; strings.Contains(sum, "√") {
		t.Errorf("the root of what is below zero: %s", sum)
	}
}

func TestDrop_Refused(t *testing.T) {
	for want, change := range map[string]func(*DropInput){
		"one of the load's":         func(in *DropInput) { in.Current = unknown },
		"the length or the cross":   func(in *DropInput) { in.Length, in.Area, in.Least = unknown, unknown, 9 },
		"the least voltage is":      func(in *DropInput) { in.Length = unknown },
		"not below the 10 V":        func(in *DropInput) { in.Least = 10 },
		"must be 1 to 16":           func(in *DropInput) { in.Parallel = 0 },
		"must be from -40 °C to 90": func(in *DropInput) { in.Temperature = 95 },
	} {
		in := cable()
		change(&in)
		if _, err := Drop(in); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", want, err)
		}
	}
	in := cable()
	in.Load = 5
	if _, err := Drop(in); err == nil {
		t.Error("two loads were taken")
	}
	in = cable()
	in.Joints, in.Least = 5, 9
	if s, err := Drop(in); err != nil || s.Yes() {
		t.Errorf("joints that take all: %v, %v", s.Answers, err)
	}
	in.Length = unknown
	if s, err := Drop(in); err != nil || s.Yes() {
		t.Errorf("joints that take all, length to be found: %v, %v", s.Answers, err)
	}
}
