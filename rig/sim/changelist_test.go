package sim

import (
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// Possible are changes of one kind that a bench can have.
type Possible struct {
	Kind ChangeKind
	// Choices are all changes of the kind. Where Value says so, they carry a usual figure, and
	// others may be given.
	Choices []Change
	Value   *unit.Kind // nil: there is no figure to choose
}

// What a supply and a resistor usually are: a 12 V battery on float, and a resistor that
// drains a leakage from a coil.
const (
	usualSupply   = 13.8
	usualResistor = 1000.0
)

// PossibleChanges lists what a person can change on a bench with the unit that the options describe.
// Kinds that the bench has no place for are left out.
func PossibleChanges(rig *wiring.Rig, opts Opts) (all []Possible) {
	l := &lister{rig: rig, layout: NewLayout(rig, opts), relays: opts.Relays}
	if l.relays == nil {
		l.relays = DefaultRelays(rig, opts.Programme)
	}
	for _, r := range opts.Programme {
		if r.Do != Nothing && l.layout.Unit() == PanelPart {
			l.programme(r.Output)
		}
	}
	for _, f := range Changes() {
		info := Possible{Kind: f.Kind, Choices: l.choices(f.Kind)}
		switch f.Kind {
		case SetSupply:
			info.Value = &unit.Voltage
		case AddResistor:
			info.Value = &unit.Resistance
		}
		if len(info.Choices) > 0 {
			all = append(all, info)
		}
	}
	return all
}

// lister finds the changes that a bench can have.
type lister struct {
	rig        *wiring.Rig
	layout     *Layout
	relays     []Relay
	programmed []string // outputs that the panel switches, in the programme's order
}

func (l *lister) programme(output string) {
	for _, name := range l.programmed {
		if name == output {
			return
		}
	}
	l.programmed = append(l.programmed, output)
}

func (l *lister) choices(kind ChangeKind) (all []Change) {
	add := func(c Change) { c.Kind = kind; all = append(all, c) }
	zero, rigZero := pointName(l.layout.Unit(), zeroVolts), pointName(RigPart, zeroVolts)
	switch kind {
	case SwapWires:
		l.swaps(add)
	case SetAddress:
		for _, o := range l.programmed {
			for n := range l.rig.Outputs {
				add(Change{A: o, Number: n + 1})
			}
		}
	case Programme:
		for _, o := range l.programmed {
			add(Change{A: o})
		}
	case SetSupply:
		if l.rig.Supply == nil {
			add(Change{Value: usualSupply})
		}
	case AddResistor, NewBoard:
		for _, r := range l.relays {
			if r.Output != "" {
				c := Change{A: r.Name}
				if kind == AddResistor {
					c.Value = usualResistor
				}
				add(c)
			}
		}
	case JoinPoints:
		add(Change{A: zero, B: rigZero})
		l.outputPairs(add)
	case PartPoints:
		l.outputPairs(add)
	case ReplaceWire:
		for _, x := range l.layout.Wires {
			add(Change{A: x.From, B: x.To})
		}
	case SetPolarity:
		for _, r := range l.rig.References {
			add(Change{A: r.Name, B: activeHigh})
			add(Change{A: r.Name, B: activeLow})
		}
	}
	return all
}

// outputPairs are any two outputs of the unit.
func (l *lister) outputPairs(add func(Change)) {
	for i, a := range l.rig.Outputs {
		for _, b := range l.rig.Outputs[i+1:] {
			add(Change{A: a.Name, B: b.Name})
		}
	}
}

// swaps are any two outputs of the unit, any two contacts of a relay, and the ends of its coil.
func (l *lister) swaps(add func(Change)) {
	l.outputPairs(add)
	for _, r := range l.relays {
		var at []string
		for _, t := range []string{common, makes, breaks} {
			if l.layout.has(relayPoint(r.Name, t)) {
				at = append(at, relayPoint(r.Name, t))
			}
		}
		for i := range at {
			for k := i + 1; k < len(at); k++ {
				add(Change{A: at[i], B: at[k]})
			}
		}
		if r.Output != "" {
			add(Change{A: relayPoint(r.Name, coilPlus), B: relayPoint(r.Name, coilMinus)})
		}
	}
}
