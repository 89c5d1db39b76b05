package wiring_test

import (
	"math"
	"slices"
	"testing"

	"makebreak/rig/ads1x15"
	"makebreak/rig/wiring"
)

// The figures of the data sheets stand in two places, since the driver builds on this
// package: both say the same.
func TestConverter_agreesWithTheDriver(t *testing.T) {
	for _, model := range []wiring.Model{wiring.ADS1115, wiring.ADS1015} {
		if got, want := model.Rates(), ads1x15.Rates(model); !slices.Equal(got, want) {
			t.Errorf("%s: rates %v, the driver has %v", model, got, want)
		}
		for _, rng := range wiring.Ranges() {
			r := &wiring.Rig{
				Chips:   []wiring.Chip{{Name: "A", Model: model, Range: rng, Rate: 128, Supply: 5}},
				Outputs: []wiring.Output{{Name: "OUT", Chip: "A", Divider: wiring.Divider{Upper: 10e3, Lower: 10e3, Tolerance: 0.01}}},
			}
			e := ads1x15.Errors(model, rng)
			gain, offset, inl := 0.0, 0.0, 0.0
			for _, d := range r.Converter("OUT").Doubts {
				switch d.Source {
				case "ADC gain", "ADC gain at this range":
					gain += d.Relative
				case "ADC offset":
					offset = d.Volts
				case "ADC nonlinearity":
					inl = d.Volts
				}
			}
			step := r.Converter("OUT").StepVolts
			if math.Abs(gain-e.GainError) > 1e-12 || math.Abs(offset-e.OffsetLSB*step) > 1e-12 || math.Abs(inl-e.INLLSB*step) > 1e-12 {
				t.Errorf("%s at ±%g V: gain %g, offset %g, INL %g steps; the driver has %+v", model, rng, gain, offset/step, inl/step, e)
			}
			if got := r.TerminalPerPin("OUT"); math.Abs(got-(2+10e3/e.InputOhms)) > 1e-12 {
				t.Errorf("%s at ±%g V: input of %g ohm is not corrected for: %g", model, rng, e.InputOhms, got)
			}
		}
	}
}
