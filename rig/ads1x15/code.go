package ads1x15

import "math"

// fullCode is what the conversion register would have to hold at full scale.
const fullCode = 1 << 15

// StepVolts returns the voltage of one step of the model at a range in ± volts.
func StepVolts(model Model, rng float64) float64 {
	return rng / fullCode * float64(codesPerStep(model))
}

// Clipped tells whether a code stands at an end of the model's scale, where the
// voltage may lie anywhere beyond.
func Clipped(model Model, code int16) bool {
	return code == math.MinInt16 || int(code) >= fullCode-codesPerStep(model)
}

// codesPerStep is how many units of the conversion register one step takes.
func codesPerStep(model Model) int {
	if model == ADS1015 {
		return 16
	}
	return 1
}
