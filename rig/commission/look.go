package commission

import (
	"fmt"
	"slices"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/ads1x15"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/gpioline"
	"makebreak/rig/i2cbus"
	"makebreak/rig/machine"
	"makebreak/rig/problem"
	"makebreak/rig/wiring"
)

// A Part is a part of a rig that was looked for.
type Part struct {
	Name  string // as in "chip A at 0x48"
	Found string // what was found; empty where Err is set
	Err   error  // why it was not found
}

// Look looks for all of a real rig and measures the speed of its bus. Nothing is switched.
// It goes on after a failure, so that one call shows all that is missing; what was found
// and what not is in the report.
func Look(rig *wiring.Rig) *Report {
	r := &Report{Rig: rig, Computer: machine.This().Read()}
	if bus := r.openBus(); bus != nil {
		defer bus.Close()
		r.lookOnBus(bus)
	}
	for _, q := range bench.Requests(rig) {
		path, offset, err := gpioline.Find(q.Line)
		r.part(fmt.Sprintf("%s %s", q.Role, q.Line.Name), err, fmt.Sprintf("%s line %d", path, offset))
	}
	return r
}

// LookSimulated measures the speed of a simulated rig's bus by the clock that it moves.
func LookSimulated(rig *wiring.Rig, bus i2c.Bus, now func() capture.Instant) *Report {
	r := &Report{Rig: rig}
	speed, err := i2cbus.MeasureSpeed(bus, rig.Chips[0].Address, i2cbus.ManyReads, now)
	if err != nil {
		r.fault = problem.Of(problem.Input, err)
		return r
	}
	r.Speed = &BusSpeed{Speed: speed, fileHz: rig.BusHz}
	return r
}

// part keeps a part with what was found of it.
func (r *Report) part(name string, err error, found string) {
	if err != nil {
		found = ""
	}
	r.Parts = append(r.Parts, Part{name, found, err})
}

func (r *Report) openBus() i2c.BusCloser {
	bus, err := i2cbus.OpenBus(r.Rig.Bus)
	r.part("bus "+r.Rig.Bus, err, "open")
	if err != nil {
		return nil
	}
	return bus
}

// lookOnBus asks the rig's chips on an open bus for their registers and times the bus.
func (r *Report) lookOnBus(bus i2c.Bus) {
	answers := uint16(0)
	for i := range r.Rig.Chips {
		c := &r.Rig.Chips[i]
		id, err := identify(bus, c)
		if err == nil {
			err = otherThan(c.Model, id)
		}
		r.part(fmt.Sprintf("chip %s at %#02x", c.Name, c.Address), err, fmt.Sprintf("%s, %s: %s", c.Model, stateOf(id), id))
		if err == nil {
			answers = c.Address
		}
	}
	if answers != 0 {
		speed, err := measureSpeed(bus, r.Rig, answers)
		r.Speed = speed
		r.Computer = append(r.Computer, speed.facts()...)
		r.part("bus speed", err, speed.String())
	}
	if s := r.Rig.ProgrammedSupply(); s != nil {
		text, err := probeSupply(bus, s)
		r.part(fmt.Sprintf("supply at %#02x", s.Address), err, text)
	}
}

// identify asks a chip of the rig for its registers.
func identify(bus i2c.Bus, c *wiring.Chip) (ads1x15.Identity, error) {
	opts := ads1x15.DefaultOpts
	opts.Model, opts.Range, opts.Rate, opts.Ready = c.Model, c.Range, c.Rate, c.Ready != nil
	dev, err := ads1x15.New(bus, c.Address, &opts)
	if err != nil {
		return ads1x15.Identity{}, err
	}
	return dev.Identify()
}

// otherThan says that registers cannot be those of the model that the rig file names; nil
// where they can.
func otherThan(m ads1x15.Model, id ads1x15.Identity) error {
	switch can := id.Models(); {
	case len(can) == 0:
		return fmt.Errorf("it does not look like an %s: %s; it is another chip, or a program has set it up otherwise: switch its supply off and on, and check again", m, id)
	case !slices.Contains(can, m):
		return fmt.Errorf("it is an %s, and the rig file says %s: %s", can[0], m, id)
	}
	return nil
}

// stateOf says in what state a chip's registers are.
func stateOf(id ads1x15.Identity) string {
	if id.AtReset() {
		return "as after power-up"
	}
	return "set up by a program"
}
