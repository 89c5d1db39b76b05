package diagnose

import (
	"fmt"
	"math"
	"strconv"

	"makebreak/analyze"
)

func fewerPulsesText(plan *analyze.Plan, g *group) string {
	return fmt.Sprintf("%s pulsed only %s at %s, %s expected. ", g.signal, timesText(g.number()), g.at(), pulsesExpected(plan, g)) +
		eitherBench(plan, "Check the number of pulses in the unit's programming, then whether something else ends them.", checkDrive)
}

// flashesOnText is of an output that flashes for longer than its time, or beyond the event that
// ends it: then there is no time.
func flashesOnText(plan *analyze.Plan, g *group) string {
	if math.IsNaN(g.limit) {
		return fmt.Sprintf("%s goes on flashing at %s. ", g.signal, g.at()) + eitherBench(plan, "Check which event ends it in the unit's programming.", checkDrive)
	}
	return fmt.Sprintf("%s flashes for %s at %s, at most %s expected. ", g.signal, g.time(), g.at(), g.timeLimit()) + eitherBench(plan, checkTimes, checkDrive)
}

// What to check where an output pulses or flashes otherwise than expected.
const (
	checkTimes = "Check the times in the unit's programming."
	checkDrive = "Check what switches the coil, and how often."
)

func flashesBrieflyText(plan *analyze.Plan, g *group) string {
	return fmt.Sprintf("%s flashes for only %s at %s, at least %s expected. ", g.signal, g.time(), g.at(), g.timeLimit()) + eitherBench(plan, checkTimes, checkDrive)
}

func doesNotFlashText(plan *analyze.Plan, g *group) string {
	return fmt.Sprintf("%s is steady at %s: it went high and stayed so instead of going on and off. ", g.signal, g.at()) +
		eitherBench(plan, "Check whether the output is programmed as steady.", checkDrive)
}

func stopsEarlyText(plan *analyze.Plan, g *group) string {
	return fmt.Sprintf("%s stops flashing %s after %s and should go on until the next event. ", g.signal, g.time(), g.at()) +
		eitherBench(plan, "Check whether the output is programmed with a time, and whether its supply holds under load.", checkDrive)
}

// phaseText says that an output is high, or low, for too long or too briefly.
func phaseText(what, when string) func(*analyze.Plan, *group) string {
	return func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s %s at %s: for %s %s; the nearest limit is %s. ", g.signal, what, g.at(), g.time(), when, g.timeLimit()) + eitherBench(plan, checkTimes, checkDrive)
	}
}

// pulsesExpected is how many pulses were expected at a finding's events, in words.
func pulsesExpected(plan *analyze.Plan, g *group) string {
	n := 0
	if plan != nil {
		if o := plan.Output(g.signal); o != nil {
			for _, event := range g.events {
				if p := o.At(event).Pulses; n == 0 || p == n {
					n = p
				} else {
					return "another number"
				}
			}
		}
	}
	if n == 0 {
		return "once"
	}
	return strconv.Itoa(n)
}

// timesText says how often, as in "once" or "2 times".
func timesText(number string) string {
	if number == "1" {
		return "once"
	}
	return number + " times"
}
