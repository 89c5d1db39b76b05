package wiring

import (
	"fmt"
	"slices"
	"strings"

	"makebreak/rig/line"
	"makebreak/rig/words"
)

// MostUnits is the highest number of units on one rig: as many as it can have outputs.
const MostUnits = 16

// SharedSupply is the word under shared: that stands for the rig's supply.
const SharedSupply = "supply"

// Unit is one of several units that a rig has channels for at the same time.
type Unit struct {
	Name       string
	Outputs    []Channel
	Contacts   []Channel
	References []Channel
	Drives     []Channel
}

// Channel is a signal of the rig that belongs to one unit.
type Channel struct {
	As  string // what sequences and results call it
	Own string // what the rig calls it
}

// Place writes what belongs to a unit: left/OUT3. No name of a rig file has a slash in it.
func Place(unit, name string) string { return unit + "/" + name }

// CutPlace takes a place apart. It has no unit where there is no slash.
func CutPlace(place string) (unit, name string) {
	if unit, name, ok := strings.Cut(place, "/"); ok {
		return unit, name
	}
	return "", place
}

// OwnEvent makes an event one of a single unit: its cause gets a name of its own.
func (k Cause) OwnEvent(unit string) Cause {
	k.Unit, k.As, k.Event = unit, k.Event, Place(unit, k.Event)
	return k
}

// Named is what sequences call the event.
func (k *Cause) Named() string {
	if k.Unit != "" {
		return k.As
	}
	return k.Event
}

// Unit returns the unit named, or nil.
func (r *Rig) Unit(name string) *Unit {
	for i := range r.Units {
		if r.Units[i].Name == name {
			return &r.Units[i]
		}
	}
	return nil
}

// UnitNames lists the rig's units in the file's order.
func (r *Rig) UnitNames() []string {
	return words.Texts(r.Units, func(u Unit) string { return u.Name })
}

// groups are the unit's channels by the kind of signal.
func (u *Unit) groups() []struct {
	name string
	all  []Channel
} {
	return []struct {
		name string
		all  []Channel
	}{{"outputs", u.Outputs}, {"contacts", u.Contacts}, {"references", u.References}, {"drives", u.Drives}}
}

// OwnOf returns what the rig calls a signal of the unit's; empty where it has none of this name.
func (u *Unit) OwnOf(as string) string {
	for _, g := range u.groups() {
		if own := ownOf(g.all, as); own != "" {
			return own
		}
	}
	return ""
}

// AsOf returns what the unit's sequence calls a signal of the rig; empty where it is not the
// unit's.
func (u *Unit) AsOf(own string) string {
	for _, g := range u.groups() {
		if as := asOf(g.all, own); as != "" {
			return as
		}
	}
	return ""
}

func ownOf(all []Channel, as string) string {
	for _, c := range all {
		if c.As == as {
			return c.Own
		}
	}
	return ""
}

func asOf(all []Channel, own string) string {
	for _, c := range all {
		if c.Own == own {
			return c.As
		}
	}
	return ""
}

// IsShared reports whether the rig's signal is one that all units have.
func (r *Rig) IsShared(name string) bool { return slices.Contains(r.Shared, name) }

// For returns the rig as a sequence sees it that runs on the unit: the unit's own signals and
// events under the names that sequences use, and what all units share.
func (r *Rig) For(u *Unit) *Rig {
	view := *r
	view.Units, view.Shared = nil, nil
	view.Outputs, view.Contacts, view.References, view.Drives = nil, nil, nil, nil
	view.Causes, view.Corrections, view.Chips = nil, nil, nil
	for _, o := range r.Outputs {
		own := o.Name
		if o.Name = asOf(u.Outputs, own); o.Name == "" {
			continue
		}
		view.Outputs = append(view.Outputs, o)
		if c, corrected := r.Correction(own); corrected {
			view.Correct(o.Name, &c)
		}
	}
	view.Contacts = r.linesFor(r.Contacts, u.Contacts)
	view.References = r.linesFor(r.References, u.References)
	for _, d := range r.Drives {
		if as := asOf(u.Drives, d.Name); as != "" {
			d.Name = as
		} else if !r.IsShared(d.Name) {
			continue
		}
		view.Drives = append(view.Drives, d)
	}
	for _, k := range r.Causes {
		if k.Unit == u.Name {
			view.Causes = append(view.Causes, k.seenBy(u))
		} else if k.Unit == "" {
			view.Causes = append(view.Causes, k)
		}
	}
	for _, c := range r.Chips {
		if slices.ContainsFunc(view.Outputs, func(o Output) bool { return o.Chip == c.Name }) {
			view.Chips = append(view.Chips, c)
		}
	}
	return &view
}

// linesFor are the lines that a unit has, or shares, under the names that it uses.
func (r *Rig) linesFor(all []line.Line, own []Channel) (lines []line.Line) {
	for _, l := range all {
		if as := asOf(own, l.Name); as != "" {
			l.Name = as
		} else if !r.IsShared(l.Name) {
			continue
		}
		lines = append(lines, l)
	}
	return lines
}

// seenBy is the unit's cause under the names that sequences use.
func (k Cause) seenBy(u *Unit) Cause {
	k.Event, k.Unit, k.As = k.As, "", ""
	k.Drive = asOf(u.Drives, k.Drive)
	k.Reference = asOf(u.References, k.Reference)
	return k
}

// CauseOf returns the rig's own cause of what the unit's sequence calls an event, nil where
// there is none.
func (r *Rig) CauseOf(u *Unit, event string) *Cause {
	for i := range r.Causes {
		k := &r.Causes[i]
		if k.Named() == event && (k.Unit == u.Name || k.Unit == "") {
			return k
		}
	}
	return nil
}

// units checks the rig's units: a signal belongs to one of them, or is said to be shared.
func (c *checker) units() {
	if len(c.rig.Units) == 0 {
		if len(c.rig.Shared) > 0 {
			c.add("shared", "", "the rig has no units that could share anything", "leave it out, or add units")
		}
		return
	}
	if n := len(c.rig.Units); n > MostUnits {
		c.add("units", "", fmt.Sprintf("there are %d units", n), fmt.Sprintf("must be at most %d", MostUnits))
	}
	owner := map[string]string{} // of the rig's signals, by their names
	taken := map[string]bool{}
	for i := range c.rig.Units {
		u := &c.rig.Units[i]
		path := "units." + u.Name
		if err := CheckName(u.Name); err != nil {
			c.addName(path, u.Name, err.Error(), NameRule)
		}
		if taken[strings.ToLower(u.Name)] {
			c.addName(path, u.Name, "another unit has this name", "use another name")
		}
		taken[strings.ToLower(u.Name)] = true
		c.channels(u, path, owner)
	}
	c.shared(owner)
	c.unowned(owner)
	c.followed(owner)
}

// channels checks the signals of one unit.
func (c *checker) channels(u *Unit, path string, owner map[string]string) {
	if len(u.Outputs) == 0 {
		c.add(path, "", "the unit has no output", "give it at least one, as in outputs: {OUT3: L3}")
	}
	named := map[string]bool{}
	for _, g := range u.groups() {
		there := c.signals(g.name)
		for _, ch := range g.all {
			at := path + "." + g.name + "." + ch.As
			if err := CheckSignal(ch.As); err != nil {
				c.addName(at, ch.As, err.Error(), NameRule+", not ending in _V")
			}
			lower := strings.ToLower(ch.As)
			switch other, used := owner[ch.Own]; {
			case !slices.Contains(there, ch.Own):
				c.add(at, ch.Own, "the rig has none of this name under "+g.name, words.UseOneOf(ch.Own, there))
			case used && other == u.Name:
				c.add(at, ch.Own, "the unit has this signal twice", "give it once")
			case used:
				c.add(at, ch.Own, "it belongs to unit "+other, "a signal belongs to one unit only")
			case c.rig.IsShared(ch.Own):
				c.add(at, ch.Own, "it stands under shared", "take it out there, or here")
			case named[lower]:
				c.addName(at, ch.As, "the unit has another signal of this name", "use another name")
			case slices.ContainsFunc(c.rig.Shared, func(s string) bool { return strings.EqualFold(s, ch.As) }):
				c.addName(at, ch.As, "a shared signal has this name", "use another name")
			}
			owner[ch.Own], named[lower] = u.Name, true
		}
	}
}

// signals lists the rig's signals of a kind.
func (c *checker) signals(group string) []string {
	switch group {
	case "outputs":
		return words.Texts(c.rig.Outputs, func(o Output) string { return o.Name })
	case "contacts":
		return lineNames(c.rig.Contacts)
	case "references":
		return lineNames(c.rig.References)
	}
	return words.Texts(c.rig.Drives, func(d Drive) string { return d.Name })
}

// shared checks what is said to be shared.
func (c *checker) shared(owner map[string]string) {
	could := append(c.signals("references"), c.signals("drives")...)
	supplied := false
	for i, name := range c.rig.Shared {
		path := fmt.Sprintf("shared[%d]", i)
		switch {
		case slices.Contains(c.rig.Shared[:i], name):
			c.add(path, name, "it is named twice", "name it once")
		case name == SharedSupply && c.rig.Supply != nil:
			supplied = true
		case name == SharedSupply && !slices.Contains(could, name):
			c.add(path, name, "the rig has no supply", "leave it out")
		case !slices.Contains(could, name):
			c.add(path, name, "only drives, references and the supply can be shared", words.UseOneOf(name, could))
		}
	}
	if c.rig.Supply == nil {
		return
	}
	if !supplied {
		c.add("shared", "", "the rig's supply is that of all units", "say so: add supply to shared, as in shared: [supply]")
	}
	if g := c.rig.Supply.Stage; g != nil && owner[g.Drive] != "" {
		c.add("supply", g.Drive, "the drive that switches the supply belongs to unit "+owner[g.Drive], "name it under shared")
	}
}

// unowned finds signals that belong to no unit.
func (c *checker) unowned(owner map[string]string) {
	for _, group := range []string{"outputs", "contacts", "references", "drives"} {
		for _, name := range c.signals(group) {
			if owner[name] != "" || c.rig.IsShared(name) {
				continue
			}
			remedy := "give it to one"
			if group == "references" || group == "drives" {
				remedy += ", or name it under shared"
			}
			c.addName(group+"."+name, name, "it belongs to no unit", remedy)
		}
	}
}

// followed refuses converters that follow one output and have those of several units.
func (c *checker) followed(owner map[string]string) {
	for _, chip := range c.rig.Chips {
		if chip.Mode != Follow {
			continue
		}
		if units := c.rig.unitsOn(chip.Name, owner); len(units) > 1 {
			c.add("chips."+chip.Name+".sample", string(Follow), "it has outputs of the units "+words.And(units)+", and only one output is followed",
				"must be sweep, or each unit needs a converter of its own")
		}
	}
}

// unitsOn lists the units with outputs on a chip.
func (r *Rig) unitsOn(chip string, owner map[string]string) (units []string) {
	for _, o := range r.Outputs {
		if u := owner[o.Name]; o.Chip == chip && u != "" && !slices.Contains(units, u) {
			units = append(units, u)
		}
	}
	return units
}

// Followed returns the converters that would follow an output of one unit while another has
// outputs there, where the mode, if there is one, overrides the file's.
func (r *Rig) Followed(mode Mode, units []*Unit) (chips []string) {
	owner := map[string]string{}
	for _, u := range units {
		for _, ch := range u.Outputs {
			owner[ch.Own] = u.Name
		}
	}
	for _, chip := range r.Chips {
		if m := chip.Mode; (mode == Follow || mode == "" && m == Follow) && len(r.unitsOn(chip.Name, owner)) > 1 {
			chips = append(chips, chip.Name)
		}
	}
	return chips
}

// ownCause checks what only an event of one unit must be: by a drive and a reference of that unit.
func (c *checker) ownCause(k *Cause, path string) {
	u := c.rig.Unit(k.Unit)
	switch {
	case u == nil:
		c.add(path, k.Unit, "there is no unit of this name", words.UseOneOf(k.Unit, c.rig.UnitNames()))
	case k.Drive == "":
		c.add(path, "", "a person cannot be asked for each unit at the same time", "define the event under events, for all units")
	case asOf(u.Drives, k.Drive) == "" && len(u.Drives) == 0:
		c.add(path+".drive", k.Drive, "unit "+u.Name+" has no drive", "give it one, as in drives: {KEY_AWAY: L_KEY_AWAY}")
	case asOf(u.Drives, k.Drive) == "":
		c.add(path+".drive", k.Drive, "unit "+u.Name+" has no drive of this name", words.UseOneOf(k.Drive, words.Texts(u.Drives, func(ch Channel) string { return ch.As })))
	case k.Reference != "" && asOf(u.References, k.Reference) == "":
		c.add(path+".reference", k.Reference, "unit "+u.Name+" has no reference of this name, and another could not tell which unit it reports", "give the unit a reference of its own, or leave it out")
	}
}

// sharedCause checks what only an event of all units must be: by what they share.
func (c *checker) sharedCause(k *Cause, path string) {
	if len(c.rig.Units) == 0 {
		return
	}
	if k.Drive != "" && c.rig.Drive(k.Drive) != nil && !c.rig.IsShared(k.Drive) {
		c.add(path+".drive", k.Drive, "it belongs to one unit, and the event is that of all", "name a drive under shared, or what each unit calls its own")
	}
	if k.Reference != "" && !c.rig.IsShared(k.Reference) {
		c.add(path+".reference", k.Reference, "it is not shared, and the event is that of all units", "name it under shared, or leave it out")
	}
}
