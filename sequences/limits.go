package sequences

import (
	"math"

	"makebreak/analyze"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
)

// user is what a set of limits is used by.
type user int

const (
	ofOutput user = 1 << iota
	ofRelay
)

// words name the user in messages.
func (u user) words() (one, none string) {
	if u == ofRelay {
		return "a relay", "no relay"
	}
	return "an output", "no output"
}

// belongs says whose limit a quantity's is: a contact's stands with its relay.
func belongs(q analyze.Quantity) user {
	if d, _ := q.Definition(); d.Of == analyze.OfOutput {
		return ofOutput
	}
	return ofRelay
}

// limitSet is a set of limits, with the places of its quantities.
type limitSet struct {
	name   string
	limits analyze.Limits
	keys   []yamlfile.Entry
	usedBy user
}

const (
	limitSetRule = "must be limits by quantity, as in high_level: {min: 12 V, max: 14.5 V}"
	limitsRule   = "must be the name of a set of limits, or limits by quantity as in {high_level: {min: 12 V}}"
)

// limitSets reads the sets that have a name.
func (r *reader) limitSets(n *yamlfile.Node) {
	for _, e := range n.Entries("must be sets of limits by name") {
		checkName(e.Key, e.Name())
		set := readSet(e.Value)
		set.name = e.Name()
		r.sets[e.Name()] = set
		r.order = append(r.order, set)
	}
}

func readSet(n *yamlfile.Node) *limitSet {
	set := &limitSet{limits: analyze.Limits{}}
	for _, e := range n.Entries(limitSetRule) {
		q := analyze.Quantity(e.Name())
		if !q.Known() {
			e.Key.Refuse("there is no quantity of this name", words.UseOneOf(e.Name(), quantityNames()))
			continue
		}
		set.keys = append(set.keys, e)
		set.limits[q] = readLimit(e.Value, q)
	}
	return set
}

func quantityNames() []string {
	all := analyze.Quantities()
	names := make([]string, len(all))
	for i, q := range all {
		names[i] = string(q)
	}
	return names
}

// readLimit reads one quantity's bounds. A count is a bare whole number, since a
// count has no unit.
func readLimit(n *yamlfile.Node, q analyze.Quantity) analyze.Limit {
	limit := analyze.NoLimit()
	f, ok := n.Fields("use one of: {min: …}, {max: …}, {min: …, max: …}")
	if !ok {
		return limit
	}
	lower, upper := f.May("min"), f.May("max")
	if v, ok := bound(lower, q); ok {
		limit.Lower = v
	}
	if v, ok := bound(upper, q); ok {
		limit.Upper = v
	}
	if lower == nil && upper == nil && !f.Empty() {
		n.Refuse("the limit has neither min nor max", "use one of: {min: …}, {max: …}, {min: …, max: …}")
	}
	f.Done()
	if limit.Lower > limit.Upper {
		upper.Refuse("below min", "must be min or more")
	}
	return limit
}

func bound(n *yamlfile.Node, q analyze.Quantity) (float64, bool) {
	switch q.Unit() {
	case "V":
		return n.Quantity(unit.Voltage)
	case "s":
		return n.Quantity(unit.Time)
	}
	v, ok := n.Whole(0, 1_000_000)
	return float64(v), ok
}

// limits reads the limits of an output or relay: the name of a set, or the limits
// themselves.
func (r *reader) limits(n *yamlfile.Node, by user) analyze.Limits {
	if n == nil {
		return nil
	}
	if n.IsMap() {
		set := readSet(n)
		set.usedBy = by
		set.refuseForeign()
		return set.limits
	}
	name, ok := n.Text()
	if !ok {
		return nil
	}
	set := r.sets[name]
	if set == nil {
		r.misnamed = true
		names := make([]string, len(r.order))
		for i, s := range r.order {
			names[i] = s.name
		}
		remedy := limitsRule
		if len(names) > 0 {
			remedy = words.UseOneOf(name, names) + ", or limits by quantity as in {high_level: {min: 12 V}}"
		}
		n.Refuse("there is no set of limits of this name", remedy)
		return nil
	}
	set.usedBy |= by
	return set.limits
}

// relayLimits reads a relay's limits and refuses those on a margin whose voltage is
// not stated.
func (r *reader) relayLimits(n *yamlfile.Node, p *analyze.RelayPlan) {
	p.Limits = r.limits(n, ofRelay)
	if _, ok := p.Limits[analyze.PullInMargin]; ok && math.IsNaN(float64(p.MustOperate)) {
		n.Refuse("pull_in_margin has a limit, but the relay's must_operate is not stated", "add it, for example must_operate: 9 V")
	}
	if _, ok := p.Limits[analyze.DropOutMargin]; ok && math.IsNaN(float64(p.MustRelease)) {
		n.Refuse("drop_out_margin has a limit, but the relay's must_release is not stated", "add it, for example must_release: 1.2 V")
	}
}

// refuseForeign refuses limits that nothing which uses the set is ever measured for.
func (s *limitSet) refuseForeign() {
	for _, e := range s.keys {
		of := belongs(analyze.Quantity(e.Name()))
		if s.usedBy&of == 0 {
			one, none := of.words()
			e.Key.Refuse("this is a limit of "+one+", and "+none+" uses this set", "move it to the limits of "+one)
		}
	}
}

// unused looks at the sets once all their users are known.
func (r *reader) unused() {
	if r.misnamed {
		return // which set was meant is not known
	}
	for _, s := range r.order {
		if s.usedBy == 0 {
			r.seq.Cautions = append(r.seq.Cautions, "nothing uses the limits "+s.name+", so they judge nothing")
			continue
		}
		s.refuseForeign()
	}
}
