package rigfile

import (
	"slices"
	"strings"

	"makebreak/rig/line"
	"makebreak/rig/wiring"
	"makebreak/rig/yamlfile"
)

const (
	unitsRule = "must be units by name, as in left: {prefix: L_}, or a list of names, as in [left, right], whose signals begin with left_ and right_"
	unitRule  = "must be the unit's signals, as in {outputs: {OUT3: L_OUT3}, drives: {KEY_AWAY: L_KEY_AWAY}} or {prefix: L_}"
)

// ownEvents are the events that units define themselves, by the unit's name.
type ownEvents map[string][]wiring.Cause

// readUnits reads the units, and the events that are theirs alone.
func readUnits(n *yamlfile.Node, r *wiring.Rig) ownEvents {
	own := ownEvents{}
	if n == nil {
		return own
	}
	if n.IsList() {
		for _, item := range n.Items() {
			if name, ok := item.Text(); ok {
				addUnit(r, wiring.Unit{Name: name}, item, name+"_", begins)
			}
		}
		return own
	}
	for _, e := range n.Entries(unitsRule) {
		readUnit(e, r, own)
	}
	return own
}

// readUnit reads one unit: its signals one by one, or all whose names begin or end alike.
func readUnit(e yamlfile.Entry, r *wiring.Rig, own ownEvents) {
	u := wiring.Unit{Name: e.Name()}
	f, ok := e.Value.Fields(unitRule)
	if !ok {
		return
	}
	u.Outputs = readChannels(f.May("outputs"), "as in {OUT3: L_OUT3}")
	u.Contacts = readChannels(f.May("contacts"), "as in {K1_NO: L_K1_NO}")
	u.References = readChannels(f.May("references"), "as in {REF: L_REF}")
	u.Drives = readChannels(f.May("drives"), "as in {KEY_AWAY: L_KEY_AWAY}")
	for _, k := range f.May("events").Entries("must be events by name, as in arm-away: {drive: KEY_AWAY, pulse: 1 s}") {
		own[u.Name] = append(own[u.Name], readCause(k))
	}
	prefix, suffix := f.May("prefix"), f.May("suffix")
	switch {
	case prefix != nil && suffix != nil:
		suffix.Refuse("the unit has a prefix", "use one of them")
	case prefix != nil:
		if p, ok := prefix.Text(); ok {
			addUnit(r, u, prefix, p, begins)
		}
	case suffix != nil:
		if s, ok := suffix.Text(); ok {
			addUnit(r, u, suffix, s, ends)
		}
	default:
		r.Units = append(r.Units, u)
	}
	f.Done()
}

// readChannels reads what sequences call the signals, with the rig's own names.
func readChannels(n *yamlfile.Node, example string) (all []wiring.Channel) {
	for _, e := range n.Entries("must be the rig's own names by those that sequences use, " + example) {
		if own, ok := e.Value.Text(); ok {
			all = append(all, wiring.Channel{As: e.Name(), Own: own})
		}
	}
	return all
}

// common is where a word stands that the names of a unit's signals have in common.
type common struct {
	verb string
	cut  func(name, word string) (rest string, has bool)
}

var (
	begins = common{"begins", strings.CutPrefix}
	ends   = common{"ends", strings.CutSuffix}
)

// addUnit adds a unit whose signals are, besides those that it has, all whose names have a word
// in common: what is left of them is what sequences call them.
func addUnit(r *wiring.Rig, u wiring.Unit, n *yamlfile.Node, word string, has common) {
	found := false
	add := func(group *[]wiring.Channel, own string) {
		as, ok := has.cut(own, word)
		if ok = ok && as != ""; !ok {
			return
		}
		found = true
		if !slices.ContainsFunc(*group, func(c wiring.Channel) bool { return c.Own == own }) {
			*group = append(*group, wiring.Channel{As: as, Own: own})
		}
	}
	for _, o := range r.Outputs {
		add(&u.Outputs, o.Name)
	}
	addLines := func(group *[]wiring.Channel, lines []line.Line) {
		for _, l := range lines {
			add(group, l.Name)
		}
	}
	addLines(&u.Contacts, r.Contacts)
	addLines(&u.References, r.References)
	for _, d := range r.Drives {
		add(&u.Drives, d.Name)
	}
	if !found {
		n.Refuse("no signal's name "+has.verb+" with "+word, "use what the names of the unit's signals have in common, or list them")
		return
	}
	r.Units = append(r.Units, u)
}

// readShared reads what belongs to no unit alone.
func readShared(n *yamlfile.Node, r *wiring.Rig) {
	if n == nil {
		return
	}
	for _, item := range n.Items() {
		if name, ok := item.Text(); ok {
			r.Shared = append(r.Shared, name)
		}
	}
}

// spread gives each unit its events. An event whose drive the units have under the name that
// stands there is each unit's own; one by a shared drive, or by a person, happens once for all.
func spread(root *yamlfile.Node, r *wiring.Rig, own ownEvents) []wiring.Cause {
	var all []wiring.Cause
	for _, k := range r.Causes {
		overridden := 0
		for i := range r.Units {
			u := &r.Units[i]
			if slices.ContainsFunc(own[u.Name], func(o wiring.Cause) bool { return o.Event == k.Event }) {
				overridden++
			}
		}
		if k.Drive == "" || r.IsShared(k.Drive) || !anyHas(r, k.Drive) {
			all = append(all, k) // Check says what is wrong with it, if anything is
			continue
		}
		if overridden == len(r.Units) {
			root.Child("events").Child(k.Event).Refuse("each unit defines this event itself", "leave it out here")
			continue
		}
		for i := range r.Units {
			u := &r.Units[i]
			if !slices.ContainsFunc(own[u.Name], func(o wiring.Cause) bool { return o.Event == k.Event }) {
				all = append(all, ownCause(u, k))
			}
		}
	}
	for i := range r.Units {
		for _, k := range own[r.Units[i].Name] {
			all = append(all, ownCause(&r.Units[i], k))
		}
	}
	return all
}

// anyHas reports whether a unit has a drive of this name.
func anyHas(r *wiring.Rig, drive string) bool {
	return slices.ContainsFunc(r.Units, func(u wiring.Unit) bool { return hasChannel(u.Drives, drive) })
}

func hasChannel(all []wiring.Channel, as string) bool {
	return slices.ContainsFunc(all, func(c wiring.Channel) bool { return c.As == as })
}

// ownCause is a cause as one unit has it. A name that the unit does not have stays, for Check to
// refuse.
func ownCause(u *wiring.Unit, k wiring.Cause) wiring.Cause {
	for _, c := range u.Drives {
		if c.As == k.Drive {
			k.Drive = c.Own
			break
		}
	}
	for _, c := range u.References {
		if c.As == k.Reference {
			k.Reference = c.Own
			break
		}
	}
	return k.OwnEvent(u.Name)
}

// written is the path in the file of what Check found: an event of one unit may stand under the
// events of all.
func written(root *yamlfile.Node, path string) string {
	rest, ok := strings.CutPrefix(path, "units.")
	if !ok {
		return path
	}
	unit, rest, ok := strings.Cut(rest, ".events.")
	if !ok {
		return path
	}
	event, _, _ := strings.Cut(rest, ".")
	if root.Child("units").Child(unit).Child("events").Has(event) {
		return path
	}
	return "events." + rest
}
