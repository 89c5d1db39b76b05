package ads1x15

import (
	"slices"
	"testing"
)

// Register words put together by hand from the bit table of SBAS444, section on
// the configuration register. 8583h is the reset value that the sheet states;
// 84A3h is a worked example of a driver in the Linux kernel's test of the
// ADS1015 (AIN0 against AIN1, ±2.048 V, continuous, 2400/s).
func TestConfig_words(t *testing.T) {
	for _, w := range []struct {
		word   uint16
		config Config
	}{
		{0x8583, Config{Start: true, Mux: Mux0to1, Gain: 2, Single: true, Speed: 4, Queue: 3}},
		{0xC3E3, Config{Start: true, Mux: Mux0, Gain: 1, Single: true, Speed: 7, Queue: 3}},
		{0xD3E3, Config{Start: true, Mux: Mux1, Gain: 1, Single: true, Speed: 7, Queue: 3}},
		{0xE3E3, Config{Start: true, Mux: Mux2, Gain: 1, Single: true, Speed: 7, Queue: 3}},
		{0xF3E3, Config{Start: true, Mux: Mux3, Gain: 1, Single: true, Speed: 7, Queue: 3}},
		{0x42E0, Config{Mux: Mux0, Gain: 1, Speed: 7}},
		{0xC3C3, Config{Start: true, Mux: Mux0, Gain: 1, Single: true, Speed: 6, Queue: 3}},
		{0x84A3, Config{Start: true, Mux: Mux0to1, Gain: 2, Speed: 5, Queue: 3}},
		{0x001C, Config{Window: true, ActiveHigh: true, Latching: true}},
		{0x80E0, Config{Start: true, Speed: 15, Queue: 4}}, // what a field has no room for is dropped
	} {
		if got := w.config.Encode(); got != w.word {
			t.Errorf("%+v encodes to %04X, want %04X", w.config, got, w.word)
		}
	}
}

// The codes of ranges and rates: the tables of SBAS444 (PGA, DR) and, for the ADS1015's
// rates, of the Linux kernel's driver drivers/iio/adc/ti-ads1015.c.
func TestModel_codes(t *testing.T) {
	if got, want := Ranges(), []float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256}; !slices.Equal(got, want) {
		t.Errorf("ranges %v, want %v", got, want)
	}
	for _, m := range []struct {
		model   Model
		rates   []int
		fastest int
		known   bool
	}{
		{ADS1115, []int{8, 16, 32, 64, 128, 250, 475, 860}, 860, true},
		{ADS1015, []int{128, 250, 490, 920, 1600, 2400, 3300}, 3300, true},
		{"ADC9", nil, 0, false},
	} {
		if got := m.model.Rates(); !slices.Equal(got, m.rates) || m.model.Fastest() != m.fastest || m.model.Known() != m.known {
			t.Errorf("%s: rates %v, fastest %d, known %v", m.model, got, m.model.Fastest(), m.model.Known())
		}
	}
	Ranges()[0], ADS1115.Rates()[0] = 99, 99
	if Ranges()[0] != 6.144 || ADS1115.Rates()[0] != 8 {
		t.Error("a caller can change the tables")
	}
}
