package setup

import (
	"fmt"
	"slices"

	"makebreak/rig/bench"
	"makebreak/rig/hardware"
	"makebreak/rig/problem"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences"
)

// OpenTogether opens the bench of a rig on which a sequence runs on several units at the same
// time, simulated or real.
func OpenTogether(rig *wiring.Rig, units []*wiring.Unit, seq *sequences.Sequence, s Simulation, opts bench.Opts) (*bench.Bench, error) {
	opts.Outputs, opts.Mode = SampledOf(rig, units, seq), seq.Sample
	if !rig.Simulated {
		return hardware.OpenBench(rig, opts)
	}
	if opts.Prompter != nil {
		s.RealTime = true
	}
	world, err := worldOf(rig, units, seq, s)
	if err != nil {
		return nil, err
	}
	lines, err := world.Lines(bench.Requests(rig))
	if err != nil {
		return nil, problem.Of(problem.Input, err)
	}
	opts.Act = world.Act
	return bench.Open(rig, world.Bus(), lines, opts)
}

// SampledOf lists the outputs that the sequence has sampled of the units, by the rig's names.
func SampledOf(rig *wiring.Rig, units []*wiring.Unit, seq *sequences.Sequence) []string {
	all := []string{} // nil would mean those of all units
	for _, u := range units {
		for _, as := range seq.Sampled(rig.For(u)) {
			all = append(all, u.OwnOf(as))
		}
	}
	return all
}

// worldOf is the simulated bench with all units in it, each programmed as the sequence expects.
func worldOf(rig *wiring.Rig, units []*wiring.Unit, seq *sequences.Sequence, s Simulation) (*sim.World, error) {
	all := sim.Opts{Initial: map[string]bool{}, Seed: s.Seed, RealTime: s.RealTime, Changes: s.Changes, Operated: s.Done * operations(seq)}
	for _, u := range units {
		one := Unit(rig.For(u), seq)
		for _, r := range one.Programme {
			r.Output = u.OwnOf(r.Output)
			r.Event = ownEvent(rig, u, r.Event)
			for i, event := range r.While {
				r.While[i] = ownEvent(rig, u, event)
			}
			all.Programme = append(all.Programme, r)
		}
		all.Panels = append(all.Panels, armingOf(rig, u))
		for as, on := range one.Initial {
			all.Initial[u.OwnOf(as)] = on
		}
		for _, k := range one.Relays {
			all.Relays = append(all.Relays, sim.Relay{Name: wiring.Place(u.Name, k.Name), Output: u.OwnOf(k.Output), Make: u.OwnOf(k.Make), Break: u.OwnOf(k.Break)})
		}
	}
	for _, f := range s.Faults {
		own, err := ownFault(rig, units, f)
		if err != nil {
			return nil, problem.Of(problem.Usage, err)
		}
		all.Faults = append(all.Faults, own)
	}
	world, err := sim.NewWorld(rig, all)
	if err != nil {
		return nil, problem.Of(problem.Usage, err) // of a fault that this bench cannot have
	}
	return world, nil
}

// armingOf is which of the rig's events arm and disarm the unit, by what the trade calls them.
func armingOf(rig *wiring.Rig, u *wiring.Unit) (a sim.Arming) {
	for _, c := range rig.For(u).Causes {
		if sim.IsArming(c.Event) {
			a.Events = append(a.Events, ownEvent(rig, u, c.Event))
		}
		if c.Event == "disarm" {
			a.Last = ownEvent(rig, u, c.Event)
		}
	}
	return a
}

// ownEvent is what the rig calls an event of the unit's.
func ownEvent(rig *wiring.Rig, u *wiring.Unit, event string) string {
	if k := rig.CauseOf(u, event); k != nil {
		return k.Event
	}
	return event
}

// ownFault is a fault at a unit by the rig's own names. Relays have their unit's name before their
// own, which no rig file has.
func ownFault(rig *wiring.Rig, units []*wiring.Unit, f sim.Fault) (sim.Fault, error) {
	unit, name := wiring.CutPlace(f.Place)
	if f.OfWholeBench() {
		return f, nil
	}
	names := words.Texts(units, func(u *wiring.Unit) string { return u.Name })
	i := slices.Index(names, unit)
	if i < 0 && unit == "" {
		place := name
		switch {
		case f.At() == sim.AtOutput && units[0].OwnOf(name) == "":
			place = units[0].Outputs[0].As
		case name == "":
			place = "K1"
		}
		return f, fmt.Errorf("fault %s: say at which unit, as in %s@%s", f.Name, f.Name, wiring.Place(names[0], place))
	}
	if i < 0 {
		return f, fmt.Errorf("fault %s: there is no unit %q here: %s", f.Name, unit, words.UseOneOf(unit, names))
	}
	u := units[i]
	if outputs := words.Texts(u.Outputs, func(c wiring.Channel) string { return c.As }); f.At() == sim.AtOutput && !slices.Contains(outputs, name) {
		return f, fmt.Errorf("fault %s: unit %s has no output %q: %s", f.Name, unit, name, words.UseOneOf(name, outputs))
	}
	if own := u.OwnOf(name); own != "" && f.At() == sim.AtOutput { // relays have no other names
		f.Place = own
	}
	if own := u.OwnOf(f.Output); own != "" {
		f.Output = own
	}
	if f.Event != "" {
		f.Event = ownEvent(rig, u, f.Event)
	}
	return f, nil
}

// FaultsOf are those of the faults that are at a unit, or of the whole bench.
func FaultsOf(faults []sim.Fault, unit string) (own []sim.Fault) {
	for _, f := range faults {
		if at, _ := wiring.CutPlace(f.Place); f.OfWholeBench() || at == unit {
			own = append(own, f)
		}
	}
	return own
}
