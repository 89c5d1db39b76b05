package sim

import (
	"fmt"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

// Look is what the rig sees of the bench at an instant, without a run: one reading of each
// output, and each line's state.
type Look struct {
	At         capture.Instant
	Outputs    []OutputLook
	Contacts   []LineLook
	References []LineLook
}

// OutputLook is an output as its converter sees it: with the converter's errors, without noise.
type OutputLook struct {
	Name  string
	Volts unit.Volts // at the terminal, by the divider of the rig's file
	High  bool       // above half of what is nominal
}

// LineLook is a line's state: closed for a contact, active for a reference.
type LineLook struct {
	Name   string
	Active bool
}

// Look looks at the bench as it is now. Edges that no open lines wait for pass unseen.
func (w *World) Look() *Look {
	l := &Look{At: w.Now()}
	for i, o := range w.outputs {
		l.Outputs = append(l.Outputs, w.lookAt(i, o))
	}
	for _, c := range w.contacts {
		l.Contacts = append(l.Contacts, LineLook{c.name, c.closed})
	}
	for _, r := range w.references {
		l.References = append(l.References, LineLook{r.name, r.active != r.inverted})
	}
	return l
}

// mainsPeriod is over how long a look takes the mean, in ns, so that hum is not in it.
const mainsPeriod = int64(20 * time.Millisecond)

func (w *World) lookAt(i int, o *output) OutputLook {
	r := &w.rig.Outputs[i]
	c := w.chipOf(o)
	pin := w.atPin(o, o.sense.mean(w.now-mainsPeriod, w.now), w.now-mainsPeriod, w.now)
	pin = min(max(pin, -inputClamp), c.opts.SupplyVolts+inputClamp)
	pin = pin*(1+c.opts.GainError) + c.opts.OffsetVolts
	full := w.rig.Chip(r.Chip).Range
	volts := w.rig.TerminalVolts(o.name, min(max(pin, -full), full))
	return OutputLook{Name: o.name, Volts: unit.Volts(volts), High: volts > r.Nominal/2}
}

// Bring brings an event about as the rig does it: the drive's pulse or switching, or the
// person at the panel. Then it lets a time pass. The error is of the kind Usage where the rig
// does not know the event.
func (w *World) Bring(event string, wait time.Duration) error {
	c := w.rig.Cause(event)
	if c == nil {
		names := words.Texts(w.rig.Causes, func(c wiring.Cause) string { return c.Event })
		return problem.Of(problem.Usage, fmt.Errorf("the rig does not bring %q about: %s", event, words.UseOneOf(event, names)))
	}
	d := w.drive(c.Drive)
	switch {
	case d == nil:
		w.press(event)
	case c.Pulse > 0:
		w.setDrive(d, true)
		w.AdvanceTo(w.Now() + capture.Instant(c.Pulse))
		w.setDrive(d, false)
	default:
		w.setDrive(d, c.On)
	}
	w.AdvanceTo(w.Now() + capture.Instant(wait))
	return nil
}
