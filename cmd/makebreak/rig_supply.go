package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/bench"
	"makebreak/rig/mcp4725"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// writeSupply writes what the rig's supply can do, where there is one.
func writeSupply(w io.Writer, rig *wiring.Rig) {
	s := rig.Supply
	if s == nil {
		return
	}
	v := unit.Voltage.Format
	if s.Stage != nil {
		writeStage(w, rig)
		return
	}
	fmt.Fprintf(w, "\nSupply: 0 V to %s in steps of %.2f mV; %s during a run, %s before and after (%s at %#02x, %s × %g).\n",
		v(s.Highest), s.Step()*1e3, v(s.Usual), v(s.Rest), s.Model, s.Address, v(s.Reference), s.Gain)
}

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
	text := fmt.Sprintf("stands at %.2f V (code %d); at power-up %.2f V (code %d)", now, status.Code, later, status.StoredCode)
	if later > s.Rest+s.Step() {
		text += fmt.Sprintf(": that is what the unit gets until the program runs, and not the %s of rest", unit.Voltage.Format(s.Rest))
	}
	return text, nil
}

func suppliedVolts(s *wiring.Supply, code uint16, mode mcp4725.Mode) float64 {
	if mode != mcp4725.Normal {
		return 0
	}
	return s.Volts(code)
}

// The step's own figures.
const (
	tryVolts = 5.0 // what the supply is set to, where it goes that high
	// What the supply may be off: some 3 % for the chip's own supply, 1 % for each of the
	// amplifier's resistors, and an offset (common practice, no source). Levels are
	// measured at the outputs, so this is no figure of a run.
	supplyShare  = 0.05
	supplyOffset = 0.05 // V
)

// supply sets the supply to a voltage that a meter reads, after asking.
func (s *steps) supply(ctx context.Context) error {
	w := s.rig.Supply
	if w == nil {
		return nil
	}
	s.say("\nSupply\n")
	if w.Stage != nil {
		return s.stages(ctx)
	}
	s.caution()
	const what = "supply, known voltage"
	volts := min(tryVolts, w.Highest)
	answer, there, err := s.ask(ctx, "Take the unit off the supply and hold a meter on it. It will be set to %s. Type yes to set it (anything else skips).", unit.Voltage.Format(volts))
	if err != nil {
		return err
	}
	if !there || !strings.EqualFold(answer, "yes") {
		s.result(what, stepSkipped, "skipped")
		return nil
	}
	if err := s.setSupply(ctx, volts); err != nil {
		return err
	}
	meter, ok, err := s.askReading(ctx, what, "set to "+unit.Voltage.Format(volts)+", not read", "Type the meter's reading, as in 4.98 V (s skips).")
	if err != nil {
		return err
	}
	if err := s.setSupply(ctx, w.Rest); err != nil {
		return err
	}
	if ok {
		s.compareSupply(what, meter, w.Volts(w.Code(volts)))
	}
	return nil
}

// withSupply says that the supply comes on with a drive, where a converter sets it.
func (s *steps) withSupply() string {
	w := s.rig.ProgrammedSupply()
	if w == nil {
		return ""
	}
	return ", the supply at " + unit.Voltage.Format(w.Usual)
}

// setSupply sets the supply and gives it time to settle.
func (s *steps) setSupply(ctx context.Context, volts float64) error {
	s.c = s.c.Continue()
	if _, err := s.bench.MoveSupply(ctx, s.c, "supply", bench.Move{To: volts}); err != nil {
		return err
	}
	return s.bench.Record(ctx, s.c, s.bench.Now().Add(300*time.Millisecond))
}

// askReading asks what a meter shows, again where the answer is no voltage. It may be a
// bare number, as it is asked for in volts. Where it is skipped or nobody is there it says
// so as the step's result.
func (s *steps) askReading(ctx context.Context, what, skipped, format string, args ...any) (volts float64, ok bool, err error) {
	for {
		answer, there, err := s.ask(ctx, format, args...)
		if err != nil {
			return 0, false, err
		}
		if !there || answer == "s" || answer == "" {
			s.result(what, stepSkipped, "%s", skipped)
			return 0, false, nil
		}
		if _, err := strconv.ParseFloat(answer, 64); err == nil {
			answer += " V"
		}
		volts, err := unit.Voltage.Parse(answer)
		if err == nil {
			return volts, true, nil
		}
		s.say("  The reading was not understood: %v\n", err)
	}
}

// compareSupply judges what the meter read where the supply was set to a voltage.
func (s *steps) compareSupply(what string, meter, set float64) {
	off, allowed := meter-set, supplyShare*set+supplyOffset
	if math.Abs(off) > allowed {
		s.result(what, stepWrong, "set to %.3f V, the meter reads %.3f V: off by %+.3f V, %.3f V are allowed; check reference and gain in the rig file, and the amplifier", set, meter, off, allowed)
		return
	}
	s.result(what, stepOK, "set to %.3f V, the meter reads %.3f V: off by %+.3f V, within the %.3f V allowed", set, meter, off, allowed)
}
