package ads1x15

import (
	"math"

	"makebreak/rig/wiring"
)

// fullCode is what the conversion register would have to hold at full scale.
const fullCode = 1 << 15

// Volts returns the voltage at the pin for the contents of a conversion
// register at a range in ± volts. Both models need the same factor because the
// ADS1015 left-justifies its twelve bits.
func Volts(code int16, rng float64) float64 { return float64(code) * (rng / fullCode) }

// StepVolts returns the voltage of one step of the model at a range in ± volts.
func StepVolts(model wiring.Model, rng float64) float64 {
	return rng / fullCode * float64(codesPerStep(model))
}

// Code returns what an ideal chip's conversion register holds for a voltage at
// the pin, at a range in ± volts: the nearest step, clipped at both ends. What is
// not a number gives 0.
func Code(model wiring.Model, volts, rng float64) int16 {
	per := codesPerStep(model)
	last := float64(fullCode/per - 1)
	steps := math.RoundToEven(volts / StepVolts(model, rng))
	if math.IsNaN(steps) {
		return 0
	}
	return int16(int(max(min(steps, last), -last-1)) * per)
}

// Clipped tells whether a code stands at an end of the model's scale, where the
// voltage may lie anywhere beyond.
func Clipped(model wiring.Model, code int16) bool {
	return code == math.MinInt16 || int(code) >= fullCode-codesPerStep(model)
}

// codesPerStep is how many units of the conversion register one step takes.
func codesPerStep(model wiring.Model) int {
	if model == wiring.ADS1015 {
		return 16
	}
	return 1
}
