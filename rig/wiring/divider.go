package wiring

import (
	"fmt"
	"math"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/unit"
)

// DividerFigures is what follows from an output's divider and its converter.
// Voltages are at the converter's input where the name says Pin, at the unit's
// terminal where it says Terminal.
type DividerFigures struct {
	Ratio         float64 // volts per volt, pin to terminal by the nominal resistors alone
	LoadedRatio   float64 // the same with the converter's input impedance across the lower one
	InputShare    float64 // by how much the input impedance lowers the reading if uncorrected, a share
	WorstPinVolts float64 // at the highest terminal voltage in the worst case of the tolerances
	AllowedVolts  float64 // at the pin: the lower of range and supply
	AllowedBy     string  // which of them: "range" or "supply"
	// ClipTerminalVolts is the terminal voltage above which the reading clips or the
	// input leaves the supply.
	ClipTerminalVolts    float64
	StepVoltsAtTerminal  float64 // one code
	TerminalOhms         float64 // what the divider loads the output with; infinite for none
	PinOhms              float64 // source resistance that the converter sees
	ResistorsUncertainty float64 // a share of one: relative standard uncertainty from the resistors alone
	NominalUncertainty   float64 // standard uncertainty in volts at the nominal voltage, all of Converter's doubts
}

// ratio returns pin volts a terminal volt without load.
func (d Divider) ratio() float64 {
	if d.Upper == 0 {
		return 1
	}
	return d.Lower / (d.Upper + d.Lower)
}

// worstRatio is the highest ratio that the tolerances allow.
func (d Divider) worstRatio() float64 {
	if d.Upper == 0 {
		return 1
	}
	upper, lower := d.Upper*(1-d.Tolerance), d.Lower*(1+d.Tolerance)
	return lower / (upper + lower)
}

// LeastUpper returns the smallest upper resistor, in ohms, with which the converter's
// input stays within allowed volts at the highest terminal voltage, when both
// resistors are off by the tolerance to the worse side; 0 or less where no divider is
// needed. It is worstRatio solved for the upper resistor.
func LeastUpper(lower, tolerance, highest, allowed float64) float64 {
	return lower * (1 + tolerance) / (1 - tolerance) * (highest/allowed - 1)
}

// terminalPerPin returns terminal volts a pin volt, the input's impedance across
// the lower resistor taken into account: (U + L)/L + U/Z.
func (d Divider) terminalPerPin(inputOhms float64) float64 {
	gain := 1 / d.ratio()
	if d.Upper > 0 && inputOhms > 0 {
		gain += d.Upper / inputOhms
	}
	return gain
}

// upperShare is the sensitivity of the reading to a relative change of either
// resistor: U/(U+L).
func (d Divider) upperShare() float64 {
	if d.Upper == 0 {
		return 0
	}
	return d.Upper / (d.Upper + d.Lower)
}

// valid reports whether the divider's figures can be computed.
func (d Divider) valid() bool {
	return d.Upper == 0 && d.Lower == 0 || d.Upper >= 0 && d.Lower > 0 && d.Tolerance >= 0 && d.Tolerance < 1
}

// allowed is the highest voltage that the chip's input may see, and what sets it.
func (c *Chip) allowed() (volts float64, by string) {
	if c.Supply < c.Range {
		return c.Supply, "supply"
	}
	return c.Range, "range"
}

// DividerReport returns the figures of an output's divider. The error says that the
// output or its chip is not there.
func (r *Rig) DividerReport(out string) (DividerFigures, error) {
	o, c, err := r.outputAndChip(out)
	if err != nil {
		return DividerFigures{}, err
	}
	d, e := o.Divider, c.Errors()
	f := DividerFigures{
		Ratio:                d.ratio(),
		LoadedRatio:          1 / d.terminalPerPin(e.InputOhms),
		WorstPinVolts:        o.Highest * d.worstRatio(),
		StepVoltsAtTerminal:  e.StepVolts * d.terminalPerPin(e.InputOhms),
		TerminalOhms:         math.Inf(1),
		ResistorsUncertainty: d.upperShare() * d.Tolerance * math.Sqrt2 * perSquareRootOf3,
	}
	if d.Upper+d.Lower > 0 {
		f.TerminalOhms = d.Upper + d.Lower
		f.PinOhms = d.Upper * d.ratio()
	}
	f.InputShare = 1 - f.LoadedRatio/f.Ratio
	f.AllowedVolts, f.AllowedBy = c.allowed()
	f.ClipTerminalVolts = f.AllowedVolts / f.LoadedRatio
	f.NominalUncertainty = standard(r.doubts(o, c), o.Nominal)
	return f, nil
}

// StandardUncertainty returns the standard uncertainty in volts of a reading of the
// output, from all that does not average out. An output that is not there gives NaN.
func (r *Rig) StandardUncertainty(out string, volts float64) float64 {
	o, c, err := r.outputAndChip(out)
	if err != nil {
		return math.NaN()
	}
	return standard(r.doubts(o, c), volts)
}

// standard combines the doubts at a reading (GUM 5.1.2).
func standard(doubts []capture.Doubt, volts float64) float64 {
	sum := 0.0
	for _, d := range doubts {
		u := d.Relative*volts + d.Volts
		if d.Distribution == capture.Rectangular {
			u *= perSquareRootOf3
		}
		sum += u * u
	}
	return math.Sqrt(sum)
}

func (r *Rig) outputAndChip(out string) (*Output, *Chip, error) {
	o := r.Output(out)
	if o == nil {
		return nil, nil, fmt.Errorf("rig %s: there is no output %q", r.Name, out)
	}
	c := r.Chip(o.Chip)
	if c == nil {
		return nil, nil, fmt.Errorf("rig %s: output %s: there is no chip %q", r.Name, out, o.Chip)
	}
	return o, c, nil
}

// TerminalPerPin returns by what a voltage at the converter's input is multiplied to
// give the voltage at the output's terminal, before TerminalOffset is added. The input's
// impedance is corrected for, and by what a calibration says. An output that is not
// there gives NaN.
func (r *Rig) TerminalPerPin(out string) float64 {
	o, c, err := r.outputAndChip(out)
	if err != nil {
		return math.NaN()
	}
	by, _ := r.Correction(out)
	return o.Divider.terminalPerPin(c.Errors().InputOhms) * by.Gain
}

// TerminalVolts returns the voltage at the output's terminal for one at the
// converter's input.
func (r *Rig) TerminalVolts(out string, pinVolts float64) float64 {
	return pinVolts*r.TerminalPerPin(out) + r.TerminalOffset(out)
}

// Converter returns what a sample of the output stands for: the nominal conversion
// time with the oscillator's tolerance (a bench that times its conversions knows
// both better and the time stamps besides), the step at the terminal and the
// systematic uncertainties. The converter's noise is not among them: it shows in
// the samples. An output that is not there gives the zero Converter.
func (r *Rig) Converter(out string) capture.Converter {
	o, c, err := r.outputAndChip(out)
	if err != nil {
		return capture.Converter{}
	}
	conv := capture.Converter{
		SpanRel:   rateShare * perSquareRootOf3,
		StepVolts: c.Errors().StepVolts * r.TerminalPerPin(out),
		Doubts:    r.doubts(o, c),
	}
	if c.Rate > 0 {
		conv.Span = time.Second / time.Duration(c.Rate)
	}
	return conv
}

// doubts lists the systematic uncertainties of a reading at the terminal.
func (r *Rig) doubts(o *Output, c *Chip) []capture.Doubt {
	if by, ok := r.Correction(o.Name); ok {
		return r.corrected(o, c, by)
	}
	e, d := c.Errors(), o.Divider
	gain := d.terminalPerPin(e.InputOhms)
	var list []capture.Doubt
	relative := func(source capture.Source, share float64) {
		if share > 0 {
			list = append(list, capture.Doubt{Source: source, Distribution: capture.Rectangular, Relative: share})
		}
	}
	volts := func(source capture.Source, half float64) {
		if half > 0 {
			list = append(list, capture.Doubt{Source: source, Distribution: capture.Rectangular, Volts: half})
		}
	}
	relative(capture.UpperResistor, d.upperShare()*d.Tolerance)
	relative(capture.LowerResistor, d.upperShare()*d.Tolerance)
	relative(capture.ADCGain, e.GainShare)
	relative(capture.ADCGainAtRange, e.MatchShare)
	relative(capture.ADCGainDrift, e.DriftShare*roomKelvin)
	volts(capture.ADCOffset, e.OffsetSteps*e.StepVolts*gain)
	volts(capture.ADCNonlinearity, e.INLSteps*e.StepVolts*gain)
	if d.Upper > 0 && e.InputOhms > 0 {
		// The load adds U/Z volts a pin volt; what is unknown of Z is unknown of that.
		relative(capture.ADCInputImpedance, impedanceShare*d.Upper/e.InputOhms/gain)
		volts(capture.ADCInputReturn, returnVolts*d.Upper/e.InputOhms)
	}
	return list
}

// divider checks an output's divider against its chip. At the highest voltage the
// input must stay within range and supply in the worst case of the tolerances; the
// input's own load, which only helps, is left out.
func (c *checker) divider(o *Output, path string) {
	d := o.Divider
	if d.Upper < 0 || d.Upper > 100e6 {
		c.add(path+".upper", unit.Resistance.Format(d.Upper), "", "must be from 0 ohm to 100 Mohm")
	}
	if d.Upper != 0 && d.Lower <= 0 || d.Lower < 0 || d.Lower > 100e6 {
		c.add(path+".lower", unit.Resistance.Format(d.Lower), "", "must be above 0 ohm and up to 100 Mohm")
	}
	if d.Tolerance < 0 || d.Tolerance > 0.2 || d.Tolerance == 0 && d.Upper > 0 {
		c.add(path+".tolerance", unit.Share.Format(d.Tolerance), "", "must be above 0 % and up to 20 %")
	}
	chip := c.rig.Chip(o.Chip)
	if chip == nil || !d.valid() || chip.Range <= 0 || chip.Supply <= 0 {
		return
	}
	worst := o.Highest * d.worstRatio()
	allowed, by := chip.allowed()
	if worst <= allowed {
		return
	}
	text := fmt.Sprintf("at %s the input of chip %s can see %s, above its %s of %s",
		unit.Voltage.Format(o.Highest), chip.Name, unit.Voltage.Short(worst, 4), by, unit.Voltage.Format(allowed))
	if d.Protected {
		clip := allowed * d.terminalPerPin(chip.Errors().InputOhms)
		c.list = append(c.list, Problem{Path: path, Warning: true,
			Why: text + "; it is said to be protected, so readings clip from " + unit.Voltage.Short(clip, 4) + " on"})
		return
	}
	c.add(path, "", text, fitting(o, allowed))
}

// fitting says which upper resistor would do for the lower one there is.
func fitting(o *Output, allowed float64) string {
	lower, tolerance := o.Divider.Lower, o.Divider.Tolerance
	what := "use an upper resistor of %s (E24) or %s (E96), or more"
	if lower == 0 {
		lower, tolerance = 10e3, 0.01
		what = "use a divider of 1 %% resistors with lower 10 kohm and upper %s (E24) or %s (E96), or more"
	}
	least := LeastUpper(lower, tolerance, o.Highest, allowed)
	return fmt.Sprintf(what, unit.Resistance.Format(E24.AtLeast(least)), unit.Resistance.Format(E96.AtLeast(least)))
}
