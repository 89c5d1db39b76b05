// Package wiring describes how a rig is wired, and checks it: what rig.yaml
// says. Whatever depends on wiring stands here; what a unit
// must do stands in a sequence, so one sequence serves every rig.
package wiring

import (
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/line"
)

// Rig is a rig as its file describes it.
type Rig struct {
	Name  string
	About string
	// Simulated is true where no hardware stands behind the file: the chips and
	// lines are the simulated bench's.
	Simulated bool
	// Bus names the I²C bus as periph knows it: "1", "I2C1" or "/dev/i2c-1".
	Bus string
	// BusHz is the bus clock in hertz, for the bus time of the simulated bench and
	// the figures of rig check.
	BusHz      int
	Chips      []Chip
	Outputs    []Output
	Contacts   []line.Line
	References []line.Line
	Drives     []Drive
	Causes     []Cause
	// Supply is the unit's supply where the rig can change it; nil: it cannot.
	Supply *Supply
	// Corrections are what calibrations say of the outputs, by the outputs' names. They
	// stand in a file of their own; nil: none is calibrated.
	Corrections map[string]Correction
	// Overdue says what becomes of figures that rest on an overdue calibration; empty:
	// capture.OverdueUndecided.
	Overdue capture.OverdueRule
	// Latency is how late the lines report a drive, where it has been measured; nil:
	// the usual one is taken.
	Latency *Latency
	// Fields are what the workshop wants noted with each run.
	Fields []Field
	// Units are those that the rig has channels for at the same time; nil: one, with all of
	// the signals under their own names.
	Units []Unit
	// Shared names the drives and references that all units have, and SharedSupply.
	Shared []string
}

// FastestBusHz is the highest clock of the I²C bus, in hertz.
const FastestBusHz = 400_000

// Mode is how a chip's outputs are sampled.
type Mode string

// The modes.
const (
	Sweep  Mode = "sweep"  // all the chip's outputs in turn
	Follow Mode = "follow" // one output at the chip's full rate
)

// Chip is one converter.
type Chip struct {
	Name    string // as outputs refer to it
	Model   ads1x15.Model
	Address uint16  // 7 bit, 0x48 to 0x4B
	Range   float64 // full scale, ± volts: 6.144, 4.096, 2.048, 1.024, 0.512 or 0.256
	Rate    int     // conversions a second
	Supply  float64 // volts
	Mode    Mode
	Ready   *line.Line // nil: the ALERT/RDY pin is not wired and the OS bit is polled
}

// Output is a switched voltage of the unit behind a divider.
type Output struct {
	Name    string
	Chip    string // a Chip's Name
	Channel int    // 0 to 3, against ground
	Divider Divider
	// Highest is the highest voltage in volts that the output can reach.
	Highest float64 // volts
	// Nominal is the output's nominal voltage in volts; half of it tells high from
	// low where nothing else does.
	Nominal float64 // volts
}

// Divider is the pair of resistors before a converter's input. A zero Upper
// means that the terminal goes straight to the input.
type Divider struct {
	Upper     float64 // ohms, terminal to input
	Lower     float64 // ohms, input to ground
	Tolerance float64 // of each resistor, a share of one
	// Protected says that something keeps the input within the chip's limits even
	// when the divider alone would not (a clamp), as the person who wired it reports.
	Protected bool
}

// Drive is a line by which the rig acts on the unit.
type Drive struct {
	line.Line
	LongestOn time.Duration // the program never leaves it on for longer
	// Coil is set where the drive switches a relay's coil itself; the relay's
	// output is then its coil voltage.
	Coil bool
}

// Cause is how one event is brought about.
type Cause struct {
	Event string
	// Drive is the drive that acts, empty where the person at the bench is asked.
	Drive string
	// Pulse is how long the drive is on; zero: it is set to On and left there.
	Pulse time.Duration
	On    bool // for a drive that is set and left: on or off
	// Prompt is what the person at the bench is asked to do.
	Prompt string
	// Reference is the line that reports the instant; empty: the drive's own
	// switching, or the key press.
	Reference string
	// Unit is the one that the event is brought about at, and As what sequences call it then;
	// Event names both. Empty: it is brought about at all of them.
	Unit, As string
}

// Chip returns the chip named, or nil.
func (r *Rig) Chip(name string) *Chip {
	for i := range r.Chips {
		if r.Chips[i].Name == name {
			return &r.Chips[i]
		}
	}
	return nil
}

// Output returns the output named, or nil.
func (r *Rig) Output(name string) *Output {
	for i := range r.Outputs {
		if r.Outputs[i].Name == name {
			return &r.Outputs[i]
		}
	}
	return nil
}

// Drive returns the drive named, or nil.
func (r *Rig) Drive(name string) *Drive {
	for i := range r.Drives {
		if r.Drives[i].Name == name {
			return &r.Drives[i]
		}
	}
	return nil
}

// SwitchesCoils reports whether all that the rig can bring about is switching relays' coils: no
// panel or other unit with outputs of its own is tested then.
func (r *Rig) SwitchesCoils() bool {
	for _, c := range r.Causes {
		if d := r.Drive(c.Drive); d == nil || !d.Coil {
			return false
		}
	}
	return len(r.Causes) > 0
}

// Cause returns how the event is brought about, or nil.
func (r *Rig) Cause(event string) *Cause {
	for i := range r.Causes {
		if r.Causes[i].Event == event {
			return &r.Causes[i]
		}
	}
	return nil
}

// ProgrammedSupply returns the unit's supply where a converter sets it, else nil.
func (r *Rig) ProgrammedSupply() *Supply {
	if r.Supply == nil || r.Supply.Stage != nil {
		return nil
	}
	return r.Supply
}

// Contact returns the contact named, or nil.
func (r *Rig) Contact(name string) *line.Line {
	for i := range r.Contacts {
		if r.Contacts[i].Name == name {
			return &r.Contacts[i]
		}
	}
	return nil
}
