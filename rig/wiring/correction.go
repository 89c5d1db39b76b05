package wiring

import "makebreak/rig/capture"

// Correction is what a calibration says of an output's readings: the voltage at the
// terminal is Gain times what resistors and converter nominally give, plus Offset.
type Correction struct {
	Gain   float64 // volts at the terminal per volt read
	Offset float64 // volts at the terminal
	// Doubts are the calibration's own, of a corrected reading. They take the place of
	// those that the calibration has found out: the resistors' tolerance, the
	// converter's gain and offset and its input's load.
	Doubts []capture.Doubt
}

// How far things drift with the temperature, where it lies within roomKelvin of that
// of the calibration.
const (
	resistorPerKelvin = 100e-6 // of each resistor: metal film; common practice, no source
	offsetStepsKelvin = 0.005  // of the converter's offset, in steps (SBAS444 6.5)
)

// Correct gives the output a correction, or takes it away where c is nil.
func (r *Rig) Correct(out string, c *Correction) {
	if c == nil {
		delete(r.Corrections, out)
		return
	}
	if r.Corrections == nil {
		r.Corrections = map[string]Correction{}
	}
	r.Corrections[out] = *c
}

// Uncorrected returns the same rig as it reads without any calibration.
func (r *Rig) Uncorrected() *Rig {
	bare := *r
	bare.Corrections = nil
	return &bare
}

// Correction returns the output's correction and whether it has one. Without one it
// changes nothing.
func (r *Rig) Correction(out string) (Correction, bool) {
	if c, ok := r.Corrections[out]; ok {
		return c, true
	}
	return Correction{Gain: 1}, false
}

// TerminalOffset returns the voltage at the output's terminal, in volts, where the
// converter's input reads zero.
func (r *Rig) TerminalOffset(out string) float64 {
	c, _ := r.Correction(out)
	return c.Offset
}

// Nonlinearity returns the half-width in volts at the terminal within which the
// converter's nonlinearity stays, which no calibration takes away. An output that is
// not there gives 0.
func (r *Rig) Nonlinearity(out string) float64 {
	o, c, err := r.outputAndChip(out)
	if err != nil {
		return 0
	}
	e := c.Errors()
	return e.INLSteps * e.StepVolts * o.Divider.terminalPerPin(e.InputOhms)
}

// corrected lists the systematic uncertainties of a reading that a calibration
// corrects: the calibration's, the drift with temperature since, and the converter's
// nonlinearity.
func (r *Rig) corrected(o *Output, c *Chip, by Correction) []capture.Doubt {
	e, d := c.Errors(), o.Divider
	list := append([]capture.Doubt(nil), by.Doubts...)
	add := func(source capture.Source, relative, volts float64) {
		if relative > 0 || volts > 0 {
			list = append(list, capture.Doubt{Source: source, Distribution: capture.Rectangular, Relative: relative, Volts: volts})
		}
	}
	add(capture.UpperResistorDrift, d.upperShare()*resistorPerKelvin*roomKelvin, 0)
	add(capture.LowerResistorDrift, d.upperShare()*resistorPerKelvin*roomKelvin, 0)
	add(capture.ADCGainDrift, e.DriftShare*roomKelvin, 0)
	add(capture.ADCOffsetDrift, 0, offsetStepsKelvin*roomKelvin*e.StepVolts*d.terminalPerPin(e.InputOhms))
	add(capture.ADCNonlinearity, 0, r.Nonlinearity(o.Name))
	return list
}
