package soak

import (
	"fmt"
	"time"

	"makebreak/rig/calibration"
	"makebreak/rig/capture"
)

// DueBefore says which calibrations, in date now, fall due before a soak can end, where
// figures that rest on them are undecided from then on.
func DueBefore(all []capture.Calibration, end time.Time) []string {
	var lines []string
	for _, c := range all {
		if then := c.On(calibration.DayOf(end).String()); c.State == capture.InDate && then.Doubted() {
			lines = append(lines, fmt.Sprintf("the calibration of %s falls due on %s, before the soak can end: figures that rest on it are undecided from that day on", c.Output, c.Due))
		}
	}
	return lines
}
