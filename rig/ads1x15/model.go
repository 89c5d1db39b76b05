package ads1x15

import "slices"

// Model is a converter's type.
type Model string

// The models known.
const (
	ADS1115 Model = "ADS1115"
	ADS1015 Model = "ADS1015"
)

// Models returns the models known.
func Models() []Model { return []Model{ADS1115, ADS1015} }

// Rates returns the model's data rates in conversions a second, the slowest first, in the
// order of their codes (SBAS444, SBAS473); nil for a model not known. The ADS1015's code 7
// means its last one as well.
func (m Model) Rates() []int {
	switch m {
	case ADS1115:
		return []int{8, 16, 32, 64, 128, 250, 475, 860}
	case ADS1015:
		return []int{128, 250, 490, 920, 1600, 2400, 3300}
	}
	return nil
}

// Fastest returns the model's highest data rate in conversions a second, 0 for a model not
// known.
func (m Model) Fastest() int {
	if rates := m.Rates(); len(rates) > 0 {
		return rates[len(rates)-1]
	}
	return 0
}

// Known reports whether the model is one of Models.
func (m Model) Known() bool { return slices.Contains(Models(), m) }

// ranges in ± volts, by the code of the amplifier: the widest first. Codes 6 and 7
// mean the last one as well.
var ranges = []float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256}

// Ranges returns the full scales in ± volts that the converters have, the widest first
// (SBAS444 table 8-3, SBAS473).
func Ranges() []float64 { return slices.Clone(ranges) }
