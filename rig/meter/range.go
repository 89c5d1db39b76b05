package meter

import (
	"makebreak/rig/unit"
)

// Mode is what the meter's switch stands at.
type Mode string

// The modes.
const (
	DCVolts    Mode = "volts"
	ACVolts    Mode = "ac-volts"
	Ohms       Mode = "ohms"
	Continuity Mode = "continuity"
	Diode      Mode = "diode"
)

// Modes lists the modes as they lie round the switch.
func Modes() []Mode { return []Mode{DCVolts, ACVolts, Ohms, Continuity, Diode} }

// Kind is the quantity of the mode's readings.
func (m Mode) Kind() unit.Kind {
	if m.Tests() && m != Diode {
		return unit.Resistance
	}
	return unit.Voltage
}

// Tests reports whether the meter sends a current of its own in the mode, for which the
// circuit must be off.
func (m Mode) Tests() bool { return m == Ohms || m == Continuity || m == Diode }

// Accuracy is what the meter's manual promises: what it shows is within Share of the
// reading plus Digits of its last digit.
type Accuracy struct {
	Share  float64 // a share of the reading
	Digits float64 // units of the last digit
}

// Range is one range of a mode.
type Range struct {
	Mode      Mode
	FullScale float64 // base unit of the mode's quantity; above it the meter shows OL
	Digit     float64 // the last digit, base unit of the mode's quantity
	Accuracy
	Test     float64 // volts without load that the meter tests with; 0: it does not
	TestOhms float64 // ohms behind it
}

// counts is how many steps a range has.
const counts = 4000

// What the meter is like, see the package comment.
const (
	inputOhms = 10e6
	leadOhms  = 0.1
	beepOhms  = 30
	testVolts = 0.45

	diodeVolts = 3
	diodeOhms  = 2200
	diodeReach = 2.0
)

// ranges are all ranges, the lowest of a mode first.
var ranges = makeRanges()

func makeRanges() (all []Range) {
	for _, full := range []float64{0.4, 4, 40, 400} {
		all = append(all, Range{Mode: DCVolts, FullScale: full, Accuracy: Accuracy{0.005, 2}})
	}
	for _, full := range []float64{0.4, 4, 40, 400} {
		all = append(all, Range{Mode: ACVolts, FullScale: full, Accuracy: Accuracy{0.01, 5}})
	}
	for _, full := range []float64{400, 4e3, 40e3, 400e3, 4e6, 40e6} {
		r := Range{Mode: Ohms, FullScale: full, Accuracy: Accuracy{0.008, 3}, Test: testVolts, TestOhms: full}
		if full == 40e6 {
			r.Accuracy = Accuracy{0.02, 5}
		}
		all = append(all, r)
	}
	all = append(all,
		Range{Mode: Continuity, FullScale: 400, Accuracy: Accuracy{0.008, 3}, Test: testVolts, TestOhms: 400},
		Range{Mode: Diode, FullScale: 4, Accuracy: Accuracy{0.01, 3}, Test: diodeVolts, TestOhms: diodeOhms})
	for i := range all {
		all[i].Digit = all[i].FullScale / counts
	}
	return all
}

// Ranges returns the meter's ranges in a mode, the lowest first.
func Ranges(m Mode) (all []Range) {
	for _, r := range ranges {
		if r.Mode == m {
			all = append(all, r)
		}
	}
	return all
}
