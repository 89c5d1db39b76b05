package ads1x15

import (
	"math"
	"testing"
	"time"
)

// Tables of electrical characteristics: TI SBASAV5 (ADS1115L) and SBASAV7
// (ADS1015L), which repeat those of SBAS444 and SBAS473: offset ±3 and ±0.5 LSB,
// gain 0.15 % and 0.25 %, INL 1 and 0.5 LSB, all at ±2.048 V; gain match 0.1 %;
// common-mode input impedance 10, 6, 6, 3, 100, 100 MΩ.
func TestErrors_dataSheetTable(t *testing.T) {
	ohms := []float64{10e6, 6e6, 6e6, 3e6, 100e6, 100e6}
	for i, fs := range Ranges() {
		if got := Errors(ADS1115, fs).InputOhms; got != ohms[i] {
			t.Errorf("±%g V: %g ohm, want %g", fs, got, ohms[i])
		}
	}
	for _, c := range []struct {
		model             Model
		fs                float64
		offset, gain, inl float64
	}{
		{ADS1115, 2.048, 3, 0.0015, 1},
		{ADS1115, 4.096, 3, 0.0025, 1},
		{ADS1115, 0.256, 24, 0.0025, 1}, // 3 steps of ±2.048 V are 24 here
		{ADS1015, 2.048, 0.5, 0.0025, 0.5},
		{ADS1015, 4.096, 0.5, 0.0035, 0.5},
	} {
		e := Errors(c.model, c.fs)
		if e.OffsetSteps != c.offset || math.Abs(e.GainShare+e.MatchShare-c.gain) > 1e-12 || e.INLSteps != c.inl || e.DriftShare != 40e-6 {
			t.Errorf("%s ±%g V: %+v, want offset %g, gain %g, INL %g", c.model, c.fs, e, c.offset, c.gain, c.inl)
		}
	}
	if e := Errors(ADS1115, 3); e != (DataSheetErrors{}) {
		t.Errorf("a range that does not exist has %+v", e)
	}
}

// At 860/s and ±10 % of the rate the period is 1.0571 to 1.2920 ms (computed from
// SBAS444's tolerance).
func TestPeriods(t *testing.T) {
	for _, c := range []struct {
		rate                       int
		shortest, nominal, longest time.Duration
	}{
		{860, 1057 * time.Microsecond, 1162 * time.Microsecond, 1291 * time.Microsecond},
		{8, 113636 * time.Microsecond, 125 * time.Millisecond, 138888 * time.Microsecond},
		{3300, 275 * time.Microsecond, 303 * time.Microsecond, 336 * time.Microsecond},
	} {
		a, b, l := Periods(c.rate)
		if a.Truncate(time.Microsecond) != c.shortest || b.Truncate(time.Microsecond) != c.nominal || l.Truncate(time.Microsecond) != c.longest {
			t.Errorf("%d/s: %v, %v, %v; want %v, %v, %v", c.rate, a, b, l, c.shortest, c.nominal, c.longest)
		}
	}
}
