package commission

import (
	"context"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/bench"
	"makebreak/rig/mcp4725"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// probeSupply asks the supply's chip what it holds, and says what that is at the unit.
func probeSupply(bus i2c.Bus, s *wiring.Supply) (string, error) {
	dev, err := mcp4725.New(bus, s.Address, &mcp4725.DefaultOpts)
	if err != nil {
		return "", err
	}
	status, err := dev.Status()
	if err != nil {
		return "", err
	}
	now, later := suppliedVolts(s, status.Code, status.Mode), suppliedVolts(s, status.StoredCode, status.StoredMode)
	text := fmt.Sprintf("at %.2f V (code %d); at power-up %.2f V (code %d)", now, status.Code, later, status.StoredCode)
	if later > s.Rest+s.Step() {
		text += fmt.Sprintf(": the unit gets that until the program runs, not the %s of rest", unit.Voltage.Format(s.Rest))
	}
	return text, nil
}

func suppliedVolts(s *wiring.Supply, code uint16, mode mcp4725.Mode) float64 {
	if mode != mcp4725.Normal {
		return 0
	}
	return s.Volts(code)
}

// Figures of the supply's steps.
const (
	tryVolts = 5.0 // what the supply is set to, where it goes that high
	// What the supply may be off: some 3 % for the chip's own supply, 1 % for each of the
	// amplifier's resistors, and an offset (common practice, no source). Levels are
	// measured at the outputs, so this is no figure of a run.
	supplyShare  = 0.05
	supplyOffset = 0.05 // V
	supplySettle = 300 * time.Millisecond
	// readingTime is how long a drive is on for a person to read a meter (common practice,
	// no source).
	readingTime = 5 * time.Second
)

// supply compares the rig's supply with a meter, where it has one.
func (d *dialogue) supply(ctx context.Context) error {
	switch {
	case d.rig.Supply == nil:
		return nil
	case d.rig.Supply.Stage != nil:
		d.say("\nSupply\n")
		return d.stages(ctx)
	}
	d.say("\nSupply\n")
	return d.programmed(ctx)
}

// programmed sets the supply to a voltage that a meter reads, after a yes.
func (d *dialogue) programmed(ctx context.Context) error {
	const what = ofSupply
	w := d.rig.Supply
	d.caution()
	volts := min(tryVolts, w.Highest)
	yes, err := d.agreed(ctx, "Take the unit off the supply and hold a meter on it. It will be set to %s. Type yes to set it (anything else skips).", unit.Voltage.Format(volts))
	if err != nil {
		return err
	}
	if !yes {
		d.result(what, NotDone, "skipped")
		return nil
	}
	if err := d.setSupply(ctx, volts); err != nil {
		return err
	}
	meter, ok, err := d.askVolts(ctx, what, "set to "+unit.Voltage.Format(volts)+", not read", "Type the meter's reading, as in 4.98 V (s skips).")
	if err != nil {
		return err
	}
	if err := d.setSupply(ctx, w.Rest); err != nil {
		return err
	}
	if ok {
		d.compareSupply(what, meter, w.Volts(w.Code(volts)))
	}
	return nil
}

// withSupply says that the supply comes on with a drive, where a converter sets it.
func (d *dialogue) withSupply() string {
	w := d.rig.ProgrammedSupply()
	if w == nil {
		return ""
	}
	return ", the supply at " + unit.Voltage.Format(w.Usual)
}

// setSupply sets the supply and gives it time to settle.
func (d *dialogue) setSupply(ctx context.Context, volts float64) error {
	d.c = d.c.Continue()
	if _, err := d.bench.MoveSupply(ctx, d.c, "supply", bench.Move{To: volts}); err != nil {
		return err
	}
	return d.bench.Record(ctx, d.c, d.bench.Now().Add(supplySettle))
}

// supplyAllowed is how far a supply may be off its voltage, in volts.
func supplyAllowed(volts float64) float64 { return supplyShare*volts + supplyOffset }

// compareSupply judges what the meter read where the supply was set to a voltage.
func (d *dialogue) compareSupply(what string, meter, set float64) {
	off, allowed := meter-set, supplyAllowed(set)
	if math.Abs(off) > allowed {
		d.result(what, Wrong, "set to %.3f V, the meter reads %.3f V: off by %+.3f V, %.3f V are allowed; check reference and gain in the rig file, and the amplifier", set, meter, off, allowed)
		return
	}
	d.result(what, OK, "set to %.3f V, the meter reads %.3f V: off by %+.3f V, within the %.3f V allowed", set, meter, off, allowed)
}

// stageOf returns a rig's two supplies that a drive switches, nil where it has none.
func stageOf(rig *wiring.Rig) *wiring.Stage {
	if rig.Supply == nil {
		return nil
	}
	return rig.Supply.Stage
}

// ofStage names the steps of the two supplies.
func ofStage(g *wiring.Stage) (released, on string) {
	return fmt.Sprintf("supply, %s released", g.Drive), fmt.Sprintf("supply, %s on", g.Drive)
}

// stages compares both supplies with a meter, the second one after a yes.
func (d *dialogue) stages(ctx context.Context) error {
	g := stageOf(d.rig)
	released, on := ofStage(g)
	meter, ok, err := d.askVolts(ctx, released, "not read", "Take the unit off the supply and hold a meter on it. Type its reading, as in %s (s skips).", unit.Voltage.Format(g.Off))
	if err != nil {
		return err
	}
	if ok {
		d.compareStage(released, meter, "off", g.Off)
	}
	lasts := min(readingTime, d.rig.Drive(g.Drive).LongestOn)
	d.caution()
	yes, err := d.agreed(ctx, "%s: it will be on for %v; read the meter meanwhile. Type yes to switch it (anything else skips).", g.Drive, lasts)
	if err != nil {
		return err
	}
	if !yes {
		d.result(on, NotDone, "skipped")
		return nil
	}
	d.c = d.c.Continue()
	if _, err := d.bench.Pulse(ctx, d.c, g.Drive, lasts); err != nil {
		return err
	}
	meter, ok, err = d.askVolts(ctx, on, "not read", "%s is released again. Type what the meter read while it was on, as in %s (s skips).", g.Drive, unit.Voltage.Format(g.On))
	if ok {
		d.compareStage(on, meter, "on", g.On)
	}
	return err
}

// compareStage judges what the meter read at one of the two supplies; key names it in the
// rig file.
func (d *dialogue) compareStage(what string, meter float64, key string, volts float64) {
	off, allowed := meter-volts, supplyAllowed(volts)
	if math.Abs(off) > allowed {
		d.result(what, Wrong, "the meter reads %.3f V, the rig file has %s: off by %+.3f V, %.3f V are allowed; check the supply, the drive's wire and polarity, and %s in the rig file",
			meter, unit.Voltage.Format(volts), off, allowed, key)
		return
	}
	d.result(what, OK, "the meter reads %.3f V, the rig file has %s: off by %+.3f V, within the %.3f V allowed", meter, unit.Voltage.Format(volts), off, allowed)
}
