package report

import (
	"fmt"
	"math"

	"makebreak/analyze"
	"makebreak/analyze/behaviour"
	"makebreak/analyze/tally"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// trainWords say what is expected of an output that pulses or flashes: "3 pulses, on 200 ms, off
// 300 ms, ± 10 %".
func trainWords(x analyze.Expectation) string {
	text := "flashes"
	if x.Pulses > 0 {
		text = words.Count(x.Pulses, "pulse")
	}
	text += ", on " + unit.Time.Format(x.On.Seconds()) + ", off " + unit.Time.Format(x.Off.Seconds())
	if x.For > 0 {
		text += ", for " + unit.Time.Format(x.For.Seconds())
	}
	if x.After > 0 {
		text += ", after " + unit.Time.Format(x.After.Seconds())
	}
	if x.Within > 0 {
		text += fmt.Sprintf(", ± %s %%", shortest(math.Round(1e6*x.Within)/1e4))
	}
	return text
}

// timesWords say how often an output went high: "3 times", "2 to 3 times".
func timesWords(x *tally.Row) string {
	low, high := int(x.Low), int(x.High)
	switch {
	case low < high:
		return fmt.Sprintf("%d to %d times", low, high)
	case high == 1:
		return "once"
	}
	return fmt.Sprintf("%d times", high)
}

// timesOnOff say for how long it was high and low.
func timesOnOff(c *behaviour.Cell) string {
	text := ""
	if c.On != nil && c.On.Values > 0 {
		text += ", on " + spanWords(c.On)
	}
	if c.Off != nil && c.Off.Values > 0 {
		text += ", off " + spanWords(c.Off)
	}
	return text
}
