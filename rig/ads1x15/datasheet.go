package ads1x15

import (
	"time"

	"makebreak/rig/wiring"
)

// PowerUp is the time that a single-shot conversion takes beyond its period,
// because the chip wakes first (SBAS444, single-shot mode: about 25 µs).
const PowerUp = 25 * time.Microsecond

// RateTolerance is how far the data rate can be off, as a share of it (SBAS444
// and SBAS473: ±10 % at all rates).
const RateTolerance = 0.10

// InputBeyondRails is how far in volts an input may go below ground and above
// the supply (absolute maximum ratings of both sheets).
const InputBeyondRails = 0.3

// DataSheetErrors are the converter's own errors as limits, at one range. They
// do not average out.
type DataSheetErrors struct {
	// OffsetLSB is the largest offset, in steps of the model at this range.
	OffsetLSB float64
	// GainError is the largest gain error at 25 °C as a share of the reading, the
	// reference and the amplifier included, with the largest mismatch between two
	// ranges added where the range is not the one that the sheet states it for.
	GainError float64
	// GainDrift is the largest change of the gain, as a share per kelvin.
	GainDrift float64
	// INLLSB is the integral non-linearity, in steps.
	INLLSB float64
	// InputOhms is the common-mode input impedance, which loads the divider of a
	// single-ended input (typical; the sheets give no limits).
	InputOhms float64
}

// Errors returns the data sheet's limits for a model at a range in ± volts
// (tables of electrical characteristics in SBAS444/SBASAV5 and SBAS473/SBASAV7).
//
// The sheets state the offset at ±2.048 V only. At wider ranges it is taken as
// the same number of steps, at narrower ones as the same voltage: the larger of
// the two each time. A model or range that does not exist gives zeros.
func Errors(model wiring.Model, rng float64) DataSheetErrors {
	code := gainCode(rng)
	if code < 0 {
		return DataSheetErrors{}
	}
	e := (&wiring.Chip{Model: model, Range: ranges[code]}).Errors()
	return DataSheetErrors{OffsetLSB: e.OffsetSteps, GainError: e.GainShare + e.MatchShare,
		GainDrift: e.DriftShare, INLLSB: e.INLSteps, InputOhms: e.InputOhms}
}

// Periods returns the shortest, the nominal and the longest time of one
// conversion at a data rate in conversions a second.
func Periods(rate int) (shortest, nominal, longest time.Duration) {
	second := float64(time.Second)
	r := float64(rate)
	return time.Duration(second / (r * (1 + RateTolerance))),
		time.Duration(second / r),
		time.Duration(second / (r * (1 - RateTolerance)))
}
