package commission

import (
	"context"
	"math"
	"strings"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/prompt"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

// Outcome is how a step of a check ended.
type Outcome string

// The outcomes of a step.
const (
	OK       Outcome = "ok"
	Wrong    Outcome = "WRONG"
	NotDone  Outcome = "not done"
	Needless Outcome = "does not apply" // nothing could be shown by it on this rig
)

// A Step is one step of a check: what was tried, how it ended, and what was seen.
type Step struct {
	What    string
	Outcome Outcome
	Detail  string
}

// Limits of the steps.
const (
	openWireVolts    = 0.1              // an input with nothing connected reads less
	meterShare       = 0.01             // of a handheld meter's reading (common practice, no source)
	conversionShare  = 0.1              // that a conversion may take more or less than in the data sheet
	contactTimeout   = 30 * time.Second // to close and open a contact by hand
	clickTime        = 300 * time.Millisecond
	coverage95       = 1.96 // from a standard uncertainty to 95 % of a normal distribution
	voltageUnsampled = "no samples"
)

// Try tries the rig with a person, one thing at a time: converters, outputs, contacts,
// supply and drives. The bench is one that samples all outputs and has its supply at rest.
// A drive or a supply acts only after a yes. The error is of the rig, not of a step that
// came out wrong; the steps done until then are returned with it.
func Try(ctx context.Context, rig *wiring.Rig, b *bench.Bench, asker Asker) ([]Step, error) {
	c, err := b.NewCapture()
	if err != nil {
		return nil, err
	}
	d := &dialogue{asker: asker, rig: rig, bench: b, c: c}
	for _, step := range []func(context.Context) error{d.converters, d.outputs, d.contacts, d.supply, d.drives} {
		if err := step(ctx); err != nil {
			return d.done, err
		}
	}
	return d.done, nil
}

// Planned names the steps that Try has for a rig, in their order.
func Planned(rig *wiring.Rig) (steps []string) {
	for _, c := range rig.Chips {
		steps = append(steps, ofConverter(c.Name))
	}
	for _, o := range rig.Outputs {
		steps = append(steps, o.Name+nothingConnected, o.Name+atKnownVoltage)
	}
	steps = append(steps, lineNames(rig)...)
	switch s := rig.Supply; {
	case s == nil:
	case s.Stage != nil:
		off, on := ofStage(s.Stage)
		steps = append(steps, off, on)
	default:
		steps = append(steps, ofSupply)
	}
	for _, d := range rig.Drives {
		if g := stageOf(rig); g == nil || g.Drive != d.Name { // else tried as the supply
			steps = append(steps, d.Name)
		}
	}
	return steps
}

// What the steps are called.
const (
	nothingConnected = ", nothing connected"
	atKnownVoltage   = ", known voltage"
	ofSupply         = "supply" + atKnownVoltage
)

func ofConverter(name string) string { return "converter " + name }

// converters checks that each converter converts at its rate, which also shows whether its
// ready pin reaches its line.
func (d *dialogue) converters(ctx context.Context) error {
	d.say("\nConverters\n")
	if err := d.fresh(ctx, time.Second); err != nil {
		return err
	}
	for _, c := range d.bench.Chips() {
		d.converter(c)
	}
	return nil
}

// converter judges what the bench knows of a converter.
func (d *dialogue) converter(c bench.ChipState) {
	how := "asked for the end of each conversion"
	if c.Ready {
		how = "its ready line toggles"
	}
	what := ofConverter(c.Name)
	off := c.Period.Seconds()/c.Nominal.Seconds() - 1
	switch {
	case c.Conversions == 0:
		d.result(what, Wrong, "it does not convert")
	case math.Abs(off) > conversionShare:
		d.result(what, Wrong, "a conversion takes %v, %+.1f %% off the data sheet; %.0f %% are allowed", c.Period, 100*off, 100*conversionShare)
	default:
		d.result(what, OK, "%s; a conversion takes %.4f ms, %+.1f %% off nominal", how, c.Period.Seconds()*1e3, 100*off)
	}
}

// outputs checks every divider: with nothing connected, then with a voltage that a meter
// reads.
func (d *dialogue) outputs(ctx context.Context) error {
	d.say("\nOutputs\n%s", prompt.Cautions) // a battery is connected here; they come again before the rig acts
	for _, o := range d.rig.Outputs {
		if err := d.openWire(ctx, o); err != nil {
			return err
		}
		if err := d.knownVoltage(ctx, o); err != nil {
			return err
		}
	}
	return nil
}

func (d *dialogue) openWire(ctx context.Context, o wiring.Output) error {
	what := o.Name + nothingConnected
	if o.Divider.Upper == 0 {
		d.result(what, Needless, "it has no divider, and an input that is left open may read anything")
		return nil
	}
	answer, there, err := d.ask(ctx, "%s: take its wire off the unit and press Enter (s skips).", o.Name)
	if err != nil {
		return err
	}
	if !there || answer == "s" {
		d.result(what, NotDone, "skipped")
		return nil
	}
	v, err := d.reading(ctx, o.Name)
	if err != nil {
		return err
	}
	d.compareOpen(what, v)
	return nil
}

// compareOpen judges what an output reads with nothing connected, in volts.
func (d *dialogue) compareOpen(what string, v float64) {
	switch {
	case math.IsNaN(v):
		d.result(what, Wrong, voltageUnsampled)
	case math.Abs(v) > openWireVolts:
		d.result(what, Wrong, "reads %.3f V; an open wire reads less than %.1f V: check the lower resistor and its ground", v, openWireVolts)
	default:
		d.result(what, OK, "reads %.3f V, as an open wire does", v)
	}
}

func (d *dialogue) knownVoltage(ctx context.Context, o wiring.Output) error {
	what := o.Name + atKnownVoltage
	meter, ok, err := d.askVolts(ctx, what, "skipped", "%s: connect a battery of at most %s to its wire, read it with a meter, type the reading as in %.2f V (s skips).",
		o.Name, unit.Voltage.Format(o.Highest), 0.9*o.Nominal)
	if err != nil || !ok {
		return err
	}
	v, err := d.reading(ctx, o.Name)
	if err != nil {
		return err
	}
	d.compareKnown(what, o.Name, v, meter)
	return nil
}

// compareKnown judges what an output reads against a meter at the same terminal, both in
// volts.
func (d *dialogue) compareKnown(what, output string, v, meter float64) {
	allowed := coverage95*d.rig.StandardUncertainty(output, math.Abs(meter)) + meterShare*math.Abs(meter)
	switch off := v - meter; {
	case math.IsNaN(v):
		d.result(what, Wrong, voltageUnsampled)
	case math.Abs(off) > allowed:
		d.result(what, Wrong, "reads %.3f V, the meter %.3f V: off by %+.3f V, %.3f V are allowed; check the resistors and the channel", v, meter, off, allowed)
	default:
		d.result(what, OK, "reads %.3f V, the meter %.3f V: off by %+.3f V, within the %.3f V allowed", v, meter, off, allowed)
	}
}

// contacts waits for each contact and reference to change when told.
func (d *dialogue) contacts(ctx context.Context) error {
	d.say("\nContacts\n")
	for _, name := range lineNames(d.rig) {
		if err := d.toggles(ctx, name); err != nil {
			return err
		}
	}
	return nil
}

// lineNames are the names of a rig's contacts and references.
func lineNames(rig *wiring.Rig) (names []string) {
	for _, l := range rig.Contacts {
		names = append(names, l.Name)
	}
	for _, l := range rig.References {
		names = append(names, l.Name)
	}
	return names
}

func (d *dialogue) toggles(ctx context.Context, name string) error {
	if d.absent {
		d.result(name, NotDone, "skipped")
		return nil
	}
	answer := d.asker.Ask(name + ": close and open it by hand, or bridge its terminals (Enter skips).")
	d.c = d.c.Continue()
	edges, skipped := 0, false
	var opened, closed bool
	err := d.until(ctx, contactTimeout, func() bool {
		t := d.c.Track(name)
		edges = len(t.Edges)
		for _, e := range t.Edges {
			opened, closed = opened || !e.Closed, closed || e.Closed
		}
		select {
		case _, there := <-answer:
			skipped, d.absent = true, !there
		default:
		}
		return skipped || opened && closed
	})
	d.say("\n")
	switch {
	case err != nil:
		return err
	case opened && closed:
		d.result(name, OK, "it opens and closes, %s seen", words.Count(edges, "edge"))
	case skipped:
		d.result(name, NotDone, "skipped")
	default:
		d.result(name, Wrong, "no change seen in %v; check the wire, the line's number and its pull", contactTimeout)
	}
	return nil
}

// drives clicks each drive after a yes, one at a time.
func (d *dialogue) drives(ctx context.Context) error {
	d.say("\nDrives\n")
	for _, drive := range d.rig.Drives {
		if g := stageOf(d.rig); g != nil && g.Drive == drive.Name {
			continue // tried as the supply
		}
		d.caution()
		on := min(clickTime, drive.LongestOn)
		yes, err := d.agreed(ctx, "%s: it will be on for %v%s. Type yes to switch it (anything else skips).", drive.Name, on, d.withSupply())
		if err != nil {
			return err
		}
		if !yes {
			d.result(drive.Name, NotDone, "skipped")
			continue
		}
		if err := d.click(ctx, drive.Name, on); err != nil {
			return err
		}
		if err := d.acted(ctx, drive.Name); err != nil {
			return err
		}
	}
	return nil
}

// click pulses a drive, with the supply at its usual voltage meanwhile, where a converter
// sets it: without it nothing behind the drive might act.
func (d *dialogue) click(ctx context.Context, drive string, on time.Duration) error {
	w := d.rig.ProgrammedSupply()
	if w != nil {
		if err := d.setSupply(ctx, w.Usual); err != nil {
			return err
		}
	}
	d.c = d.c.Continue()
	if _, err := d.bench.Pulse(ctx, d.c, drive, on); err != nil || w == nil {
		return err
	}
	return d.setSupply(ctx, w.Rest)
}

func (d *dialogue) acted(ctx context.Context, drive string) error {
	for {
		answer, there, err := d.ask(ctx, "%s: did it act, and only it? Type yes or no.", drive)
		switch {
		case err != nil:
			return err
		case !there:
			d.result(drive, NotDone, "it was switched, and nobody said whether it acted")
			return nil
		case strings.EqualFold(answer, "yes"):
			d.result(drive, OK, "it acts, as the person at the bench says")
			return nil
		case strings.EqualFold(answer, "no"):
			d.result(drive, Wrong, "it does not act as it should, as the person at the bench says; check its wire, the line's number and its polarity")
			return nil
		}
	}
}
