package bench

import (
	"fmt"

	"makebreak/rig/capture"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// canSwitch says what is wrong with a change of a supply that a drive switches.
func (b *Bench) canSwitch(event string, g *wiring.Stage, m Move) error {
	if m.Over != 0 {
		return fmt.Errorf("%w: event %s: the supply of rig %s has two voltages only, %s, and no ramp", ErrSetup, event, b.rig.Name, g.Both())
	}
	if _, has := g.At(m.To); !has {
		return fmt.Errorf("%w: event %s: the supply of rig %s has two voltages only, %s, not %s", ErrSetup, event, b.rig.Name, g.Both(),
			unit.Voltage.Format(m.To))
	}
	return nil
}

// switchSupply puts the supply to one of its two voltages by its drive.
func (b *Bench) switchSupply(c *capture.Capture, event string, g *wiring.Stage, volts float64) (capture.Event, error) {
	index, d := b.driveIndex(g.Drive)
	if d == nil {
		return capture.Event{}, fmt.Errorf("%w: event %s: rig %s has no drive %s", ErrSetup, event, b.rig.Name, g.Drive)
	}
	on, _ := g.At(volts)
	b.c = c
	at, within, err := b.switchDrive(index, d, on)
	if err != nil {
		return capture.Event{}, err
	}
	return b.note(c, b.driven(event, at, within, "supply")), nil
}
