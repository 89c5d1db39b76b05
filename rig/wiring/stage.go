package wiring

import (
	"math"

	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// Stage is a drive that switches the unit between two supplies.
type Stage struct {
	Drive string  // a Drive's Name
	Off   float64 // volts with the drive released: before and after a run, and at its beginning
	On    float64 // volts with the drive on
}

// TwoStages returns the supply that a drive switches between two voltages, in volts.
func TwoStages(drive string, off, on float64) *Supply {
	return &Supply{Stage: &Stage{Drive: drive, Off: off, On: on}, Highest: max(off, on), Usual: off, Rest: off}
}

// sameVolts is by how many volts two voltages may differ that are the same one, written in
// two ways (10.5 V and 10500 mV).
const sameVolts = 1e-6

// At says whether the drive must be on for a voltage, and whether the stage has it at all.
func (g *Stage) At(volts float64) (on, has bool) {
	switch {
	case math.Abs(volts-g.Off) <= sameVolts:
		return false, true
	case math.Abs(volts-g.On) <= sameVolts:
		return true, true
	}
	return false, false
}

// Both writes the two voltages as words.
func (g *Stage) Both() string {
	return words.Or([]string{unit.Voltage.Format(g.Off), unit.Voltage.Format(g.On)})
}

// mostStage is the highest voltage of a stage that is read at all, in volts.
const mostStage = 100

// stage checks a supply that a drive switches.
func (c *checker) stage(g *Stage) {
	c.stageDrive(g.Drive)
	for _, v := range []struct {
		path  string
		volts float64
	}{{"supply.off", g.Off}, {"supply.on", g.On}} {
		if !(v.volts >= 0 && v.volts <= mostStage) {
			c.add(v.path, unit.Voltage.Format(v.volts), "", "must be from 0 V to "+unit.Voltage.Format(mostStage))
			return
		}
	}
	if math.Abs(g.Off-g.On) <= sameVolts {
		c.add("supply.on", unit.Voltage.Format(g.On), "the same as off", "must differ from off")
		return
	}
	path, highest := "supply.off", g.Off
	if g.On > g.Off {
		path, highest = "supply.on", g.On
	}
	c.supplyAtOutputs(path, highest, highest)
}

// stageDrive checks that a drive is there for the supply alone.
func (c *checker) stageDrive(name string) {
	const path = "supply.drive"
	d := c.rig.Drive(name)
	switch {
	case d == nil:
		c.noDrive(path, name)
		return
	case d.Coil:
		c.add(path, name, "this drive switches a relay's coil (coil: true)", "use another drive")
		return
	}
	for i := range c.rig.Causes {
		if k := &c.rig.Causes[i]; k.Drive == name {
			c.add(path, name, "event "+k.Event+" uses this drive", "use another drive")
			return
		}
	}
}
