package cause

import (
	"maps"
	"math"
	"slices"
	"strings"

	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
)

// measure is a measurement that a run did not make and a person can.
type measure struct {
	name string
	say  string // a sentence; {output} and {relay} stand for those of the cause
	// minutes are what it takes at a bench.
	minutes float64
	of      Subject // what it is made at
	made    string  // what of a run makes it unneeded; empty: nothing
	// given are the answers' probabilities under a cause at the place where it is made,
	// otherwise those under any other cause.
	given     map[string]map[string]float64
	otherwise map[string]float64
}

// What makes a measurement unneeded.
const (
	watched  = "others-watched" // the run watched all other outputs
	repeated = "many-cycles"    // the run had many cycles
)

const (
	maxMeasures = 200
	manyCycles  = 200
)

func (t *Table) readMeasures(n *yamlfile.Node) {
	for i, e := range n.Entries("must be measurements by name, as in coil-ohms: {say: …, of: relay, minutes: 3, given: {…}, otherwise: {…}}") {
		if i == maxMeasures {
			e.Key.Refuse("there are too many measurements", "must be at most 200")
			return
		}
		t.readMeasure(e)
	}
}

func (t *Table) readMeasure(e yamlfile.Entry) {
	x := &measure{name: e.Name(), given: map[string]map[string]float64{}}
	f, ok := e.Value.Fields("must be a measurement, as in {say: …, of: relay, minutes: 3, given: {…}, otherwise: {…}}")
	if !ok {
		return
	}
	x.say, _ = f.Need("say", "Measure the resistance of the coil of {relay}.").Text()
	of, _ := f.Need("of", "relay").Word(string(OfOutput), string(OfRelay), string(OfRun))
	x.of = Subject(of)
	x.minutes = weight(f.Need("minutes", "3"))
	x.made, _ = f.May("not_after").Word(watched, repeated)
	for _, g := range f.Need("given", "{coil-open: {open: 97 %}}").Entries("must be causes by name with the answers under each, as in {coil-open: {open: 97 %}}") {
		if !slices.ContainsFunc(t.causes, func(c *Cause) bool { return c.Name == g.Name() }) {
			names := make([]string, len(t.causes))
			for i, c := range t.causes {
				names[i] = c.Name
			}
			g.Key.Refuse("", words.UseOneOf(g.Name(), names))
			continue
		}
		x.given[g.Name()] = readAnswers(g.Value)
	}
	x.otherwise = readAnswers(f.Need("otherwise", "{usual: 97 %}"))
	f.Done()
	x.complete()
	t.measures = append(t.measures, x)
}

func readAnswers(n *yamlfile.Node) map[string]float64 {
	all := map[string]float64{}
	sum := 0.0
	for _, e := range n.Entries("must be answers with their probabilities, as in {open: 97 %}") {
		p, _ := share(e.Value)
		all[e.Name()] = p
		sum += p
	}
	if sum > 1+1e-9 {
		n.Fail("the probabilities are more than 100 % together", "must be at most 100 %")
	}
	return all
}

// complete gives all answers a probability under each cause: what is left of 1 is shared by
// those that are not named.
func (x *measure) complete() {
	answers := map[string]bool{}
	for a := range x.otherwise {
		answers[a] = true
	}
	for _, g := range x.given {
		for a := range g {
			answers[a] = true
		}
	}
	fill := func(all map[string]float64) {
		left, rest := 1.0, 0
		for a := range answers {
			if p, named := all[a]; named {
				left -= p
			} else {
				rest++
			}
		}
		sum := 0.0
		for a := range answers {
			p, named := all[a]
			if !named {
				p = math.Max(0, left) / float64(rest)
			}
			all[a] = math.Max(0.005, p)
			sum += all[a]
		}
		for a := range all {
			all[a] /= sum
		}
	}
	fill(x.otherwise)
	for _, g := range x.given {
		fill(g)
	}
}

// under are the answers' probabilities under a hypothesis, the measurement being made at a
// place.
func (x *measure) under(h *hypothesis, at place) map[string]float64 {
	g, named := x.given[h.cause.Name]
	if !named || h.cause.Of != OfRun && x.of != OfRun && h.place != at {
		return x.otherwise
	}
	return g
}

// tells is how many bits the measurement tells, as to be expected, about which of two
// hypotheses is so: the mutual information of the answer and the hypothesis.
func (x *measure) tells(a, b *hypothesis, at place) float64 {
	pa := a.share / (a.share + b.share)
	ga, gb := x.under(a, at), x.under(b, at)
	bits := 0.0
	for _, answer := range slices.Sorted(maps.Keys(x.otherwise)) {
		p, q := ga[answer], gb[answer]
		mean := pa*p + (1-pa)*q
		bits += pa*p*math.Log2(p/mean) + (1-pa)*q*math.Log2(q/mean)
	}
	return bits
}

const (
	// leastBits is what a measurement must tell at least to be worth naming.
	leastBits = 0.005
	// bitsPerMinute is how much less a measurement may tell that is a minute shorter.
	bitsPerMinute = 0.01
)

// addNext adds to each cause that is told the measurement that tells it from the likeliest
// other one.
func (m *model) addNext(all []*hypothesis) {
	for i, h := range all {
		if i == mostTold || h.share < leastShare {
			return
		}
		rival := m.rival(all, i)
		h.next = m.next(h, rival)
	}
}

// rival is the likeliest other cause; where there is none worth telling, one that the table
// does not know, and that is worth as much doubt as makes the measurement tell.
func (m *model) rival(all []*hypothesis, i int) *hypothesis {
	k := 0
	if i == 0 {
		k = 1
	}
	if k < len(all) && all[k].share >= leastShare {
		return all[k]
	}
	return &hypothesis{cause: &Cause{Name: Else, Of: OfRun}, share: all[i].share / 4}
}

// next is what to measure to tell two hypotheses apart.
func (m *model) next(a, b *hypothesis) string {
	best, said := math.Inf(-1), ""
	for _, x := range m.table.measures {
		if m.isMade(x) {
			continue
		}
		for _, at := range []place{a.place, b.place} {
			sentence, can := x.sentence(at)
			if !can {
				continue
			}
			bits := x.tells(a, b, at)
			if worth := bits - bitsPerMinute*x.minutes; bits > leastBits && worth > best {
				best, said = worth, sentence
			}
		}
	}
	return said
}

// isMade reports whether the run has made a measurement already.
func (m *model) isMade(x *measure) bool {
	switch x.made {
	case watched:
		return m.facts.watched
	case repeated:
		return m.facts.cycles >= manyCycles
	}
	return false
}

// sentence is the measurement at a place, and whether it can be made there.
func (x *measure) sentence(at place) (string, bool) {
	output, relay := at.output, at.relay
	switch {
	case x.of == OfRelay && relay == "", x.of == OfOutput && output == "":
		return "", false
	case output == "":
		output = "an output"
	}
	if relay == "" {
		relay = "the relay"
	}
	return strings.NewReplacer("{output}", output, "{relay}", relay).Replace(x.say), true
}
