package ads1x15

import (
	"math"
	"testing"

	"periph.io/x/conn/v3/i2c/i2ctest"
)

// Ideal output codes of SBAS444 (ADS1115) and SBAS473 (ADS1015), tables of input
// signal against ideal output code, for all ranges, and worked readings: 672h,
// right-justified, is 3.3 V on the ADS1015 in a TI support thread (e2e.ti.com 840814);
// the others follow from the step of 125 µV.
func TestDev_Volts_dataSheetTable(t *testing.T) {
	for _, c := range []struct {
		model Model
		steps float64 // in half of the span
		codes [5]uint16
	}{
		{ADS1115, 1 << 15, [5]uint16{0x7FFF, 0x0001, 0x0000, 0xFFFF, 0x8000}},
		{ADS1015, 1 << 11, [5]uint16{0x7FF0, 0x0010, 0x0000, 0xFFF0, 0x8000}},
	} {
		for _, fs := range Ranges() {
			d := newDev(t, c.model, fs)
			for i, want := range [5]float64{fs * (c.steps - 1) / c.steps, fs / c.steps, 0, -fs / c.steps, -fs} {
				if got := d.Volts(int16(c.codes[i])); math.Abs(got-want) > 1e-12 {
					t.Errorf("%s ±%g V: code %04X is %.9f V, want %.9f V", c.model, fs, c.codes[i], got, want)
				}
				if clipped := i == 0 || i == 4; d.Clipped(int16(c.codes[i])) != clipped {
					t.Errorf("%s ±%g V: code %04X stands at an end of the scale: %v", c.model, fs, c.codes[i], !clipped)
				}
			}
		}
	}
	for _, c := range []struct {
		model Model
		code  uint16
		volts float64
	}{
		{ADS1015, 0x672 << 4, 3.3},
		{ADS1115, 26400, 3.3},
		{ADS1115, 19592, 2.449},   // 12 V behind 39 kΩ and 10 kΩ
		{ADS1115, 24490, 3.06125}, // 15 V behind the same
		{ADS1115, 0xFFFE, -0.000250},
	} {
		d := newDev(t, c.model, 4.096)
		if got := d.Volts(int16(c.code)); math.Abs(got-c.volts) > 1e-12 || d.Clipped(int16(c.code)) {
			t.Errorf("%s: code %04X is %.9f V, want %.9f V", c.model, c.code, got, c.volts)
		}
	}
}

// Steps in µV (ADS1115, SBAS444) and mV (ADS1015, a sixteenth of the resolution).
func TestStepVolts_dataSheetTable(t *testing.T) {
	micro := [6]float64{187.5, 125, 62.5, 31.25, 15.625, 7.8125}
	milli := [6]float64{3, 2, 1, 0.5, 0.25, 0.125}
	for i, fs := range Ranges() {
		if got := StepVolts(ADS1115, fs) * 1e6; math.Abs(got-micro[i]) > 1e-9 {
			t.Errorf("ADS1115 ±%g V: %g µV, want %g", fs, got, micro[i])
		}
		if got := StepVolts(ADS1015, fs) * 1e3; math.Abs(got-milli[i]) > 1e-12 {
			t.Errorf("ADS1015 ±%g V: %g mV, want %g", fs, got, milli[i])
		}
		if got := newDev(t, ADS1015, fs).StepVolts(); got != StepVolts(ADS1015, fs) {
			t.Errorf("ADS1015 ±%g V: the driver's step is %g V", fs, got)
		}
	}
}

func newDev(t *testing.T, model Model, fs float64) *Dev {
	t.Helper()
	d, err := New(&i2ctest.Playback{}, FirstAddress, &Opts{Model: model, Range: fs, Rate: model.Fastest()})
	if err != nil {
		t.Fatal(err)
	}
	return d
}
