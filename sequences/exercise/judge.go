package exercise

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"makebreak/rig/sim"
	"makebreak/rig/task"
	"makebreak/rig/words"
)

// hypothesis is one answer to an exercise with one way in which it is simulated: an answer on
// the list, or a state of two faults.
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

// words name the hypothesis for people, with the words that its values are.
func (h *hypothesis) words() string {
	var all []string
	for i, a := range h.answers {
		if i < len(h.faults) && len(h.faults[i].Choices) > 0 {
			a.Cause += "=" + h.faults[i].Choices[0]
		}
		all = append(all, a.String())
	}
	return words.And(all)
}

// hypotheses are all answers that can be right as far as a trainee knows.
func (d *Definition) hypotheses() (all []hypothesis) {
	for _, a := range d.Answers {
		h := hypothesis{answers: []Answer{a}}
		if a.Cause != Nothing {
			h.faults = []FaultRange{d.rangeOf(a)}
		}
		all = append(all, h.variants()...)
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
				all = append(all, h.variants()...)
			}
		}
	}
	return all
}

// variants are a hypothesis for each word that the values of its faults can be: an output that
// acts in another's place is one bench or another, and nothing between.
func (h hypothesis) variants() []hypothesis {
	all := []hypothesis{{answers: h.answers}}
	for _, f := range h.faults {
		choices := f.Choices
		if len(choices) == 0 {
			choices = []string{""}
		}
		var longer []hypothesis
		for _, before := range all {
			for _, c := range choices {
				one := f
				if c != "" {
					one.Choices = []string{c}
				}
				longer = append(longer, hypothesis{h.answers, append(slices.Clone(before.faults), one)})
			}
		}
		all = longer
	}
	return all
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
	if info := planted()[a.Cause]; info.Value.Measured() {
		f.Low, f.High = info.Lowest, info.Highest
	}
	return at(f)
}

// benches is how many benches stand for an answer: nobody knows how exactly the one at hand
// is made. fleetingBenches are those of one with a fault that comes and goes.
const benches, fleetingBenches = 9, 36

// fleeting are the faults that come and go at any time, whatever the bench does: what a run shows
// of one depends on when it comes.
var fleeting = map[string]bool{"loose-wire": true}

// fleeting reports whether a hypothesis has a fault that comes and goes.
func (h *hypothesis) fleeting() bool {
	return slices.ContainsFunc(h.faults, func(f FaultRange) bool { return fleeting[f.Cause] })
}

// benches is how many benches stand for a hypothesis.
func (h *hypothesis) benches() int {
	if h.fleeting() {
		return fleetingBenches
	}
	return benches
}

// judge compares what a bench shows with what it would show under each answer.
type judge struct {
	def        *Definition
	hypotheses []hypothesis
	probes     []Action
	learned    map[string][][]shown // by the changes made and a run's cycles: of each hypothesis its benches
}

// newJudge returns a judge that also knows the trainee's own measurements.
func newJudge(d *Definition, done []Action) *judge {
	j := &judge{def: d, hypotheses: d.hypotheses(), probes: d.probes(), learned: map[string][][]shown{}}
	for _, a := range done {
		if a.Kind == Probe && !slices.ContainsFunc(j.probes, func(p Action) bool { return p.key() == a.key() }) {
			j.probes = append(j.probes, a)
		}
	}
	return j
}

// are is the hypotheses that these answers are.
func (j *judge) are(answers []Answer) (s set) {
	for i := range j.hypotheses {
		if sameAnswers(j.hypotheses[i].answers, answers) {
			s |= 1 << i
		}
	}
	return s
}

// answersOf are the different answers of hypotheses, in their order.
func (j *judge) answersOf(s set) (all [][]Answer) {
	for i := range j.hypotheses {
		a := j.hypotheses[i].answers
		if s.has(i) && !slices.ContainsFunc(all, func(b []Answer) bool { return sameAnswers(a, b) }) {
			all = append(all, a)
		}
	}
	return all
}

// learn simulates each of the answers wanted on benches with these changes and runs of so many
// cycles. What is known already is not simulated again. Benches on which nothing is wrong are
// always among them.
func (j *judge) learn(ctx context.Context, changes []sim.Change, cycles int, wanted set) ([][]shown, error) {
	key := fmt.Sprint(cycles, " ", changesKey(changes))
	all := j.learned[key]
	if all == nil {
		all = make([][]shown, len(j.hypotheses))
		j.learned[key] = all
	}
	type job struct{ hypothesis, bench int }
	var jobs []job
	fresh := make([][]shown, len(all))
	for i := range all {
		if all[i] != nil || !(wanted | 1).has(i) {
			continue
		}
		fresh[i] = make([]shown, j.hypotheses[i].benches())
		for n := range fresh[i] {
			jobs = append(jobs, job{i, n})
		}
	}
	err := inParallel(len(jobs), func(k int) error {
		x := jobs[k]
		s, err := j.specimen(&j.hypotheses[x.hypothesis], x.bench)
		if err != nil {
			return err
		}
		s.changes = changes
		fresh[x.hypothesis][x.bench], err = s.observe(ctx, cycles, j.probes)
		return err
	})
	if err != nil {
		return nil, err
	}
	for i := range fresh {
		if fresh[i] != nil {
			all[i] = fresh[i]
		}
	}
	return all, nil
}

// changesKey tells changes from others.
func changesKey(changes []sim.Change) string {
	return strings.Join(words.Texts(changes, sim.Change.String), "\n")
}

// inParallel calls do for 0 to n-1 on all processors.
func inParallel(n int, do func(int) error) error {
	errs := make([]error, n)
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		wait.Add(1)
		task.Go(func() {
			defer wait.Done()
			for {
				k := int(next.Add(1)) - 1
				if k >= n {
					return
				}
				if errs[k] = do(k); errs[k] != nil {
					return
				}
			}
		})
	}
	wait.Wait()
	return errors.Join(errs...)
}

// specimen is the n-th bench of an answer. Its values are at the ends and in the middle of
// their ranges.
func (j *judge) specimen(h *hypothesis, n int) (*specimen, error) {
	sum := fnv.New64a()
	sum.Write([]byte(j.def.Name + "\x00" + h.String()))
	for _, f := range h.faults {
		sum.Write([]byte(strings.Join(f.Choices, " ")))
	}
	rng := rand.New(rand.NewPCG(sum.Sum64(), uint64(n)))
	s := &specimen{def: j.def, seed: rng.Uint64() >> 1}
	s.meter = s.seed
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
	key   string // of the sight
	by    sight
	times float64 // how many margins the figure lies beyond
	other span    // what it would be under the answer
}

// tolerances is by how many times what benches of one answer differ a figure must lie beyond
// all of them to speak against the answer: the one at hand may differ more than the few that
// were drawn.
//
// What differs from time to time on one bench must lie further beyond.
const tolerances, wildTolerances = 1.0, 6.0

// excludes says what in sights speaks most against an answer whose benches show these; nil:
// they fit it. usual are benches on which nothing is wrong.
func excludes(seen sights, learned, usual population) *contradiction {
	var most *contradiction
	for key := range seen {
		c := against(key, seen, learned, usual)
		if c != nil && (most == nil || c.times > most.times || c.times == most.times && c.by.of < most.by.of) {
			most = c
		}
	}
	return most
}

// against is excludes for one of the sights.
func against(key string, seen sights, learned, usual population) *contradiction {
	x, p := seen[key], learned.of(key)
	if p.low > p.high {
		return nil // the share of cycles without it tells
	}
	times := tolerances
	if x.wild || learned.fleeting {
		times = wildTolerances
	}
	margin := x.uncertainty + p.uncertainty + times*max(p.spread, usual.of(key).spread) + 1e-3*math.Abs(x.value) + 1e-9
	beyond := max(p.low-x.value, x.value-p.high) / margin
	if beyond <= 1 {
		return nil
	}
	return &contradiction{key, x, beyond, p}
}

// population is what an action shows on the benches of one answer. Those of which the index
// is the same modulo groups have the same values of their faults.
type population struct {
	sights   []sights
	groups   int
	fleeting bool // what all of them show differs from time to time
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
		if learned[i] != nil && j.excludes(action, seen, learned, i) != nil {
			s |= 1 << i
		}
	}
	return s
}

// excludes says what in what an action shows speaks against a hypothesis; nil: nothing.
func (j *judge) excludes(action string, seen sights, learned [][]shown, hypothesis int) *contradiction {
	return excludes(seen, j.population(action, learned, hypothesis), j.population(action, learned, 0))
}

// against says whether one figure of what an action shows speaks against a hypothesis.
func (j *judge) against(key, action string, seen sights, learned [][]shown, hypothesis int) bool {
	return against(key, seen, j.population(action, learned, hypothesis), j.population(action, learned, 0)) != nil
}

// population is what an action shows under a hypothesis.
func (j *judge) population(action string, learned [][]shown, hypothesis int) population {
	h := &j.hypotheses[hypothesis]
	p := population{groups: h.groups(), fleeting: h.fleeting()}
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
