package ads1x15

import (
	"slices"
	"testing"

	"makebreak/rig/wiring"
)

// Register words put together by hand from the bit table of SBAS444, section on
// the configuration register. 8583h is the reset value that the sheet states;
// 84A3h is a worked example of a driver in the Linux kernel's test of the
// ADS1015 (AIN0 against AIN1, ±2.048 V, continuous, 2400/s).
var registerWords = []struct {
	word   uint16
	config Config
	model  wiring.Model
	text   string
}{
	{0x8583, Config{Start: true, Mux: Mux0to1, Gain: 2, Single: true, Speed: 4, Queue: 3}, wiring.ADS1115,
		"AIN0-AIN1, ±2.048 V, 128/s, single-shot"},
	{0xC3E3, Config{Start: true, Mux: Mux0, Gain: 1, Single: true, Speed: 7, Queue: 3}, wiring.ADS1115,
		"AIN0-GND, ±4.096 V, 860/s, single-shot"},
	{0xD3E3, Config{Start: true, Mux: Mux1, Gain: 1, Single: true, Speed: 7, Queue: 3}, wiring.ADS1115,
		"AIN1-GND, ±4.096 V, 860/s, single-shot"},
	{0xE3E3, Config{Start: true, Mux: Mux2, Gain: 1, Single: true, Speed: 7, Queue: 3}, wiring.ADS1115,
		"AIN2-GND, ±4.096 V, 860/s, single-shot"},
	{0xF3E3, Config{Start: true, Mux: Mux3, Gain: 1, Single: true, Speed: 7, Queue: 3}, wiring.ADS1115,
		"AIN3-GND, ±4.096 V, 860/s, single-shot"},
	{0x42E0, Config{Mux: Mux0, Gain: 1, Speed: 7}, wiring.ADS1115,
		"AIN0-GND, ±4.096 V, 860/s, continuous"},
	{0xC3C3, Config{Start: true, Mux: Mux0, Gain: 1, Single: true, Speed: 6, Queue: 3}, wiring.ADS1015,
		"AIN0-GND, ±4.096 V, 3300/s, single-shot"},
	{0x84A3, Config{Start: true, Mux: Mux0to1, Gain: 2, Speed: 5, Queue: 3}, wiring.ADS1015,
		"AIN0-AIN1, ±2.048 V, 2400/s, continuous"},
	{0x001C, Config{Window: true, ActiveHigh: true, Latching: true}, wiring.ADS1115,
		"AIN0-AIN1, ±6.144 V, 8/s, continuous"},
}

func TestConfig_words(t *testing.T) {
	for _, w := range registerWords {
		if got := Decode(w.word); got != w.config {
			t.Errorf("Decode(%04X) = %+v, want %+v", w.word, got, w.config)
		}
		if got := w.config.Encode(); got != w.word {
			t.Errorf("%+v encodes to %04X, want %04X", w.config, got, w.word)
		}
		if got := w.config.Describe(w.model); got != w.text {
			t.Errorf("%04X reads %q, want %q", w.word, got, w.text)
		}
	}
}

// The tables of SBAS444 (PGA, DR) and, for the ADS1015's rates, of the Linux
// kernel's driver drivers/iio/adc/ti-ads1015.c.
func TestConfig_fieldTables(t *testing.T) {
	ranges := [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}
	fast := [8]int{128, 250, 490, 920, 1600, 2400, 3300, 3300}
	slow := [8]int{8, 16, 32, 64, 128, 250, 475, 860}
	for i := range uint8(8) {
		c := Config{Gain: i, Speed: i}
		if c.Range() != ranges[i] {
			t.Errorf("range code %d is ±%g V, want %g", i, c.Range(), ranges[i])
		}
		if got := c.Rate(wiring.ADS1015); got != fast[i] {
			t.Errorf("ADS1015 rate code %d is %d/s, want %d", i, got, fast[i])
		}
		if got := c.Rate(wiring.ADS1115); got != slow[i] {
			t.Errorf("ADS1115 rate code %d is %d/s, want %d", i, got, slow[i])
		}
	}
}

func TestRangesAndRates_areCopies(t *testing.T) {
	for _, m := range []wiring.Model{wiring.ADS1115, wiring.ADS1015} {
		Ranges(m)[0], Rates(m)[0] = 99, 99
		if Ranges(m)[0] != 6.144 || slices.Contains(Rates(m), 99) {
			t.Errorf("%s: a caller can change the tables: %v %v", m, Ranges(m), Rates(m))
		}
	}
	if r, s := Ranges("ADC9"), Rates("ADC9"); r != nil || s != nil {
		t.Errorf("a model not known has ranges %v and rates %v", r, s)
	}
}

func FuzzDecode(f *testing.F) {
	for _, w := range registerWords {
		f.Add(w.word)
	}
	f.Fuzz(func(t *testing.T, word uint16) {
		c := Decode(word)
		if got := c.Encode(); got != word {
			t.Errorf("%04X decodes to %+v, which encodes to %04X", word, c, got)
		}
		for _, m := range []wiring.Model{wiring.ADS1115, wiring.ADS1015} {
			if !slices.Contains(Ranges(m), c.Range()) || !slices.Contains(Rates(m), c.Rate(m)) {
				t.Errorf("%04X on %s: ±%g V, %d/s", word, m, c.Range(), c.Rate(m))
			}
		}
	})
}
