package exercise

import (
	"context"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"makebreak/rig/sim"
	"makebreak/rig/words"
)

// hypothesis is one answer to an exercise with how it is simulated: an answer on the list,
// or a state of two faults.
type hypothesis struct {
	answers []Answer
	faults  []FaultRange
}

// String names the hypothesis.
func (h *hypothesis) String() string {
	var all []string
	for _, a := range h.answers {
		all = append(all, a.String())
	}
	return strings.Join(all, " ")
}

// hypotheses are all answers that can be right as far as a trainee knows.
func (d *Definition) hypotheses() (all []hypothesis) {
	for _, a := range d.Answers {
		h := hypothesis{answers: []Answer{a}}
		if a.Cause != Nothing {
			h.faults = []FaultRange{d.rangeOf(a)}
		}
		all = append(all, h)
	}
	for _, s := range d.States {
		if len(s.Faults) < 2 {
			continue
		}
		for _, places := range combinations(s.Faults) {
			h := hypothesis{}
			for i, f := range s.Faults {
				f.Places = nil
				if places[i] != "" {
					f.Places = []string{places[i]}
				}
				h.faults = append(h.faults, f)
				h.answers = append(h.answers, Answer{f.Cause, places[i]})
			}
			if !slices.ContainsFunc(all, func(x hypothesis) bool { return sameAnswers(x.answers, h.answers) }) {
				all = append(all, h)
			}
		}
	}
	return all[:min(len(all), maxAnswers)]
}

// combinations are the places that several faults can have together.
func combinations(faults []FaultRange) [][]string {
	all := [][]string{nil}
	for _, f := range faults {
		places := f.Places
		if len(places) == 0 {
			places = []string{""}
		}
		var longer [][]string
		for _, before := range all {
			for _, p := range places {
				longer = append(longer, append(slices.Clone(before), p))
			}
		}
		all = longer
	}
	return all
}

// sameAnswers compares answers without regard to their order.
func sameAnswers(a, b []Answer) bool {
	return len(a) == len(b) && !slices.ContainsFunc(a, func(x Answer) bool { return !slices.Contains(b, x) })
}

// rangeOf is how an answer is simulated: as the states draw it where one has it, else over
// the values that a bench meets.
func (d *Definition) rangeOf(a Answer) FaultRange {
	at := func(f FaultRange) FaultRange {
		if f.Places = nil; a.Place != "" {
			f.Places = []string{a.Place}
		}
		return f
	}
	for _, s := range d.States {
		for _, f := range s.Faults {
			if f.Cause == a.Cause {
				return at(f)
			}
		}
	}
	if f, ok := d.ranges[a.Cause]; ok {
		return at(f)
	}
	f := FaultRange{Cause: a.Cause}
	for _, info := range sim.Faults() {
		if info.Name == a.Cause && info.Value.Measured() {
			f.Low, f.High = info.Lowest, info.Highest
		}
	}
	return at(f)
}

// benches is how many benches stand for an answer: nobody knows how exactly the one at hand
// is made.
const benches = 9

// judge compares what a bench shows with what it would show under each answer.
type judge struct {
	def        *Definition
	hypotheses []hypothesis
	probes     []Action
	benches    int
	learned    map[string][][]shown // by the changes made: of each hypothesis its benches
}

// newJudge returns a judge that also knows the trainee's own measurements.
func newJudge(d *Definition, done []Action) *judge {
	j := &judge{def: d, hypotheses: d.hypotheses(), probes: d.probes(), benches: benches, learned: map[string][][]shown{}}
	for _, a := range done {
		if a.Kind == Probe && !slices.ContainsFunc(j.probes, func(p Action) bool { return p.key() == a.key() }) {
			j.probes = append(j.probes, a)
		}
	}
	return j
}

// index is the hypothesis that these answers are; -1: none.
func (j *judge) index(answers []Answer) int {
	return slices.IndexFunc(j.hypotheses, func(h hypothesis) bool { return sameAnswers(h.answers, answers) })
}

// learn simulates each answer on a bench with these changes.
func (j *judge) learn(ctx context.Context, changes []sim.Change) ([][]shown, error) {
	key := strings.Join(words.Texts(changes, sim.Change.String), "\n")
	if all, ok := j.learned[key]; ok {
		return all, nil
	}
	all := make([][]shown, len(j.hypotheses))
	for i := range j.hypotheses {
		h := &j.hypotheses[i]
		for n := range j.benches {
			s, err := j.specimen(h, n)
			if err != nil {
				return nil, err
			}
			s.changes = changes
			x, err := s.observe(ctx, j.probes)
			if err != nil {
				return nil, err
			}
			all[i] = append(all[i], x)
		}
	}
	j.learned[key] = all
	return all, nil
}

// specimen is the n-th bench of an answer. Its values are at the ends and in the middle of
// their ranges.
func (j *judge) specimen(h *hypothesis, n int) (*specimen, error) {
	sum := fnv.New64a()
	sum.Write([]byte(j.def.Name + "\x00" + h.String()))
	rng := rand.New(rand.NewPCG(sum.Sum64(), uint64(n)))
	s := &specimen{def: j.def, seed: rng.Uint64() >> 1}
	for i := range h.faults {
		share := shares[n%len(shares)]
		if i%2 == 1 {
			share = 1 - share
		}
		f, err := h.faults[i].at(share, rng)
		if err != nil {
			return nil, ErrState
		}
		s.faults = append(s.faults, f)
	}
	return s, nil
}

// set is some of the hypotheses, one bit each.
type set uint64

func (s set) has(i int) bool { return s&(1<<i) != 0 }

// contradiction is what speaks most against an answer in what an action shows.
type contradiction struct {
	by    sight
	times float64 // how many margins the figure lies beyond
}

// tolerances is by how many times what benches of one answer differ a figure must lie beyond
// all of them to speak against the answer: the one at hand may differ more than the few that
// were drawn.
const tolerances = 2

// excludes says what in sights speaks most against an answer whose benches show these; nil:
// they fit it. usual are benches on which nothing is wrong.
func excludes(seen sights, learned, usual population) *contradiction {
	var most *contradiction
	for key, x := range seen {
		p := learned.of(key)
		if p.low > p.high {
			continue // the share of cycles without it tells
		}
		margin := x.uncertainty + p.uncertainty + tolerances*max(p.spread, usual.of(key).spread) + 1e-3*math.Abs(x.value) + 1e-9
		beyond := max(p.low-x.value, x.value-p.high) / margin
		if beyond > 1 && (most == nil || beyond > most.times || beyond == most.times && x.of < most.by.of) {
			most = &contradiction{x, beyond}
		}
	}
	return most
}

// population is what an action shows on the benches of one answer. Those of which the index
// is the same modulo groups have the same values of their faults.
type population struct {
	sights []sights
	groups int
}

// span is how far a figure goes on the benches of one answer.
type span struct {
	low, high   float64 // low is above high where no bench has it
	spread      float64 // how far benches with faults of the same values lie apart
	uncertainty float64 // expanded
}

func newSpan() span { return span{low: math.Inf(1), high: math.Inf(-1)} }

func (s *span) add(x sight) {
	s.low, s.high, s.uncertainty = min(s.low, x.value), max(s.high, x.value), max(s.uncertainty, x.uncertainty)
}

func (p population) of(key string) span {
	all := newSpan()
	for g := range p.groups {
		alike := newSpan()
		for i := g; i < len(p.sights); i += p.groups {
			if x, there := p.sights[i][key]; there {
				all.add(x)
				alike.add(x)
			}
		}
		if alike.high > alike.low {
			all.spread = max(all.spread, alike.high-alike.low)
		}
	}
	return all
}

// excluded are the hypotheses that what an action shows speaks against.
func (j *judge) excluded(action string, seen sights, learned [][]shown) (s set) {
	for i := range learned {
		if j.excludes(action, seen, learned, i) != nil {
			s |= 1 << i
		}
	}
	return s
}

// excludes says what in what an action shows speaks against a hypothesis; nil: nothing.
func (j *judge) excludes(action string, seen sights, learned [][]shown, hypothesis int) *contradiction {
	return excludes(seen, j.population(action, learned, hypothesis), j.population(action, learned, 0))
}

// population is what an action shows under a hypothesis.
func (j *judge) population(action string, learned [][]shown, hypothesis int) population {
	p := population{groups: j.hypotheses[hypothesis].groups()}
	for _, b := range learned[hypothesis] {
		p.sights = append(p.sights, b[action])
	}
	return p
}

// shares are the places in their ranges at which values are simulated.
var shares = []float64{0, 1, 0.5}

// groups is how many values of its faults a hypothesis is simulated with.
func (h *hypothesis) groups() int {
	if slices.ContainsFunc(h.faults, func(f FaultRange) bool { return f.High > f.Low }) {
		return len(shares)
	}
	return 1
}
