package exercise

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"makebreak/rig/capture"
	"makebreak/rig/circuit"
	"makebreak/rig/meter"
	"makebreak/rig/problem"
	"makebreak/rig/sim"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/sequences/setup"
)

// PointChoices are the points at which a meter's lead can be held.
func (d *Definition) PointChoices() []Choice {
	var all []Choice
	for _, p := range d.layout.Points {
		all = append(all, Choice{Value: p.Name, Words: p.About})
	}
	return all
}

// meterWords are the meter's modes as a trainee chooses them.
var meterWords = map[meter.Mode]string{
	meter.DCVolts:    "volts, DC",
	meter.ACVolts:    "volts, AC",
	meter.Ohms:       "ohms",
	meter.Continuity: "continuity",
	meter.Diode:      "diode test",
}

// MeterWords name a mode of the meter.
func MeterWords(m meter.Mode) string { return meterWords[m] }

func meterChoices() []Choice {
	var all []Choice
	for _, m := range meter.Modes() {
		all = append(all, Choice{Value: string(m), Words: meterWords[m]})
	}
	return all
}

// probe holds the meter between two points.
func (s *Session) probe(ctx context.Context, a Action, r *Result) error {
	at, err := s.def.until(a.After)
	if err != nil {
		return err
	}
	if err := s.def.canonical(&r.Action); err != nil {
		return err
	}
	if r.Cost += at; a.After != "" {
		s.unread(r)
	}
	return s.stopAfter(ctx, a.After, func(w *sim.World, _ *capture.Capture) error {
		n, err := powered(w, &r.Action).Solve()
		if err != nil {
			return err
		}
		x, err := read(meter.New(labelOf(s.row.UUID)).At(takesOf(s.deeds.Done)), n, &r.Action)
		if err != nil {
			return err
		}
		shows := x.String()
		if x.Beeps {
			shows += ", beeps"
		}
		r.Readings = []Reading{{fmt.Sprintf("%s to %s, %s", r.Action.A, r.Action.B, meterWords[x.Mode]), shows}}
		for _, danger := range x.Dangers {
			r.Dangers = append(r.Dangers, toldOf(danger))
		}
		return nil
	})
}

// canonical names the points of a measurement as the wiring does.
func (d *Definition) canonical(a *Action) error {
	for _, p := range []*string{&a.A, &a.B} {
		point, err := d.layout.Point(*p)
		if err != nil {
			return err
		}
		*p = point.Name
	}
	if a.A == a.B {
		return problem.New(problem.Usage, "the meter's leads must be at two points, not both at "+a.A)
	}
	return nil
}

// powered is a bench as it is now, with its supplies on or off for a measurement.
func powered(w *sim.World, a *Action) *circuit.Network {
	return w.Network(sim.Power(!a.Off))
}

// read reads a meter that is held to a bench.
func read(m *meter.Meter, n *circuit.Solution, a *Action) (meter.Reading, error) {
	return m.Read(n, meter.Mode(a.Meter), a.A, a.B)
}

// probed adds what the measurements show that are due after an event.
func (s *specimen) probed(into shown, event string, w *sim.World, probes []Action) error {
	m := meter.New(s.meter).At(s.take)
	solved := map[bool]*circuit.Solution{} // by whether the supplies are off
	for i := range probes {
		a := &probes[i]
		if a.After != event {
			continue
		}
		if solved[a.Off] == nil {
			var err error
			if solved[a.Off], err = powered(w, a).Solve(); err != nil {
				return err
			}
		}
		x, err := read(m, solved[a.Off], a)
		if err != nil {
			return err
		}
		of := fmt.Sprintf("%s to %s", a.A, a.B)
		seen := sights{of + ", overload": sight{of: of + " out of range", kind: unit.Share}}
		if x.Overload {
			seen[of+", overload"] = sight{of: of + " out of range", value: 1, kind: unit.Share}
		} else {
			seen[of] = sight{of: of, value: x.Value, uncertainty: x.Within, kind: x.Mode.Kind()}
		}
		into[a.key()] = seen
	}
	return nil
}

// probes are the measurements with the meter by which answers are compared: volts at what
// the sequence names after each event, and with the supply off the coils, the diodes across
// them, the contacts and the wires between.
func (d *Definition) probes() (all []Action) {
	if !slices.Contains(d.Allowed, Probe) {
		return nil
	}
	zero := string(d.layout.Unit()) + ".0V"
	volts := func(after, a, b string) {
		if d.has(a) && d.has(b) {
			all = append(all, Action{Kind: Probe, After: after, A: a, B: b, Meter: string(meter.DCVolts)})
		}
	}
	for _, after := range append([]string{""}, d.events...) {
		volts(after, "rig.0V", zero)
		volts(after, string(d.layout.Unit())+".+", zero)
		for _, o := range d.Sequence.Plan.Outputs {
			volts(after, string(d.layout.Unit())+"."+o.Signal, zero)
			all = append(all, Action{Kind: Probe, After: after, A: string(d.layout.Unit()) + "." + o.Signal, B: zero, Meter: string(meter.ACVolts)})
		}
		for _, k := range d.Sequence.Plan.Relays {
			volts(after, k.Signal+".A1", k.Signal+".A2")
			volts(after, k.Signal+".A1", zero)
		}
	}
	off := func(mode meter.Mode, a, b string) {
		if d.has(a) && d.has(b) {
			all = append(all, Action{Kind: Probe, A: a, B: b, Meter: string(mode), Off: true})
		}
	}
	off(meter.Ohms, "rig.0V", zero)
	for _, o := range d.Sequence.Plan.Outputs {
		for _, other := range d.Rig.Outputs {
			if other.Name != o.Signal {
				off(meter.Ohms, string(d.layout.Unit())+"."+o.Signal, string(d.layout.Unit())+"."+other.Name)
			}
		}
		off(meter.Ohms, string(d.layout.Unit())+"."+o.Signal, "rig."+o.Signal)
		off(meter.Ohms, string(d.layout.Unit())+"."+o.Signal, o.Relay+".A1")
	}
	for _, k := range d.Sequence.Plan.Relays {
		off(meter.Ohms, k.Signal+".A1", k.Signal+".A2")
		off(meter.Diode, k.Signal+".A1", k.Signal+".A2")
		off(meter.Diode, k.Signal+".A2", k.Signal+".A1")
		off(meter.Ohms, k.Signal+".A2", zero)
		off(meter.Ohms, k.Signal+".COM", k.Signal+".NO")
		off(meter.Ohms, k.Signal+".COM", k.Signal+".NC")
		off(meter.Ohms, k.Signal+".COM", "rig.0V")
	}
	return all
}

func (d *Definition) has(point string) bool {
	return slices.ContainsFunc(d.layout.Points, func(p sim.Point) bool { return p.Name == point })
}

// changeNames are the kinds of change that an exercise can allow.
func changeNames() []string {
	return words.Texts(sim.Changes(), func(c sim.ChangeInfo) string { return string(c.Kind) })
}

// mayChange reports whether an exercise allows a kind of change.
func (d *Definition) mayChange(k sim.ChangeKind) bool {
	return d.Changes == nil || slices.Contains(d.Changes, k)
}

// ChangeChoices are changes to choose from. Others of the same kinds may be made as well.
func (d *Definition) ChangeChoices() (all []Choice) {
	add := func(k sim.ChangeKind, rest, says string) {
		if d.mayChange(k) {
			all = append(all, Choice{Value: strings.TrimSpace(string(k) + " " + rest), Words: says})
		}
	}
	for i, o := range d.Rig.Outputs {
		if d.Sequence.Plan.Output(o.Name) == nil {
			continue
		}
		for k, other := range d.Rig.Outputs {
			if k != i {
				add(sim.SwapWires, o.Name+" "+other.Name, "swap the wires of "+o.Name+" and "+other.Name)
			}
		}
		if !d.Rig.SwitchesCoils() {
			add(sim.SetAddress, fmt.Sprintf("%s %d", o.Name, i+1), fmt.Sprintf("set the address of %s to terminal %d", o.Name, i+1))
			add(sim.Programme, o.Name, "programme "+o.Name+" anew, as the job card says")
		}
	}
	for _, v := range []string{"12 V", "13.8 V", "24 V"} {
		add(sim.SetSupply, v, "run the unit from a bench supply of "+v)
	}
	for _, k := range d.Sequence.Plan.Relays {
		add(sim.SwapWires, k.Signal+".NO "+k.Signal+".NC", "swap the wires of "+k.Signal+"'s contacts")
		for _, r := range []string{"1 kohm", "330 ohm 1 W", "100 ohm 5 W"} {
			add(sim.AddResistor, k.Signal+" "+r, "put a resistor of "+r+" across the coil of "+k.Signal)
		}
		add(sim.NewBoard, k.Signal, "exchange the relay board of "+k.Signal)
	}
	add(sim.JoinPoints, "0V", "join the 0 V of rig and unit by a wire of your own")
	for _, w := range d.layout.Wires {
		if d.worthReplacing(w) {
			add(sim.ReplaceWire, w.From+" "+w.To, "replace wire "+w.Name+", "+w.About)
		}
	}
	for _, r := range d.Rig.References {
		for _, side := range []string{"high", "low"} {
			add(sim.SetPolarity, r.Name+" "+side, "set reference "+r.Name+" to be active "+side)
		}
	}
	return all
}

// worthReplacing reports whether a wire belongs to what the sequence names.
func (d *Definition) worthReplacing(w sim.Wire) bool {
	for _, end := range []string{w.From, w.To} {
		for _, k := range d.Sequence.Plan.Relays {
			if strings.HasPrefix(end, k.Signal+".") {
				return true
			}
		}
		for _, o := range d.Sequence.Plan.Outputs {
			if end == "rig."+o.Signal {
				return true
			}
		}
	}
	return false
}

// change changes one thing on the bench.
func (s *Session) change(a Action, r *Result) error {
	c, err := sim.ParseChange(a.Change)
	if err != nil {
		return err
	}
	if !s.def.mayChange(c.Kind) {
		return problem.New(problem.Usage, fmt.Sprintf("exercise %s does not allow this change; %s", s.def.Name,
			words.UseOneOf(string(c.Kind), words.Texts(s.def.Changes, func(k sim.ChangeKind) string { return string(k) }))))
	}
	x, err := s.specimen()
	if err != nil {
		return err
	}
	if _, err := x.world(); err != nil {
		return ErrState
	}
	n := len(x.changes)
	x.changes = append(x.changes, c)
	w, err := x.world()
	if err != nil {
		return problem.Of(problem.Usage, err)
	}
	r.Action.Change, r.Cost = c.String(), changeCosts[c.Kind]
	for i, danger := range w.Dangers(n) {
		if told := toldOf(danger); i == 0 {
			r.Dangers = append(r.Dangers, told)
		} else {
			r.Notes = append(r.Notes, told.Words) // it is one thing that was done
		}
	}
	if len(r.Dangers) > 0 {
		r.Action.Stopped = true
		r.Notes = append(r.Notes, "The change was not made: the trainer would have stopped you.")
	}
	return nil
}

// world is the specimen before anything happens.
func (s *specimen) world() (*sim.World, error) {
	of := s.simulation()
	opts := setup.Unit(s.def.Rig, s.def.Sequence)
	opts.Seed, opts.Faults, opts.Changes = of.Seed, of.Faults, of.Changes
	return sim.NewWorld(s.def.Rig, opts)
}
