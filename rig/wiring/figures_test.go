package wiring

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/unit"
	_ "makebreak/testdata/fixedseed"
)

// benchRig is one ADS1115 at ±4.096 V with one output behind 39 kohm and 10 kohm.
func benchRig() *Rig {
	return &Rig{
		Name:  "bench",
		Chips: []Chip{{Name: "A", Model: ads1x15.ADS1115, Address: 0x48, Range: 4.096, Rate: 860, Supply: 3.3, Mode: Follow}},
		Outputs: []Output{{Name: "OUT3", Chip: "A", Highest: 15, Nominal: 12,
			Divider: Divider{Upper: 39e3, Lower: 10e3, Tolerance: 0.01}}},
	}
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %.9g, want %.9g ± %g", what, got, want, within)
	}
}

// The figures of 39 kohm over 10 kohm at an ADS1115 of ±4.096 V (125 µV a step, 6 MΩ
// common-mode, TI SBAS444). The rest is the voltage divider rule, worked by hand:
// 12 V × 10/49 = 2.448980 V; 15 V × 10.1/(38.61 + 10.1) = 3.110244 V;
// 125 µV × 49/10 = 0.6125 mV; 39 kohm and 10 kohm in parallel are 7959.18 ohm, which 6 MΩ
// loads by 7959.18/(7959.18 + 6·10⁶) = 0.132477 %; 0.01/√3 × √2 × 39/49 = 0.649865 %
// (rectangular: GUM 4.3.7).
func TestDividerReport(t *testing.T) {
	f, err := benchRig().DividerReport("OUT3")
	if err != nil {
		t.Fatal(err)
	}
	near(t, "pin at 12 V", 12*f.Ratio, 2.448980, 5e-7)
	near(t, "worst pin", f.WorstPinVolts, 3.110244, 5e-7)
	near(t, "input share", f.InputShare, 0.00132477, 5e-9)
	near(t, "step, unloaded", f.StepVoltsAtTerminal*f.LoadedRatio/f.Ratio, 0.6125e-3, 1e-12)
	near(t, "resistors", f.ResistorsUncertainty, 0.00649865, 5e-9)
	near(t, "terminal ohms", f.TerminalOhms, 49e3, 0)
	near(t, "pin ohms", f.PinOhms, 7959.18, 0.005)
	near(t, "clip", f.ClipTerminalVolts, 3.3/(10.0/49)*1.00132654, 1e-5)
	if f.AllowedVolts != 3.3 || f.AllowedBy != "supply" {
		t.Errorf("allowed %v by %s", f.AllowedVolts, f.AllowedBy)
	}
}

// 12 V behind the divider is code 19592, which reads back as 12.0001 V (same source; the
// input's load is left out, so a straight conversion is checked).
func TestTerminalVolts_codes(t *testing.T) {
	for _, c := range []struct{ terminal, back float64 }{{12, 12.0001}, {15, 15.000125}} {
		pin := math.Round(c.terminal*10/49/125e-6) * 125e-6
		near(t, "without load", pin*Divider{Upper: 39e3, Lower: 10e3}.terminalPerPin(0), c.back, 1e-9)
	}
}

// The correction undoes what an input of 6 MΩ to ground does, whatever the divider is:
// Kirchhoff's current law at the pin.
func TestTerminalVolts_undoesTheLoad(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := benchRig()
		d := &r.Outputs[0].Divider
		d.Upper = rapid.Float64Range(100, 1e6).Draw(t, "upper")
		d.Lower = rapid.Float64Range(100, 1e6).Draw(t, "lower")
		volts := rapid.Float64Range(-1, 30).Draw(t, "volts")
		pin := volts / d.Upper / (1/d.Upper + 1/d.Lower + 1/6e6)
		if got := r.TerminalVolts("OUT3", pin); math.Abs(got-volts) > 1e-9*math.Abs(volts)+1e-12 {
			t.Fatalf("%g V read as %g V", volts, got)
		}
	})
}

// An output that goes straight to the converter is neither divided nor loaded.
func TestDividerReport_none(t *testing.T) {
	r := benchRig()
	r.Outputs[0].Divider = Divider{}
	f, err := r.DividerReport("OUT3")
	if err != nil || f.Ratio != 1 || f.LoadedRatio != 1 || f.InputShare != 0 || f.ResistorsUncertainty != 0 || !math.IsInf(f.TerminalOhms, 1) {
		t.Errorf("%+v, %v", f, err)
	}
}

func TestDividerReport_missing(t *testing.T) {
	r := benchRig()
	if _, err := r.DividerReport("OUT9"); err == nil {
		t.Error("an output that is not there has figures")
	}
	r.Outputs[0].Chip = "Z"
	if _, err := r.DividerReport("OUT3"); err == nil {
		t.Error("an output without a chip has figures")
	}
	if v := r.TerminalVolts("OUT9", 1); !math.IsNaN(v) {
		t.Errorf("an output that is not there reads %g V", v)
	}
}

// The budget at 12 V, worked by hand from the data sheet's limits (SBAS444: gain 0.15 %
// and match 0.1 %, drift 40 ppm/K, offset 3 and INL 1 step) and the divider:
// √3·u = √(2·(0.01·39/49·12)² + (0.0015·12)² + (0.001·12)² + (0.0004·12)²
//
//   - (3·0.613312 mV)² + (0.613312 mV)² + (0.3·0.00132477·12)² + (0.7·39k/6M)²).
func TestConverter_doubts(t *testing.T) {
	step := 125e-6 * (4.9 + 39e3/6e6)
	sum := 2 * math.Pow(0.01*39/49*12, 2)
	for _, half := range []float64{0.0015 * 12, 0.001 * 12, 0.0004 * 12, 3 * step, step, 0.3 * 0.00132477 * 12, 0.7 * 39e3 / 6e6} {
		sum += half * half
	}
	r := benchRig()
	f, err := r.DividerReport("OUT3")
	if err != nil {
		t.Fatal(err)
	}
	near(t, "standard uncertainty at 12 V", f.NominalUncertainty, math.Sqrt(sum/3), 1e-7)
	conv := r.Converter("OUT3")
	near(t, "step", conv.StepVolts, step, 1e-15)
	near(t, "span", conv.Span.Seconds(), 1.0/860, 1e-9)
	near(t, "span's uncertainty", conv.SpanRel, 0.1/math.Sqrt(3), 1e-12)
	for _, d := range conv.Doubts {
		if d.Source == "" || d.Distribution != capture.Rectangular || d.Relative <= 0 == (d.Volts <= 0) {
			t.Errorf("doubt %+v", d)
		}
	}
}

// E24 as the standard lists it (IEC 60063, from memory); E96 by its first and last values
// and the sum of all.
func TestSeries(t *testing.T) {
	e24 := []float64{1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1}
	for i, v := range E24.Decade() {
		if v != e24[i] {
			t.Errorf("E24 value %d is %g, want %g", i, v, e24[i])
		}
	}
	if e6 := E6.Decade(); !slices.Equal(e6, []float64{1.0, 1.5, 2.2, 3.3, 4.7, 6.8}) {
		t.Errorf("E6 is %v", e6)
	}
	e96 := E96.Decade()
	sum := 0.0
	for _, v := range e96 {
		sum += v * 100
	}
	if e96[0] != 1 || e96[1] != 1.02 || e96[4] != 1.1 || e96[95] != 9.76 || math.Round(sum) != 37070 {
		t.Errorf("E96 runs from %v to %v, sum %g", e96[:5], e96[95], sum)
	}
}

func TestSeries_AtLeast(t *testing.T) {
	for _, c := range []struct {
		s          Series
		ohms, want float64
	}{
		{E24, 36171, 39e3}, {E96, 36171, 36.5e3}, {E24, 39e3, 39e3}, {E24, 39000.1, 43e3}, {E96, 97.7, 100},
		{E24, 9.2, 10}, {E24, 1, 1}, {E96, 0.5, 0.511}, {E24, 999e3, 1e6}, {E96, 1000, 1000},
	} {
		if got := c.s.AtLeast(c.ohms); math.Abs(got-c.want) > c.want*1e-12 {
			t.Errorf("E%d at least %g: %g, want %g", c.s, c.ohms, got, c.want)
		}
	}
}

// By hand: 1020 ohm lies 2 % above 1.0 k and 7.3 % below 1.1 k; 10.5 lies nearer to 11
// than to 10 as a ratio, 1.0476 against 1.05.
func TestSeries_AtMostAndNearest(t *testing.T) {
	for _, c := range []struct {
		s                     Series
		ohms, atMost, nearest float64
	}{
		{E24, 1020, 1000, 1000}, {E24, 10.5, 10, 11}, {E24, 39e3, 39e3, 39e3}, {E24, 9.9, 9.1, 10}, {E96, 36171, 35.7e3, 36.5e3},
		{E24, 1, 1, 1}, {E96, 98.9, 97.6, 100}, {E24, 999e3, 910e3, 1e6},
	} {
		if got := c.s.AtMost(c.ohms); math.Abs(got-c.atMost) > c.atMost*1e-12 {
			t.Errorf("E%d at most %g: %g, want %g", c.s, c.ohms, got, c.atMost)
		}
		if got := c.s.Nearest(c.ohms); math.Abs(got-c.nearest) > c.nearest*1e-12 {
			t.Errorf("E%d nearest to %g: %g, want %g", c.s, c.ohms, got, c.nearest)
		}
	}
}

// Whatever resistor the message proposes passes the check, and the next smaller one of its
// series does not.
func TestFitting_passesTheCheck(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := benchRig()
		o := &r.Outputs[0]
		o.Highest = rapid.Float64Range(4, 60).Draw(t, "highest")
		o.Divider.Lower = rapid.SampledFrom([]float64{1e3, 4.7e3, 10e3, 22e3}).Draw(t, "lower")
		o.Divider.Tolerance = rapid.SampledFrom([]float64{0.001, 0.01, 0.05}).Draw(t, "tolerance")
		series := rapid.SampledFrom([]Series{E24, E96}).Draw(t, "series")
		d := o.Divider
		least := d.Lower * (1 + d.Tolerance) / (1 - d.Tolerance) * (o.Highest/3.3 - 1)
		fits := series.AtLeast(least)
		for upper, want := range map[float64]int{fits: 0, fits * 0.85: 1} {
			if upper < fits && upper >= least {
				continue
			}
			o.Divider.Upper = upper
			c := &checker{rig: r}
			c.divider(o, "d")
			if len(c.list) != want {
				t.Fatalf("upper %s of %s: %v", unit.Resistance.Format(upper), unit.Resistance.Format(fits), c.list)
			}
		}
	})
}

// A converter whose board would pull the lines of a 3.3 V board up too far is warned of.
func TestCheck_pullUps(t *testing.T) {
	for volts, warned := range map[float64]bool{2: false, 3.3: false, 3.6: false, 3.7: true, 5: true, 5.5: true} {
		r := benchRig()
		r.Chips[0].Supply, r.Chips[0].Range = volts, 2.048
		var got []Problem
		for _, p := range r.Check() {
			if p.Path == "chips.A.supply" {
				got = append(got, p)
			}
		}
		if (len(got) == 1) != warned || warned && (!got[0].Warning || !strings.Contains(got[0].String(), "level shifter")) {
			t.Errorf("%g V: %v", volts, got)
		}
	}
}

// A clamp turns an unsafe divider into a warning that says where readings clip:
// 3.3 V × (4.3 + 33k/6M) = 14.21 V.
func TestCheck_protected(t *testing.T) {
	r := benchRig()
	r.Outputs[0].Divider = Divider{Upper: 33e3, Lower: 10e3, Tolerance: 0.01, Protected: true}
	got := r.Check()
	want := "outputs.OUT3.divider: at 15 V the input of chip A can see 3.542 V, above its supply of 3.3 V; " +
		"it is said to be protected, so readings clip from 14.21 V on"
	if len(got) != 1 || !got[0].Warning || got[0].String() != want {
		t.Errorf("problems %v\nwant %s", got, want)
	}
}
