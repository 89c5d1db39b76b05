package capture

import (
	"fmt"
	"slices"

	"makebreak/rig/words"
)

// A Calibration says by which calibration an output's readings are corrected, or why by
// none. Days are of the calendar, as in 2026-03-31; those of two are compared as texts.
type Calibration struct {
	Output string
	State  CalibrationState
	// Judged says that figures which rest on it are judged although it is overdue, as the
	// rig file or the sequence has it.
	Judged    bool
	Meter     string  // the meter's serial; empty as all that follows where there is none
	By        string  // who calibrated; may be empty
	Made, Due string  // days
	Rig       string  // the rig that it was made on
	Seed      *uint64 // of that rig's simulated bench; nil: a real one
	// Gain in volts per volt and Offset in volts correct a reading. Where the calibration
	// is not applied, they are 1 and 0.
	Gain, Offset float64
	// Since is the first cycle of a run that it holds for; 0 outside a run.
	Since int
}

// CalibrationState is what a calibration is worth on a day. Logs hold the words: none is
// ever changed or given another meaning.
type CalibrationState string

// The states. A calibration in one of the last three is not applied: the tolerances of
// resistors and converter stand in the budget.
const (
	InDate        CalibrationState = "in-date"
	Overdue       CalibrationState = "overdue"
	InFuture      CalibrationState = "in-future"   // it was made after the day: clock or entry is wrong
	OtherBench    CalibrationState = "other-bench" // it was made on another rig or simulated bench
	Rewired       CalibrationState = "rewired"     // chip, channel or divider are others now
	NotCalibrated CalibrationState = "never"       // there is none
)

// Applied reports whether readings are corrected by it.
func (c *Calibration) Applied() bool {
	return c.State == InDate || c.State == Overdue || c.State == InFuture
}

// Doubted reports whether no figure that rests on it may pass or fail.
func (c *Calibration) Doubted() bool {
	return c.State == InFuture || c.State == Overdue && !c.Judged
}

// On returns it as it stands on a day. One that is not applied stays as it is.
func (c Calibration) On(day string) Calibration {
	switch {
	case !c.Applied():
	case day < c.Made:
		c.State = InFuture
	case day >= c.Due:
		c.State = Overdue
	default:
		c.State = InDate
	}
	return c
}

// CalibrationsOf returns those of the outputs named, in their order.
func CalibrationsOf(all []Calibration, outputs []string) []Calibration {
	var some []Calibration
	for _, c := range all {
		if slices.Contains(outputs, c.Output) {
			some = append(some, c)
		}
	}
	return some
}

// OverdueRule says what becomes of figures that rest on an overdue calibration.
type OverdueRule string

// The rules.
const (
	OverdueUndecided OverdueRule = "undecided" // they neither pass nor fail
	OverdueJudged    OverdueRule = "judge"     // they are judged as if it were in date
)

// RestsOnCalibration reports whether a source of uncertainty is a calibration's: a figure
// that has one rests on it.
func (s Source) RestsOnCalibration() bool {
	switch s {
	case MeterAccuracy, CalibrationPoints, CalibrationSlope, CalibrationAgeing:
		return true
	}
	return false
}

// CalibrationLines tells of calibrations in sentences, one for all outputs of which the
// same is to be said, in the order of the outputs. Where one goes on as it was, nothing is
// said of it again.
func CalibrationLines(all []Calibration) []string {
	var outputs [][]string
	var told []string
	last := map[string]string{} // by output
	for i := range all {
		text := all[i].words()
		if text == last[all[i].Output] {
			continue
		}
		last[all[i].Output] = text
		if all[i].Since > 1 {
			text += fmt.Sprintf(" (from cycle %d on)", all[i].Since)
		}
		k := slices.Index(told, text)
		if k < 0 {
			k = len(told)
			told, outputs = append(told, text), append(outputs, nil)
		}
		outputs[k] = append(outputs[k], all[i].Output)
	}
	for k := range told {
		told[k] = words.List(words.Runs(outputs[k])) + told[k]
	}
	return told
}

const tolerancesStand = ": the tolerances of resistors and converter stand in the budget"

// words says of a calibration what follows the outputs' names.
func (c *Calibration) words() string {
	text := fmt.Sprintf(" by meter %s on %s, ", c.Meter, c.Made)
	switch c.State {
	case InDate:
		text += "due " + c.Due
	case Overdue:
		text += "overdue since " + c.Due + ": " + restingFigures(c.Judged)
	case InFuture:
		text += "which is in the future: " + restingFigures(false) + "; check the clock and the date"
	case OtherBench:
		text = fmt.Sprintf(" calibrated on another bench (%s), which does not count here", c.bench()) + tolerancesStand
	case Rewired:
		text = fmt.Sprintf(" calibrated on %s and wired differently since, which does not count any more", c.Made) + tolerancesStand
	default:
		text = " never calibrated" + tolerancesStand
	}
	return text
}

func restingFigures(judged bool) string {
	if judged {
		return "figures that rest on it are judged all the same, as overdue_calibrations says"
	}
	return "figures that rest on it are undecided"
}

// bench names where it was made.
func (c *Calibration) bench() string {
	if c.Seed == nil {
		return "rig " + c.Rig
	}
	return fmt.Sprintf("rig %s, simulated with seed %d", c.Rig, *c.Seed)
}
