package calibration

import (
	"errors"
	"fmt"
	"math"
	"unicode/utf8"

	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

// LeastSpread is how far lowest and highest point must lie apart, a share of the
// output's highest voltage.
const LeastSpread = 0.2

// What else points must keep to.
const (
	fewestPoints = 2
	mostPoints   = 50
	coarseDigit  = 0.005 // of the highest voltage: the meter's last digit, where it is also
	coarseShare  = 0.05  // more than this share of what the meter shows
	mostNegative = 0.05  // of the highest voltage: a terminal may lie a little below ground
	mostSigmas   = 3.0   // of a residual, and of what the rig read
	leastGain    = 0.5
	mostGain     = 2.0
)

// check refuses what cannot be right today, and fits.
func (c *Calibration) check(rig *wiring.Rig, today Day) error {
	o := rig.Output(c.Output)
	if o == nil {
		return fmt.Errorf("rig %s has no such output", rig.Name)
	}
	if err := CheckSerial(c.Meter); err != nil {
		return err
	}
	if c.By != "" {
		if err := checkText("who calibrates", c.By); err != nil {
			return err
		}
	}
	if err := c.checkDays(today); err != nil {
		return err
	}
	if err := c.checkPoints(rig, o); err != nil {
		return err
	}
	c.Nonlinearity = microvolts(rig.Nonlinearity(c.Output))
	var err error
	if c.Line, err = draw(c.Points, c.Nonlinearity); err != nil {
		return err
	}
	if err := c.checkResiduals(); err != nil {
		return err
	}
	return c.checkGain(rig, o)
}

// checkDays refuses a calibration that is still to come, or overdue when it is stored.
func (c *Calibration) checkDays(today Day) error {
	switch {
	case today.Before(c.Date):
		return fmt.Errorf("it was made on %s, which must be today, %s, or a day before", c.Date, today)
	case !c.Date.Before(c.Due):
		return fmt.Errorf("it falls due on %s, which is not after %s", c.Due, c.Date)
	}
	if err := CheckDue(c.Due, today); err != nil {
		return fmt.Errorf("it falls due on %s, which %w", c.Due, err)
	}
	return nil
}

// CheckDue refuses a day that is past, or today, as the one from which a calibration is due
// again. The error says what the day must be.
func CheckDue(due, today Day) error {
	if today.Before(due) {
		return nil
	}
	return fmt.Errorf("must be a day after today, %s", today)
}

// checkGain refuses a calibration that leaves levels less sure than they are without.
func (c *Calibration) checkGain(rig *wiring.Rig, o *wiring.Output) error {
	before, err := rig.DividerReport(o.Name)
	if err != nil {
		return err
	}
	with, by := rig.Uncorrected(), c.Correction(c.Date)
	with.Correct(o.Name, &by)
	after, err := with.DividerReport(o.Name)
	if err != nil {
		return err
	}
	if after.NominalUncertainty >= before.NominalUncertainty {
		return fmt.Errorf("nothing is gained: at %s a level would be known to ± %s by these points and this meter; by the resistors alone it is known to ± %s. Use a more accurate meter, or steadier points",
			show(o.Nominal), show(k95*after.NominalUncertainty), show(k95*before.NominalUncertainty))
	}
	return nil
}

// k95 makes a standard uncertainty an expanded one of 95 % (normal distribution).
const k95 = 1.96

// CheckSerial refuses what cannot be a meter's serial.
func CheckSerial(s string) error {
	if s == "" {
		return errors.New("the meter's serial is missing")
	}
	return checkText("the meter's serial", s)
}

// checkText refuses what does not print on one line.
func checkText(what, s string) error {
	if utf8.RuneCountInString(s) > 64 || !utf8.ValidString(s) {
		return fmt.Errorf("%s must have at most 64 characters, all printable", what)
	}
	if words.Formula(s) {
		return fmt.Errorf("%s: %w", what, words.CheckName(s))
	}
	if words.NameFault(s) != "" {
		return fmt.Errorf("%s: %q must have printable characters only, and no space first or last", what, s)
	}
	return nil
}

// checkPoints looks at the points before a line is drawn through them.
func (c *Calibration) checkPoints(rig *wiring.Rig, o *wiring.Output) error {
	if n := len(c.Points); n < fewestPoints || n > mostPoints {
		return fmt.Errorf("%d to %d points may be given, not %d", fewestPoints, mostPoints, n)
	}
	lowest, highest := math.Inf(1), math.Inf(-1)
	for i := range c.Points {
		p := &c.Points[i]
		var apart *DifferenceError
		switch err := checkPoint(rig, o, p); {
		case err == nil:
			p.Accepted = false // there was nothing to accept
		case !p.Accepted || !errors.As(err, &apart):
			return fmt.Errorf("point %d: %w", i+1, err)
		}
		lowest, highest = math.Min(lowest, p.Meter.Volts), math.Max(highest, p.Meter.Volts)
	}
	if least := LeastSpread * o.Highest; highest-lowest < least {
		return fmt.Errorf("the points lie within %s; to tell gain from offset they must be at least %s apart (%g %% of %s)",
			show(highest-lowest), show(least), LeastSpread*100, show(o.Highest))
	}
	return nil
}

// A DifferenceError says that meter and rig differ by more than tolerances explain. A person
// who has looked may accept the point all the same.
type DifferenceError struct {
	Output  string
	Meter   string  // what the meter showed
	Read    float64 // volts that the rig read
	Away    float64 // volts between both
	Most    float64 // volts that tolerances explain
	Divider string
}

func (e *DifferenceError) Error() string { return e.Difference() + ". " + e.Causes() }

// Difference says by how much both differ, and what is explained.
func (e *DifferenceError) Difference() string {
	return fmt.Sprintf("the meter shows %s and the rig reads %s. They differ by %s; the divider's tolerance, the converter and the meter explain %s",
		e.Meter, show(e.Read), show(e.Away), show(e.Most))
}

// Causes says where to look.
func (e *DifferenceError) Causes() string {
	return fmt.Sprintf("Likely causes: a digit was mistyped, the probe is on another terminal than %s, the wrong output was named, or the divider is not the %s of the rig file",
		e.Output, e.Divider)
}

// CheckPoint says whether a point can belong to the output: by the voltages that are
// possible there, and by whether meter and rig agree within what tolerances allow. Where they
// do not, and only then, the error is a *DifferenceError.
func CheckPoint(rig *wiring.Rig, out string, p *Point) error {
	o := rig.Output(out)
	if o == nil {
		return fmt.Errorf("rig %s has no output %s", rig.Name, out)
	}
	return checkPoint(rig.Uncorrected(), o, p)
}

func checkPoint(rig *wiring.Rig, o *wiring.Output, p *Point) error {
	f, err := rig.DividerReport(o.Name)
	if err != nil {
		return err
	}
	low := -mostNegative * o.Highest
	switch v := p.Meter.Volts; {
	case p.Accuracy.HalfWidth(p.Meter) <= 0 || p.Meter.Digit <= 0:
		return errors.New("the meter's accuracy is missing")
	case !(v >= low && v <= o.Highest):
		return fmt.Errorf("the meter shows %s, which must be from %s to %s, the highest of %s", p.Meter.Text, show(low), show(o.Highest), o.Name)
	case p.Meter.Digit > coarseDigit*o.Highest && p.Meter.Digit > coarseShare*math.Abs(v):
		return fmt.Errorf("the meter shows %s, which is too coarse: its last digit stands for %s. Type all digits, or choose a lower range of the meter", p.Meter.Text, show(p.Meter.Digit))
	case !(p.ReadVolts < f.ClipTerminalVolts):
		return fmt.Errorf("the rig reads %s, the end of its converter's range; take a lower voltage", show(p.ReadVolts))
	case !(p.ReadStandard >= 0 && p.ReadStandard <= mostScatter*o.Highest):
		return fmt.Errorf("the rig's reading is known to %s only; take a steady voltage", show(p.ReadStandard))
	}
	away, most := math.Abs(p.Meter.Volts-p.ReadVolts), p.Half()+mostSigmas*p.ReadStandard+limits(rig, o.Name, p.Meter.Volts)
	if !(away <= most) {
		return &DifferenceError{Output: o.Name, Meter: p.Meter.Text, Read: p.ReadVolts, Away: away, Most: most, Divider: dividerText(o.Divider)}
	}
	return nil
}

// limits adds up the limits of error of an uncalibrated reading, in volts.
func limits(rig *wiring.Rig, out string, volts float64) float64 {
	sum := 0.0
	for _, d := range rig.Converter(out).Doubts {
		sum += math.Abs(d.Relative*volts) + math.Abs(d.Volts)
	}
	return sum
}

// checkResiduals refuses a point that does not lie on the line. Of three points each is as
// many standard uncertainties off it as the others: then the one farthest off is named.
func (c *Calibration) checkResiduals() error {
	worst, at := 0.0, -1
	for i, r := range c.Residuals {
		const alike = 0.01 // of a share
		u := c.Tolerated[i]
		if u == 0 {
			continue
		}
		n := math.Abs(r) / u
		if n > worst*(1+alike) || n > worst*(1-alike) && math.Abs(r) > math.Abs(c.Residuals[at]) {
			worst, at = n, i
		}
	}
	if worst <= mostSigmas {
		return nil
	}
	return fmt.Errorf("point %d: %s lies %s off the line through the points, more than the meter's digits and the reading's scatter explain (%s): one of the points is not right; read the meter again with the output steady",
		at+1, c.Points[at].Meter.Text, show(math.Abs(c.Residuals[at])), show(mostSigmas*c.Tolerated[at]))
}

// show writes volts with four digits, down to the microvolt.
func show(v float64) string { return unit.Voltage.Short(microvolts(v), 4) }
