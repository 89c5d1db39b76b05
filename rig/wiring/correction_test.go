package wiring

import (
	"math"
	"slices"
	"testing"

	"makebreak/rig/capture"
)

// A correction stretches and shifts what resistors and converter give, and its doubts
// take the place of theirs.
func TestCorrect(t *testing.T) {
	r := benchRig()
	bare := r.TerminalVolts("OUT3", 2.4)
	own := capture.Doubt{Source: "meter accuracy", Distribution: capture.Rectangular, Relative: 0.0005, Volts: 0.02}
	r.Correct("OUT3", &Correction{Gain: 1.01, Offset: -0.03, Doubts: []capture.Doubt{own}})
	near(t, "corrected", r.TerminalVolts("OUT3", 2.4), 1.01*bare-0.03, 1e-12)
	near(t, "by parts", 2.4*r.TerminalPerPin("OUT3")+r.TerminalOffset("OUT3"), 1.01*bare-0.03, 1e-12)
	near(t, "step", r.Converter("OUT3").StepVolts, 1.01*benchRig().Converter("OUT3").StepVolts, 1e-15)
	near(t, "uncorrected", r.Uncorrected().TerminalVolts("OUT3", 2.4), bare, 0)
	near(t, "another", r.TerminalOffset("OUT4"), 0, 0)

	var sources []string
	for _, d := range r.Converter("OUT3").Doubts {
		sources = append(sources, string(d.Source))
	}
	want := []string{"meter accuracy", "upper resistor's drift", "lower resistor's drift", "ADC gain drift", "ADC offset drift", "ADC nonlinearity"}
	if !slices.Equal(sources, want) {
		t.Errorf("doubts %q, want %q", sources, want)
	}
	r.Correct("OUT3", nil)
	near(t, "taken away", r.TerminalVolts("OUT3", 2.4), bare, 0)
}

// The budget of a corrected reading at 12 V, worked by hand: a meter of 0.05 % and
// 20 mV, each resistor within 0.1 % of its value at calibration (100 ppm/K, 10 K), the
// converter's 40 ppm/K and 0.005 steps/K over 10 K and its INL of 1 step (SBAS444 6.5).
func TestConverter_correctedDoubts(t *testing.T) {
	r := benchRig()
	r.Correct("OUT3", &Correction{Gain: 1, Doubts: []capture.Doubt{{Source: "meter accuracy", Distribution: capture.Rectangular, Relative: 0.0005, Volts: 0.02}}})
	step := 125e-6 * (4.9 + 39e3/6e6)
	meter, resistor := 0.0005*12+0.02, 0.001*39/49*12
	sum := meter*meter + 2*resistor*resistor + math.Pow(0.0004*12, 2) + math.Pow(0.05*step, 2) + step*step
	f, err := r.DividerReport("OUT3")
	if err != nil {
		t.Fatal(err)
	}
	near(t, "standard uncertainty at 12 V", f.NominalUncertainty, math.Sqrt(sum/3), 1e-9)
	near(t, "nonlinearity", r.Nonlinearity("OUT3"), step, 1e-15)
}
