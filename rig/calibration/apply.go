package calibration

import (
	"fmt"

	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// Wiring says in words what a calibration of an output holds for: the converter's
// input and the resistors before it, and of a simulated rig the seed that the
// resistors were drawn from. Whatever changes it makes the calibration void. An output
// that is not there gives an empty text.
func Wiring(rig *wiring.Rig, out string, seed uint64) string {
	o := rig.Output(out)
	if o == nil {
		return ""
	}
	c := rig.Chip(o.Chip)
	if c == nil {
		return ""
	}
	s := fmt.Sprintf("%s at 0x%02X channel %d, range %s, divider %s", c.Model, c.Address, o.Channel, unit.Voltage.Format(c.Range), dividerText(o.Divider))
	if rig.Simulated {
		s += fmt.Sprintf(", simulated with seed %d", seed)
	}
	return s
}

func dividerText(d wiring.Divider) string {
	if d.Upper == 0 {
		return "none"
	}
	return fmt.Sprintf("%s over %s of %s", unit.Resistance.Format(d.Upper), unit.Resistance.Format(d.Lower), unit.Share.Format(d.Tolerance))
}

// Apply gives the rig's outputs the corrections of a file on a day. Warnings name the
// calibrations that are due, which are used all the same, and those that no longer
// hold, which are not. The seed is the simulated bench's.
func (f *File) Apply(rig *wiring.Rig, today Day, seed uint64) (warnings []string) {
	warn := func(format string, args ...any) { warnings = append(warnings, fmt.Sprintf(format, args...)) }
	if f.Rig != rig.Name {
		warn("%s holds calibrations of rig %s and is not used: this rig is %s", f.Path, f.Rig, rig.Name)
		return warnings
	}
	for _, c := range f.Calibrations {
		now := Wiring(rig, c.Output, seed)
		switch {
		case now == "":
			warn("the calibration of %s is not used: the rig has no such output", c.Output)
			continue
		case now != c.Wiring:
			warn("the calibration of %s of %s is not used: it was made with %s, and now there is %s; calibrate again", c.Output, c.Date, c.Wiring, now)
			continue
		case today.Before(c.Date):
			warn("%s was calibrated on %s, which is still to come: is the clock right?", c.Output, c.Date)
		case !today.Before(c.Due):
			warn("%s is due for calibration since %s; the old one of %s is used", c.Output, c.Due, c.Date)
		}
		by := c.Correction(today)
		rig.Correct(c.Output, &by)
	}
	return warnings
}

// note says in one line what was done, for a record.
func (c *Calibration) note(today Day) string {
	due := "due on"
	if !today.Before(c.Due) {
		due = "overdue since"
	}
	return fmt.Sprintf("%s calibrated on %s against meter %s: gain %.5f, offset %s, %s %s", c.Output, c.Date, c.Meter, c.Gain, show(c.Offset), due, c.Due)
}
