package ads1x15

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"makebreak/rig/wiring"
	_ "makebreak/testdata/fixedseed"
)

// Ideal output codes of SBAS444 (ADS1115) and SBAS473 (ADS1015), tables of input
// signal against ideal output code, for all ranges.
func TestCode_dataSheetTable(t *testing.T) {
	tables := map[wiring.Model]struct {
		steps float64
		codes [5]uint16
	}{
		wiring.ADS1115: {1 << 15, [5]uint16{0x7FFF, 0x0001, 0x0000, 0xFFFF, 0x8000}},
		wiring.ADS1015: {1 << 11, [5]uint16{0x7FF0, 0x0010, 0x0000, 0xFFF0, 0x8000}},
	}
	for model, table := range tables {
		for _, fs := range Ranges(model) {
			inputs := [5]float64{fs * (table.steps - 1) / table.steps, fs / table.steps, 0, -fs / table.steps, -fs}
			for i, volts := range inputs {
				if got := uint16(Code(model, volts, fs)); got != table.codes[i] {
					t.Errorf("%s ±%g V: %g V gives %04X, want %04X", model, fs, volts, got, table.codes[i])
				}
			}
			if got := uint16(Code(model, 2*fs, fs)); got != table.codes[0] {
				t.Errorf("%s ±%g V: twice full scale gives %04X, want %04X", model, fs, got, table.codes[0])
			}
			if got := uint16(Code(model, -2*fs, fs)); got != table.codes[4] {
				t.Errorf("%s ±%g V: minus twice full scale gives %04X, want %04X", model, fs, got, table.codes[4])
			}
		}
	}
}

// Worked readings. 3.3 V on the ADS1015 is 672h, right-justified, in a TI support
// thread (e2e.ti.com 840814); the others follow from the step of 125 µV.
func TestCode_workedReadings(t *testing.T) {
	for _, c := range []struct {
		model wiring.Model
		volts float64
		code  uint16
		back  float64
	}{
		{wiring.ADS1015, 3.3, 0x672 << 4, 3.3},
		{wiring.ADS1115, 3.3, 26400, 3.3},
		{wiring.ADS1115, 4.095875, 0x7FFF, 4.095875},
		{wiring.ADS1115, 12 * 10.0 / 49, 19592, 2.449},   // 12 V behind 39 kΩ and 10 kΩ
		{wiring.ADS1115, 15 * 10.0 / 49, 24490, 3.06125}, // 15 V behind the same
		{wiring.ADS1115, -0.000250, 0xFFFE, -0.000250},   // below ground by the offset
		{wiring.ADS1115, math.NaN(), 0x0000, 0},          // no voltage at all
		{wiring.ADS1115, math.Inf(1), 0x7FFF, 4.095875},  // no end
		{wiring.ADS1015, math.Inf(-1), 0x8000, -4.096},   // no end
	} {
		code := Code(c.model, c.volts, 4.096)
		if uint16(code) != c.code {
			t.Errorf("%s: %g V gives %04X, want %04X", c.model, c.volts, uint16(code), c.code)
		}
		if got := Volts(code, 4.096); math.Abs(got-c.back) > 1e-12 {
			t.Errorf("%s: code %04X is %.9f V, want %.9f V", c.model, uint16(code), got, c.back)
		}
	}
}

// Steps in µV (ADS1115, SBAS444) and mV (ADS1015, a sixteenth of the resolution).
func TestStepVolts_dataSheetTable(t *testing.T) {
	micro := [6]float64{187.5, 125, 62.5, 31.25, 15.625, 7.8125}
	milli := [6]float64{3, 2, 1, 0.5, 0.25, 0.125}
	for i, fs := range Ranges(wiring.ADS1115) {
		if got := StepVolts(wiring.ADS1115, fs) * 1e6; math.Abs(got-micro[i]) > 1e-9 {
			t.Errorf("ADS1115 ±%g V: %g µV, want %g", fs, got, micro[i])
		}
		if got := StepVolts(wiring.ADS1015, fs) * 1e3; math.Abs(got-milli[i]) > 1e-12 {
			t.Errorf("ADS1015 ±%g V: %g mV, want %g", fs, got, milli[i])
		}
	}
}

func TestCode_nearestStep(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		model := rapid.SampledFrom([]wiring.Model{wiring.ADS1115, wiring.ADS1015}).Draw(t, "model")
		fs := rapid.SampledFrom(Ranges(model)).Draw(t, "range")
		volts := rapid.Float64Range(-1.2*fs, 1.2*fs).Draw(t, "volts")
		checkCode(t, model, volts, fs)
	})
}

func FuzzCode(f *testing.F) {
	f.Add(3.3, uint8(1), true)
	f.Add(-7.0, uint8(0), false)
	f.Add(math.NaN(), uint8(5), false)
	f.Fuzz(func(t *testing.T, volts float64, gain uint8, twelve bool) {
		model := wiring.ADS1115
		if twelve {
			model = wiring.ADS1015
		}
		checkCode(t, model, volts, Config{Gain: gain}.Range())
	})
}

// checkCode checks that a code stands within half a step of its voltage or at the
// end of the scale that the voltage lies beyond, and that it survives a turn.
func checkCode(t interface{ Errorf(string, ...any) }, model wiring.Model, volts, fs float64) {
	code := Code(model, volts, fs)
	step := StepVolts(model, fs)
	back := Volts(code, fs)
	switch top := fs - step; {
	case math.IsNaN(volts):
		if code != 0 {
			t.Errorf("not a number gives %d", code)
		}
	case volts > top || volts < -fs:
		if !Clipped(model, code) || (code > 0) != (volts > 0) {
			t.Errorf("%s ±%g V: %g V lies outside and gives %d", model, fs, volts, code)
		}
	case math.Abs(back-volts) > step/2*(1+1e-9):
		t.Errorf("%s ±%g V: %g V gives %d, which is %g V", model, fs, volts, code, back)
	}
	if again := Code(model, back, fs); again != code {
		t.Errorf("%s ±%g V: code %d is %g V, which gives %d", model, fs, code, back, again)
	}
}
