package cause

import (
	"cmp"
	"math"
	"slices"

	"makebreak/rig/words"
)

// Ranked is one cause that may be what is wrong.
type Ranked struct {
	Cause string // as run --list-faults names it, where the simulated bench can plant it
	Place string // output, relay or converter; empty: the whole bench
	// Share is how much of what the run shows is put down to the cause: a probability, shared
	// evenly by two causes that are both needed. All shares together are 1 at most.
	Share float64
	Next  string // measurement that tells it from the likeliest other one

	about string
}

// Words say the cause and its place in a sentence, with its name.
func (r *Ranked) Words() string {
	if r.Place == "" {
		return words.Capital(r.about) + " (" + r.Cause + ")."
	}
	return r.Place + ": " + r.about + " (" + r.Cause + ")."
}

const (
	// leastShare is the least share that is told.
	leastShare = 0.01
	// mostTold is how many causes are told at most.
	mostTold = 5
	// seconds is for how many of the likeliest causes a second one is looked for.
	seconds = 12
	// partners is among how many of the likeliest it is looked for.
	partners = 200
)

// Else is the cause that stands for all that the table does not know.
const Else = "something-else"

// Rank returns the causes that may be behind what a run shows, by a table, the largest share
// first. It returns none where nothing is wrong.
func Rank(t *Table, e *Evidence) []Ranked {
	if e.Quiet() {
		return nil
	}
	f := factsOf(e)
	if !f.unusual() {
		return nil
	}
	m := newModel(t, f)
	ranked := m.shares()
	m.addNext(ranked)
	return told(ranked)
}

// told makes of hypotheses with shares what is told.
func told(all []*hypothesis) []Ranked {
	var out []Ranked
	for _, h := range all {
		if h.share >= leastShare && len(out) < mostTold {
			out = append(out, Ranked{h.cause.Name, h.name(), math.Round(h.share*1e4) / 1e4, h.next, h.cause.About})
		}
	}
	return out
}

// hypothesis is a form of a cause at a place.
type hypothesis struct {
	cause *Cause
	place place // of OfOutput and OfRelay
	prior float64
	// effects are, for each fact, what the cause makes of it: nil: nothing.
	effects []*effect
	gain    float64 // log likelihood above the background's
	share   float64
	next    string
}

// name is the output or the relay that the hypothesis is about.
func (h *hypothesis) name() string {
	switch h.cause.Of {
	case OfOutput:
		return h.place.output
	case OfRelay:
		return h.place.relay
	case OfConverter:
		return h.place.converter
	}
	return ""
}

// effect is how probable a fact is under a hypothesis. Facts that several places show of one
// cause have a weight of less than 1, so that together they count once.
type effect struct {
	p, log float64 // probability, and its logarithm
	weight float64
	usual  bool
	group  int // facts of which one place is meant; 0: none
}

// model weighs hypotheses by facts.
type model struct {
	table      *Table
	facts      *facts
	background []float64 // log probability of each fact where nothing concerns it
	all        []*hypothesis
}

func newModel(t *Table, f *facts) *model {
	m := &model{table: t, facts: f}
	for _, x := range f.all {
		m.background = append(m.background, math.Log(t.background[x.kind.name][x.value]))
	}
	for _, c := range t.causes {
		places := m.placesOf(c)
		for _, p := range places {
			for _, x := range c.forms {
				h := &hypothesis{cause: c, place: p, prior: x.share * c.weight / float64(len(places))}
				h.effects = m.effectsOf(x.rows, p)
				m.all = append(m.all, h)
			}
		}
	}
	sum := 0.0
	for _, h := range m.all {
		sum += h.prior
	}
	for _, h := range m.all {
		h.prior /= sum
		h.gain = m.gain(h.effects, nil)
	}
	return m
}

// placesOf are the places where a cause can lie.
func (m *model) placesOf(c *Cause) []place {
	relay := slices.ContainsFunc(m.facts.places, func(p place) bool { return p.relay != "" })
	if c.loaded && !relay || c.referenced && m.facts.unreferenced {
		return nil
	}
	if c.Of == OfRun {
		return []place{{}}
	}
	var all []place
	for _, p := range m.facts.places {
		if c.Of == OfOutput && p.output != "" && (!c.loaded || p.relay != "") || c.Of == OfRelay && p.relay != "" || c.Of == OfConverter && p.converter != "" {
			all = append(all, p)
		}
	}
	if c.Of == OfConverter && all == nil {
		return []place{{}} // it is not known which converter has what was counted
	}
	return all
}

// holds reports whether a relation is that of a fact to a place.
func (r relation) holds(x fact, p place) bool {
	if x.signal == "" || r == every {
		return true
	}
	return p.shows(x) == (r == here)
}

// effectsOf says how probable each fact is under a cause at a place.
func (m *model) effectsOf(rows []row, p place) []*effect {
	all := make([]*effect, len(m.facts.all))
	for i, row := range rows {
		var of []int
		for k, x := range m.facts.all {
			if x.kind == row.kind && all[k] == nil && row.at.holds(x, p) {
				of = append(of, k)
			}
		}
		odd, alike := 0, map[string]int{}
		for _, k := range of {
			if v := m.facts.all[k].value; v != usual {
				odd++
				alike[v]++
			}
		}
		for _, k := range of {
			x := m.facts.all[k]
			e := &effect{p: row.share[x.value], log: math.Log(row.share[x.value]), weight: 1, usual: x.value == usual}
			switch row.at {
			case others, every:
				e.weight = shared(x.value == usual, alike[x.value], odd, len(of))
			case another:
				e.group = i + 1
			}
			all[k] = e
		}
	}
	return all
}

// What several places show of one cause counts once, each value of it. Where some of them show it and others do
// not, each of those speaks against a cause that all of them have, but not as much as if it
// were by itself: its limits may be wider. Together they count so much at most.
const (
	spared     = 0.4
	sparedMost = 1.2
)

// shared is the weight of a fact that is one of n of one kind, so many of which are not usual, and so
// many of these alike.
func shared(usual bool, alike, odd, n int) float64 {
	switch {
	case odd == 0:
		return 1 / float64(n)
	case usual:
		return math.Min(spared, sparedMost/float64(n-odd))
	}
	return 1 / float64(alike)
}

// oftenSeen is from which probability on a value that is not usual has a cause of its own on a
// bench without a fault, as how much all outputs of a unit leak. Then several places show one
// thing there as well.
const oftenSeen = 0.01

// backgroundOf is the log probability of a fact where nothing concerns it, as it counts beside
// one that has a weight.
func (m *model) backgroundOf(i int, weight float64) float64 {
	if b := m.background[i]; m.facts.all[i].value != usual && b > math.Log(oftenSeen) {
		return weight * b
	}
	return m.background[i]
}

// gain is the log likelihood of all facts above the background's, under one cause or two.
func (m *model) gain(a, b []*effect) float64 {
	sum := 0.0
	var groups map[int][]float64
	for i := range m.facts.all {
		var x, y *effect
		x = a[i]
		if b != nil {
			y = b[i]
		}
		if x == nil {
			x, y = y, nil
		}
		switch {
		case x == nil:
		case y != nil:
			p, w := both(x, y)
			sum += w*math.Log(p) - m.backgroundOf(i, w)
		case x.group > 0:
			if groups == nil {
				groups = map[int][]float64{}
			}
			groups[x.group] = append(groups[x.group], x.p/math.Exp(m.background[i]))
		default:
			sum += x.weight*x.log - m.backgroundOf(i, x.weight)
		}
	}
	for _, ratios := range groups {
		mean := 0.0
		for _, r := range ratios {
			mean += r / float64(len(ratios))
		}
		sum += math.Log(mean)
	}
	return sum
}

// both is how probable a fact is under two causes: it is as it should be where neither changes
// it, and else as either makes it.
func both(x, y *effect) (p, weight float64) {
	weight = math.Max(x.weight, y.weight)
	if x.usual {
		return math.Max(floor, x.p*y.p), weight
	}
	return 1 - (1-x.p)*(1-y.p), weight
}

// shares returns the hypotheses by their shares, the largest first.
func (m *model) shares() []*hypothesis {
	healthy := m.table.healthy
	weights := 0.0
	for _, c := range m.table.causes {
		weights += c.weight
	}
	type combined struct {
		a, b *hypothesis
		log  float64
	}
	all := []combined{{nil, nil, math.Log(healthy / weights)}}
	for _, h := range m.all {
		all = append(all, combined{h, nil, math.Log(h.prior) + h.gain})
	}
	slices.SortStableFunc(m.all, func(a, b *hypothesis) int {
		return cmp.Compare(math.Log(b.prior)+b.gain, math.Log(a.prior)+a.gain)
	})
	for i, a := range m.all[:min(seconds, len(m.all))] {
		for k, b := range m.all[:min(partners, len(m.all))] {
			if k <= i || a.cause == b.cause && a.place == b.place || a.cause.Name == Else || b.cause.Name == Else {
				continue
			}
			all = append(all, combined{a, b, math.Log(m.table.second*a.prior*b.prior) + m.gain(a.effects, b.effects)})
		}
	}
	most := math.Inf(-1)
	for _, c := range all {
		most = math.Max(most, c.log)
	}
	sum, nothing := 0.0, 0.0
	for _, c := range all {
		sum += math.Exp(c.log - most)
	}
	for _, c := range all {
		s := math.Exp(c.log-most) / sum
		switch {
		case c.a == nil:
			nothing = s
		case c.b == nil:
			c.a.share += s
		default:
			c.a.share += s / 2
			c.b.share += s / 2
		}
	}
	if nothing > 0.5 {
		return nil
	}
	slices.SortStableFunc(m.all, func(a, b *hypothesis) int { return cmp.Compare(b.share, a.share) })
	return merged(m.all)
}

// merged puts the forms of one cause at one place together, the largest share first. What lies between
// two places is one thing, whichever of both it is told of.
func merged(all []*hypothesis) []*hypothesis {
	var out []*hypothesis
	for _, h := range all {
		i := slices.IndexFunc(out, func(o *hypothesis) bool { return o.cause == h.cause && (o.place == h.place || h.cause.mutual) })
		if i < 0 {
			out = append(out, h)
		} else {
			out[i].share += h.share
		}
	}
	slices.SortStableFunc(out, func(a, b *hypothesis) int { return cmp.Compare(b.share, a.share) })
	return out
}
