package wiring

import (
	"math"
	"slices"
)

// ConverterErrors are a converter's limits of error at one range: SBAS444 6.5 for
// the ADS1115, SBAS473 for the ADS1015.
type ConverterErrors struct {
	StepVolts   float64 // one code at the pin; 16 steps of the ADS1015's left-justified code
	GainShare   float64 // largest gain error at 25 °C
	MatchShare  float64 // largest further gain error at another range than ±2.048 V
	DriftShare  float64 // largest gain drift per kelvin
	OffsetSteps float64 // largest offset, in steps
	INLSteps    float64 // largest integral nonlinearity, in steps
	InputOhms   float64 // typical common-mode input impedance
}

// Errors returns the data sheet's figures for the chip, zero where its model or range
// is unknown.
func (c *Chip) Errors() ConverterErrors {
	i := slices.Index(Ranges(), c.Range)
	if i < 0 {
		return ConverterErrors{}
	}
	e := ConverterErrors{
		DriftShare: 40e-6,
		InputOhms:  []float64{10e6, 6e6, 6e6, 3e6, 100e6, 100e6}[i],
	}
	if c.Range != 2.048 {
		e.MatchShare = 0.1e-2
	}
	switch c.Model {
	case ADS1115:
		e.StepVolts = c.Range / (1 << 15)
		e.GainShare, e.OffsetSteps, e.INLSteps = 0.15e-2, 3, 1
	case ADS1015:
		e.StepVolts = c.Range / (1 << 11)
		e.GainShare, e.OffsetSteps, e.INLSteps = 0.25e-2, 0.5, 0.5
	default:
		return ConverterErrors{}
	}
	if c.Range < 2.048 {
		e.OffsetSteps *= 2.048 / c.Range // stated at ±2.048 V: the same voltage at a narrower range
	}
	return e
}

// Assumptions where the data sheet gives no figure; common practice, no source.
const (
	roomKelvin     = 10.0 // the workshop lies within this of 25 °C
	impedanceShare = 0.3  // the typical input impedance holds within this
	returnVolts    = 0.7  // the input current returns to a point up to this above ground
	rateShare      = 0.1  // the oscillator's tolerance (SBAS444 6.5)
)

// perSquareRootOf3 turns a rectangular distribution's half-width into its standard
// deviation (GUM 4.3.7).
var perSquareRootOf3 = 1 / math.Sqrt(3)
