package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// writeStage writes what two supplies and their drive can do.
func writeStage(w io.Writer, rig *wiring.Rig) {
	g, longest := rig.Supply.Stage, time.Duration(0)
	if d := rig.Drive(g.Drive); d != nil {
		longest = d.LongestOn
	}
	v := unit.Voltage.Format
	fmt.Fprintf(w, "\nSupply: %s, before a run, after it and at its beginning; %s with drive %s on, for up to %s.\n",
		v(g.Off), v(g.On), g.Drive, unit.Time.Format(longest.Seconds()))
}

// stage returns the drive's two supplies, nil where the rig has none.
func (s *steps) stage() *wiring.Stage {
	if s.rig.Supply == nil {
		return nil
	}
	return s.rig.Supply.Stage
}

// readingTime is how long the drive is on for a person to read a meter (common practice,
// no source).
const readingTime = 5 * time.Second

// stages compares both supplies with a meter, the second one after asking.
func (s *steps) stages(ctx context.Context) error {
	g := s.stage()
	d := s.rig.Drive(g.Drive)
	released := fmt.Sprintf("supply, %s released", g.Drive)
	meter, ok, err := s.askReading(ctx, released, "not read", "Take the unit off the supply and hold a meter on it. Type its reading, as in %s (s skips).", unit.Voltage.Format(g.Off))
	if err != nil {
		return err
	}
	if ok {
		s.compareStage(released, meter, "off", g.Off)
	}

	on := fmt.Sprintf("supply, %s on", g.Drive)
	lasts := min(readingTime, d.LongestOn)
	s.caution()
	answer, there, err := s.ask(ctx, "%s: it will be on for %v; read the meter meanwhile. Type yes to switch it (anything else skips).", g.Drive, lasts)
	if err != nil {
		return err
	}
	if !there || !strings.EqualFold(answer, "yes") {
		s.result(on, stepSkipped, "skipped")
		return nil
	}
	s.c = s.c.Continue()
	if _, err := s.bench.Pulse(ctx, s.c, g.Drive, lasts); err != nil {
		return err
	}
	meter, ok, err = s.askReading(ctx, on, "not read", "%s is released again. Type what the meter read while it was on, as in %s (s skips).", g.Drive, unit.Voltage.Format(g.On))
	if ok {
		s.compareStage(on, meter, "on", g.On)
	}
	return err
}

// compareStage judges what the meter read at one of the two supplies.
func (s *steps) compareStage(what string, meter float64, key string, volts float64) {
	off, allowed := meter-volts, supplyShare*volts+supplyOffset
	if math.Abs(off) > allowed {
		s.result(what, stepWrong, "the meter reads %.3f V, the rig file has %s: off by %+.3f V, %.3f V are allowed; check the supply, the drive's wire and polarity, and %s in the rig file",
			meter, unit.Voltage.Format(volts), off, allowed, key)
		return
	}
	s.result(what, stepOK, "the meter reads %.3f V, the rig file has %s: off by %+.3f V, within the %.3f V allowed", meter, unit.Voltage.Format(volts), off, allowed)
}
