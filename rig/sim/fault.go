package sim

import (
	"errors"
	"fmt"
	"strings"

	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

// Fault is one fault to plant. A zero Value stands for the fault's usual one.
type Fault struct {
	Name   string
	Value  float64 // base units, as FaultInfo says
	Output string  // for the faults whose value is an output; empty: the usual one
	Event  string  // for the faults whose value is an event; empty: the usual one
	// Place is the output or the relay that has the fault, as FaultInfo says. Empty: the
	// first output that is programmed, or the relay behind it.
	Place string
}

// FaultInfo describes a fault that can be planted.
type FaultInfo struct {
	Name  string
	Group FaultGroup
	About string // one plain line
	// Value says what may be given as NAME=VALUE.
	Value FaultValue
	// Usual is the value where none is given, as it is written; empty where there is none.
	Usual string
	// Place says what may be given as NAME@PLACE.
	Place FaultPlace
	// Lowest and Highest are the values that a bench meets, in the base unit of Value; 0
	// where it is not a number. They are for whoever draws one: more or less can be planted.
	Lowest, Highest float64
}

// plantable is a fault with what it does. The victim is the output that the fault
// is about, or that has the relay that it is about.
type plantable struct {
	name            string
	group           FaultGroup
	place           FaultPlace
	kind            FaultValue
	preset          float64 // base unit of the kind
	lowest, highest float64 // base unit of the kind
	most            float64 // likewise, more is refused; 0: the kind says what is
	about           string
	plant           func(w *World, victim *output, f Fault) error
	// programmed says that only an output that the panel or a drive switches can have it.
	programmed bool
}

func (p *plantable) info() FaultInfo {
	i := FaultInfo{Name: p.name, Group: p.group, About: p.about, Value: p.kind, Place: p.place, Lowest: p.lowest, Highest: p.highest}
	switch {
	case p.kind.Measured():
		i.Usual = valueForms[p.kind].format(p.preset)
	case p.kind == OutputName:
		i.Usual = "the next one"
		if p.stands() {
			i.Usual = "the programmed one"
		}
	case p.kind == EventName:
		i.Usual = "the first one"
	}
	return i
}

// stands reports whether the output that is the fault's value is its place as well.
func (p *plantable) stands() bool { return p.name == "stuck-low" || p.name == "stuck-high" }

// Faults lists the faults that can be planted, by their groups.
func Faults() []FaultInfo {
	all := make([]FaultInfo, len(faults))
	for i := range faults {
		all[i] = faults[i].info()
	}
	return all
}

func lookUp(name string) *plantable {
	for i := range faults {
		if faults[i].name == name {
			return &faults[i]
		}
	}
	return nil
}

// ParseFault reads NAME[=VALUE][@PLACE]. Whether a rig has the place shows when the fault
// is planted.
func ParseFault(s string) (Fault, error) {
	rest, place, placed := cutLast(s, "@")
	name, value, given := strings.Cut(rest, "=")
	name = strings.TrimSpace(name)
	p := lookUp(name)
	if p == nil {
		return Fault{}, unknownFault(name)
	}
	f := Fault{Name: name, Value: p.preset}
	if placed {
		if err := p.parsePlace(&f, place); err != nil {
			return Fault{}, fmt.Errorf("fault %s: %w", name, err)
		}
	}
	if !given {
		return f, nil
	}
	return f, p.parseValue(&f, value)
}

// cutLast cuts at the last separator.
func cutLast(s, sep string) (before, after string, found bool) {
	if i := strings.LastIndex(s, sep); i >= 0 {
		return s[:i], s[i+len(sep):], true
	}
	return s, "", false
}

func unknownFault(name string) error {
	names := words.Texts(faults, func(p plantable) string { return p.name })
	return fmt.Errorf("fault %q is not known: %s", name, words.UseOneOf(name, names))
}

func (p *plantable) parsePlace(f *Fault, text string) error {
	place := strings.TrimSpace(text)
	switch {
	case p.place == WholeBench:
		return fmt.Errorf("it is of the whole bench and has no place, not %q", place)
	case place == "":
		return fmt.Errorf("%s is missing after the @", p.place)
	case strings.Contains(place, "="):
		return fmt.Errorf("the value comes before the place: write %s=VALUE@PLACE", p.name)
	}
	unit, name := wiring.CutPlace(place)
	err := wiring.CheckName(name)
	if strings.Contains(place, "/") {
		err = errors.Join(err, wiring.CheckName(unit))
	}
	if err != nil {
		return fmt.Errorf("%q must be %s of the rig: %w", place, p.place, err)
	}
	f.Place = place
	return nil
}

// OfWholeBench reports whether the fault is of the bench and not of something on it.
func (f Fault) OfWholeBench() bool {
	p := lookUp(f.Name)
	return p != nil && p.place == WholeBench
}

// At is the kind of place that can have the fault.
func (f Fault) At() FaultPlace {
	if p := lookUp(f.Name); p != nil {
		return p.place
	}
	return WholeBench
}

func (p *plantable) parseValue(f *Fault, text string) (err error) {
	defer func() {
		if err != nil {
			*f = Fault{}
		}
	}()
	switch {
	case p.kind == NoValue:
		return fmt.Errorf("fault %s takes no value, not %q", p.name, text)
	case p.kind == EventName:
		if f.Event = strings.TrimSpace(text); f.Event == "" {
			return fmt.Errorf("fault %s: an event's name is missing after the equals sign", p.name)
		}
		return nil
	case p.kind == OutputName:
		if f.Output = strings.TrimSpace(text); f.Output == "" {
			return fmt.Errorf("fault %s: an output's name is missing after the equals sign", p.name)
		}
		if f.Place != "" && p.stands() {
			return fmt.Errorf("fault %s: the output is named twice: write %s@%s", p.name, p.name, f.Place)
		}
		return nil
	}
	if f.Value, err = valueForms[p.kind].parse(text); err != nil {
		return fmt.Errorf("fault %s: %w", p.name, err)
	}
	return p.kind.check(p.name, f.Value, p.most)
}

// String writes the fault as ParseFault reads it.
func (f Fault) String() string {
	text := f.Name
	if p := lookUp(f.Name); p != nil {
		switch {
		case p.kind == OutputName && f.Output != "":
			text += "=" + f.Output
		case p.kind == EventName && f.Event != "":
			text += "=" + f.Event
		case p.kind.Measured() && f.Value == 0:
			text += "=" + valueForms[p.kind].format(p.preset)
		case p.kind.Measured():
			text += "=" + valueForms[p.kind].format(f.Value)
		}
	}
	if f.Place != "" {
		text += "@" + f.Place
	}
	return text
}
