package calibration

import (
	"fmt"
	"strconv"
	"strings"

	"makebreak/rig/capture"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// Wiring says in words what a calibration of an output holds for: the converter's
// input and the resistors before it, and of a simulated rig the seed that the
// resistors were drawn from. Whatever changes it makes the calibration void. An output
// that is not there gives an empty text.
func Wiring(rig *wiring.Rig, out string, seed uint64) string {
	s := partsOf(rig, out)
	if s != "" && rig.Simulated {
		s += ofSeed + strconv.FormatUint(seed, 10)
	}
	return s
}

// ofSeed stands in a wiring's words before the seed of a simulated rig.
const ofSeed = ", simulated with seed "

// partsOf is Wiring without the seed.
func partsOf(rig *wiring.Rig, out string) string {
	o := rig.Output(out)
	if o == nil {
		return ""
	}
	c := rig.Chip(o.Chip)
	if c == nil {
		return ""
	}
	return fmt.Sprintf("%s at 0x%02X channel %d, range %s, divider %s", c.Model, c.Address, o.Channel, unit.Voltage.Format(c.Range), dividerText(o.Divider))
}

// seedOf takes a wiring's words apart; nil: of a real rig.
func seedOf(wiring string) (parts string, seed *uint64) {
	parts, number, _ := strings.Cut(wiring, ofSeed)
	n, err := strconv.ParseUint(number, 10, 64)
	if err != nil {
		return wiring, nil
	}
	return parts, &n
}

func dividerText(d wiring.Divider) string {
	if d.Upper == 0 {
		return "none"
	}
	return fmt.Sprintf("%s over %s of %s", unit.Resistance.Format(d.Upper), unit.Resistance.Format(d.Lower), unit.Share.Format(d.Tolerance))
}

// Apply gives the rig's outputs the corrections of a file on a day and returns what is
// known of each output's calibration. One that was made on another rig, on another
// simulated bench or with other wiring is not applied. The seed is the simulated bench's.
func (f *File) Apply(rig *wiring.Rig, today Day, seed uint64) []capture.Calibration {
	all := f.On(rig, today, &seed)
	for i := range all {
		if all[i].Applied() {
			by := f.Of(all[i].Output).Correction(today)
			rig.Correct(all[i].Output, &by)
		}
	}
	return all
}

// On returns what is known of the calibration of each of the rig's outputs on a day. A
// file of a simulated bench is looked at for any seed where seed is nil.
func (f *File) On(rig *wiring.Rig, today Day, seed *uint64) []capture.Calibration {
	all := make([]capture.Calibration, 0, len(rig.Outputs))
	for _, o := range rig.Outputs {
		c := capture.Calibration{Output: o.Name, State: capture.NotCalibrated, Gain: 1}
		if stored := f.Of(o.Name); stored != nil {
			c = stored.on(rig, f.Rig, today, seed)
		}
		all = append(all, c)
	}
	return all
}

// on says what the calibration is worth for a rig on a day.
func (c *Calibration) on(rig *wiring.Rig, madeOn string, today Day, seed *uint64) capture.Calibration {
	parts, madeWith := seedOf(c.Wiring)
	known := capture.Calibration{Output: c.Output, State: capture.InDate, Meter: c.Meter, By: c.By,
		Made: c.Date.String(), Due: c.Due.String(), Rig: madeOn, Seed: madeWith, Gain: 1}
	switch {
	case madeOn != rig.Name, (madeWith != nil) != rig.Simulated, madeWith != nil && seed != nil && *madeWith != *seed:
		known.State = capture.OtherBench
	case parts != partsOf(rig, c.Output):
		known.State = capture.Rewired
	default:
		known = known.On(today.String())
		known.Gain, known.Offset = c.Gain, c.Offset
	}
	return known
}

// Uncalibrated says of each of a rig's outputs that it was never calibrated.
func Uncalibrated(rig *wiring.Rig) []capture.Calibration {
	return (&File{}).On(rig, Day{}, nil)
}

// Warnings say what is wrong with calibrations: those that are not in date, those that do
// not count for the rig any more, and those of outputs that it does not have.
func (f *File) Warnings(rig *wiring.Rig, all []capture.Calibration) []string {
	var bad []capture.Calibration
	for _, c := range all {
		if c.State != capture.InDate && c.State != capture.NotCalibrated {
			bad = append(bad, c)
		}
	}
	warnings := capture.CalibrationLines(bad)
	for _, c := range bad {
		if c.State == capture.Rewired {
			parts, _ := seedOf(f.Of(c.Output).Wiring)
			warnings = append(warnings, fmt.Sprintf("%s was calibrated with %s, and now there is %s; calibrate again", c.Output, parts, partsOf(rig, c.Output)))
		}
	}
	for _, c := range f.Calibrations {
		if rig.Output(c.Output) == nil {
			warnings = append(warnings, fmt.Sprintf("the calibration of %s is not used: the rig has no such output", c.Output))
		}
	}
	return warnings
}
