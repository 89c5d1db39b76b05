package wiring

import (
	"math"

	"makebreak/rig/ads1x15"
)

// Errors returns the data sheet's figures for the chip, zero where its model or range
// is unknown.
func (c *Chip) Errors() ads1x15.DataSheetErrors { return ads1x15.Errors(c.Model, c.Range) }

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
