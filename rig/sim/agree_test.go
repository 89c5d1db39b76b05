package sim_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/circuit"
	"makebreak/rig/meter"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// agreement compares what a meter reads on benches with what their own converters and lines read.
type agreement struct {
	t         *testing.T
	levels    int
	contacts  int
	unsettled int
}

// program is a panel's for the panel's rig: OUT3 is armed and disarmed, OUT5 pulses.
func program(rig *wiring.Rig) []sim.Rule {
	if rig.Cause("arm-away") == nil {
		return nil
	}
	return []sim.Rule{
		{Output: "OUT3", Event: "arm-away", Do: sim.GoHigh}, {Output: "OUT3", Event: "arm-stay", Do: sim.GoHigh}, {Output: "OUT3", Event: "disarm", Do: sim.GoLow},
		{Output: "OUT5", Event: "arm-away", Do: sim.PulseHigh, For: 2 * time.Second},
	}
}

// visit runs a bench through its events and compares at the end of each state. A bench that
// cannot have a fault or a change is left out.
func (a *agreement) visit(rig *wiring.Rig, opts sim.Opts) bool {
	what := fmt.Sprintf("%s, seed %d, %v, %v", rig.Name, opts.Seed, opts.Faults, opts.Changes)
	opts.Programme = program(rig)
	w, err := sim.NewWorld(rig, opts)
	if err != nil {
		return false
	}
	lines, err := w.Lines(bench.Requests(rig))
	if err != nil {
		a.t.Fatal(err)
	}
	b, err := bench.Open(rig, w.Bus(), lines, bench.Opts{Mode: wiring.Sweep, Act: w.Act})
	if err != nil {
		a.t.Fatalf("%s: %v", what, err)
	}
	defer b.Close()
	c, err := b.NewCapture()
	if err != nil {
		a.t.Fatal(err)
	}
	events := []string{"", "arm-away", "disarm"}
	if program(rig) == nil {
		events = []string{"", "energize", "release"}
	}
	ctx := context.Background()
	for _, e := range events {
		if e != "" {
			if _, err := b.Cause(ctx, c, e); err != nil {
				a.t.Fatalf("%s: %v", what, err)
			}
		}
		if err := b.Record(ctx, c, b.Now().Add(1300*time.Millisecond)); err != nil {
			return true // a converter is silent or resets itself: there is nothing to compare
		}
		before := a.solve(w)
		begin := b.Now()
		if err := b.Record(ctx, c, begin.Add(60*time.Millisecond)); err != nil {
			return true
		}
		a.compare(fmt.Sprintf("%s, after %q", what, e), rig, w, c, begin, before)
	}
	return true
}

func (a *agreement) solve(w *sim.World) *circuit.Solution {
	a.t.Helper()
	return solved(a.t, w, sim.SupplyOn)
}

func (a *agreement) volts(s *circuit.Solution, red, black string) float64 {
	v, err := s.Volts(red, black)
	if err != nil {
		a.t.Fatal(err)
	}
	return v
}

// hum is the amplitude of the hum at a pin.
func (a *agreement) hum(n *circuit.Network, pin string) float64 {
	if !slices.ContainsFunc(n.Sources, func(s circuit.Source) bool { return s.Hum != 0 }) {
		return 0
	}
	v, err := n.Hum(pin, "rig.0V")
	if err != nil {
		a.t.Fatal(err)
	}
	return v
}

// compare compares what stood still since before.
func (a *agreement) compare(what string, rig *wiring.Rig, w *sim.World, c *capture.Capture, begin capture.Instant, before *circuit.Solution) {
	after := a.solve(w)
	m, net := meter.New(9), w.Network(sim.SupplyOn)
	for i := range rig.Outputs {
		o := &rig.Outputs[i]
		pin := a.volts(after, "pin."+o.Name, "rig.0V")
		if math.Abs(a.volts(before, "pin."+o.Name, "rig.0V")-pin) > 1e-6 {
			a.unsettled++
			continue
		}
		sum, n := 0.0, 0
		for _, volts := range c.Trace(o.Name).Blocks(begin, c.End+1) {
			for _, v := range volts {
				sum += float64(v)
				n++
			}
		}
		if n == 0 {
			continue
		}
		a.levels++
		seen := sum / float64(n)
		full := rig.Chip(o.Chip).Range
		// With the converter's own errors there are noise and rounding left, 0.4 mV at the pin.
		chip := chipOf(w, o.Chip)
		// An input conducts at 0.3 V below its ground.
		read := min(max(pin, -0.3)*(1+chip.GainError)+chip.OffsetVolts, full)
		want := rig.TerminalVolts(o.Name, read)
		hum := a.hum(net, "pin."+o.Name)
		// A mean over 60 ms of readings here and there has some of the hum in it.
		if math.Abs(seen-want) > (0.0004+0.05*hum)*rig.TerminalPerPin(o.Name) {
			a.t.Errorf("%s: %s reads %.4f V, the network has %.4f V there", what, o.Name, seen, want)
		}
		if look := float64(w.Look().Outputs[i].Volts); math.Abs(look-seen) > (0.0004+0.05*hum)*rig.TerminalPerPin(o.Name) {
			a.t.Errorf("%s: %s reads %.4f V, a look %.4f V", what, o.Name, seen, look)
		}
		r, err := m.Read(after, meter.DCVolts, "rig."+o.Name, "rig.0V")
		if err != nil {
			a.t.Fatal(err)
		}
		if within := r.Within + 3*rig.StandardUncertainty(o.Name, seen) + 0.002; pin > -0.29 && math.Abs(r.Value-seen) > within {
			a.t.Errorf("%s: %s reads %.4f V, the meter %v ± %.4f V", what, o.Name, seen, r, within)
		}
	}
	for _, l := range rig.Contacts {
		closed, known := c.Track(l.Name).StateAt(c.End)
		v, was := a.volts(after, "rig."+l.Name, "rig.0V"), a.volts(before, "rig."+l.Name, "rig.0V")
		switch {
		case !known || math.Abs(v-was) > 1e-6 || v > 0.8 && v < 2:
			a.unsettled++
			continue
		case closed != (v < 0.8):
			a.t.Errorf("%s: %s reads closed: %v, at %.3f V", what, l.Name, closed, v)
		}
		a.contacts++
	}
}

// chipOf is what a converter is really like.
func chipOf(w *sim.World, name string) sim.TruthChip {
	for _, c := range w.Truth().Chips {
		if c.Name == name {
			return c
		}
	}
	return sim.TruthChip{}
}

// A meter and the bench's own samples tell the same of any fault, at drawn places, of drawn
// size, in states that stand still.
func TestNetwork_AgreesWithSamples(t *testing.T) {
	a := &agreement{t: t}
	d := rand.New(rand.NewPCG(7, 7))
	draws := 2
	if testing.Short() {
		draws = 1
	}
	for _, rig := range rigfile.Builtin() {
		a.visit(rig, sim.Opts{Seed: d.Uint64()})
	}
	for _, f := range sim.Faults() {
		planted := 0
		for _, rig := range append(rigfile.Builtin(), sim.TwoRelays()) {
			for range draws {
				x := drawFault(d, rig, f)
				if a.visit(rig, sim.Opts{Seed: d.Uint64(), Faults: []sim.Fault{x}}) {
					planted++
				}
			}
		}
		if planted == 0 && f.Name != "supply-reset" {
			t.Errorf("%s could not be planted anywhere", f.Name)
		}
	}
	if a.levels < 500*draws || a.contacts < 200*draws || a.unsettled > a.levels/10 {
		t.Errorf("%d levels and %d contacts compared, %d left out", a.levels, a.contacts, a.unsettled)
	}
	t.Logf("%d levels and %d contacts compared, %d left out that did not stand still", a.levels, a.contacts, a.unsettled)
}

// A change is seen alike by a meter and by the bench, whatever it makes of a bench that has a
// fault or none.
func TestChanges_AgreeWithSamples(t *testing.T) {
	a := &agreement{t: t}
	d := rand.New(rand.NewPCG(8, 8))
	draws := 4
	if testing.Short() {
		draws = 1
	}
	faults := sim.Faults()
	for _, rig := range append(rigfile.Builtin(), sim.TwoRelays()) {
		opts := sim.Opts{Programme: program(rig)}
		for _, info := range sim.PossibleChanges(rig, opts) {
			for range draws {
				x := sim.Opts{Seed: d.Uint64()}
				for range 1 + d.IntN(3) {
					x.Changes = append(x.Changes, drawChange(d, info))
				}
				if d.IntN(2) == 0 {
					x.Faults = []sim.Fault{drawFault(d, rig, faults[d.IntN(len(faults))])}
				}
				a.visit(rig, x)
			}
		}
	}
	if a.levels < 150*draws || a.contacts < 90*draws || a.unsettled > a.levels/10 {
		t.Errorf("%d levels and %d contacts compared, %d left out", a.levels, a.contacts, a.unsettled)
	}
	t.Logf("%d levels and %d contacts compared, %d left out that did not stand still", a.levels, a.contacts, a.unsettled)
}

// drawChange draws one of a kind's changes, and its figure.
func drawChange(d *rand.Rand, info sim.Possible) sim.Change {
	c := info.Choices[d.IntN(len(info.Choices))]
	switch {
	case info.Value == nil:
	case c.Kind == sim.SetSupply:
		c.Value = 9 + 7*d.Float64()
	default:
		c.Value = 100 * math.Pow(100, d.Float64())
	}
	return c
}

// drawFault draws a fault's place and value.
func drawFault(d *rand.Rand, rig *wiring.Rig, f sim.FaultInfo) sim.Fault {
	x := sim.Fault{Name: f.Name}
	if f.Value.Measured() {
		x.Value = f.Lowest * math.Pow(f.Highest/f.Lowest, d.Float64())
		if f.Value == sim.WholeNumber {
			x.Value = math.Round(x.Value)
		}
	}
	switch f.Place {
	case sim.AtOutput:
		if f.Name == "wrong-pulse" {
			x.Place = "OUT5"
		} else if d.IntN(2) == 0 {
			x.Place = rig.Outputs[d.IntN(len(rig.Outputs))].Name
		}
	case sim.AtRelay:
		all := sim.DefaultRelays(rig, program(rig))
		x.Place = all[d.IntN(len(all))].Name
	}
	return x
}
