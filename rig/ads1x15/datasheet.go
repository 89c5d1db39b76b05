package ads1x15

import "time"

// PowerUp is the time that a single-shot conversion takes beyond its period,
// because the chip wakes first (SBAS444, single-shot mode: about 25 µs).
const PowerUp = 25 * time.Microsecond

// RateTolerance is how far the data rate can be off, as a share of it (SBAS444
// and SBAS473: ±10 % at all rates).
const RateTolerance = 0.10

// InputBeyondRails is how far in volts an input may go below ground and above
// the supply (absolute maximum ratings of both sheets).
const InputBeyondRails = 0.3

// DataSheetErrors are a converter's own errors as limits, at one range. They do not
// average out.
type DataSheetErrors struct {
	StepVolts   float64 // one code at the pin; 16 steps of the ADS1015's left-justified code
	GainShare   float64 // largest gain error at 25 °C, with the reference and the amplifier
	MatchShare  float64 // largest further gain error at another range than ±2.048 V
	DriftShare  float64 // largest gain drift per kelvin
	OffsetSteps float64 // largest offset, in steps of the model at this range
	INLSteps    float64 // largest integral nonlinearity, in steps
	InputOhms   float64 // typical common-mode input impedance, which loads a divider
}

// Errors returns the data sheet's limits for a model at a range in ± volts
// (tables of electrical characteristics in SBAS444/SBASAV5 and SBAS473/SBASAV7).
//
// The sheets state the offset at ±2.048 V only. At wider ranges it is taken as
// the same number of steps, at narrower ones as the same voltage: the larger of
// the two each time. A model or range that does not exist gives zeros.
func Errors(model Model, rng float64) DataSheetErrors {
	code := gainCode(rng)
	if code < 0 {
		return DataSheetErrors{}
	}
	rng = ranges[code]
	e := DataSheetErrors{
		StepVolts:  StepVolts(model, rng),
		DriftShare: 40e-6,
		InputOhms:  []float64{10e6, 6e6, 6e6, 3e6, 100e6, 100e6}[code],
	}
	switch model {
	case ADS1115:
		e.GainShare, e.OffsetSteps, e.INLSteps = 0.15e-2, 3, 1
	case ADS1015:
		e.GainShare, e.OffsetSteps, e.INLSteps = 0.25e-2, 0.5, 0.5
	default:
		return DataSheetErrors{}
	}
	if rng != statedRange {
		e.MatchShare = 0.1e-2
	}
	if rng < statedRange {
		e.OffsetSteps *= statedRange / rng
	}
	return e
}

// statedRange is the range in ± volts that the sheets state the errors for.
const statedRange = 2.048

// Periods returns the shortest, the nominal and the longest time of one
// conversion at a data rate in conversions a second.
func Periods(rate int) (shortest, nominal, longest time.Duration) {
	second := float64(time.Second)
	r := float64(rate)
	return time.Duration(second / (r * (1 + RateTolerance))),
		time.Duration(second / r),
		time.Duration(second / (r * (1 - RateTolerance)))
}
