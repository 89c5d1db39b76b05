package exercise

import (
	"cmp"
	"context"
	"fmt"
	"hash/fnv"
	"math/bits"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"makebreak/rig/sim"
)

// CheckDraws is how many states are drawn to check an exercise.
const CheckDraws = 200

// Checked is what a check of an exercise has found.
type Checked struct {
	Definition *Definition
	Draws      int
	Answers    int // that were compared with each draw
	Truths     []CheckedTruth
}

// CheckedTruth is what was found of one answer, where it was the right one.
type CheckedTruth struct {
	Truth []Answer
	Draws int
	// Ways are the shortest ones, the most frequent first.
	Ways []CheckedWay
	// Alike are the answers that nothing told from the right one in some of the draws.
	Alike []CheckedAlike
	// Refuted is in how many draws what a bench shows spoke against the right answer itself, as
	// its values scatter more than the benches drawn for the comparison.
	Refuted int
}

// CheckedWay is one shortest way to a right answer.
type CheckedWay struct {
	Way   []Action
	Shows []string // what each action shows in one draw, against one of the answers that it excludes
	Cost  time.Duration
	Draws int
}

// CheckedAlike is an answer that was not told from the right one.
type CheckedAlike struct {
	Answer []Answer
	Draws  int
}

// Passed reports whether each fault was told from every other answer in all draws.
func (c *Checked) Passed() bool {
	return !slices.ContainsFunc(c.Truths, func(t CheckedTruth) bool { return len(t.Alike) > 0 })
}

// Check draws hidden states, simulates each and every other answer, and compares what the
// allowed actions show. done is called after each draw; nil: nobody wants to know.
func (d *Definition) Check(ctx context.Context, draws int, done func(n int)) (*Checked, error) {
	j := newJudge(d, nil)
	all := &Checked{Definition: d, Draws: draws, Answers: len(j.answersOf(set(1)<<len(j.hypotheses) - 1))}
	byTruth := make([]CheckedTruth, len(j.hypotheses))
	sum := fnv.New64a()
	sum.Write([]byte("check\x00" + d.Name))
	for n := range draws {
		x, err := d.draw(rand.New(rand.NewPCG(sum.Sum64(), uint64(n))))
		if err != nil {
			return nil, ErrState
		}
		w := &weighing{judge: j, bench: &specimen{def: d, seed: x.Seed, meter: x.Seed, faults: x.Faults}, truth: j.are(x.Truth), seen: map[string]shown{}}
		if w.truth == 0 {
			return nil, ErrState
		}
		t := &byTruth[bits.TrailingZeros64(uint64(w.truth))]
		t.Truth = x.Truth
		if err := w.check(ctx, t); err != nil {
			return nil, err
		}
		if done != nil {
			done(n + 1)
		}
	}
	for _, t := range byTruth {
		if t.Draws > 0 {
			slices.SortStableFunc(t.Ways, func(a, b CheckedWay) int { return cmp.Compare(b.Draws, a.Draws) })
			all.Truths = append(all.Truths, t)
		}
	}
	return all, nil
}

// check adds one draw to what is known of its answer.
func (w *weighing) check(ctx context.Context, t *CheckedTruth) error {
	way, left, refuted, err := w.way(ctx)
	if err != nil {
		return err
	}
	t.Draws++
	if refuted {
		t.Refuted++
	}
	for _, answers := range w.judge.answersOf(left) {
		t.alike(answers)
	}
	if left != 0 {
		return nil
	}
	var found CheckedWay
	found.Way, found.Shows = told(way)
	found.Cost = total(way) + costs[ReadCard]
	t.way(found)
	return nil
}

func (t *CheckedTruth) alike(answers []Answer) {
	for i := range t.Alike {
		if sameAnswers(t.Alike[i].Answer, answers) {
			t.Alike[i].Draws++
			return
		}
	}
	t.Alike = append(t.Alike, CheckedAlike{answers, 1})
}

func (t *CheckedTruth) way(found CheckedWay) {
	found.Draws = 1
	key := func(w CheckedWay) string {
		var all []string
		for _, a := range w.Way {
			all = append(all, a.key())
		}
		return strings.Join(all, "\n")
	}
	for i := range t.Ways {
		if key(t.Ways[i]) == key(found) {
			t.Ways[i].Draws++
			return
		}
	}
	t.Ways = append(t.Ways, found)
}

// way finds the shortest way on the bench. left are the answers that nothing excludes;
// refuted says that something excludes the right one. Changes are tried only where what can
// be seen without them does not tell all answers: each takes longer than to look, and a run
// after it.
func (w *weighing) way(ctx context.Context) (way []step, left set, refuted bool, err error) {
	steps, err := w.steps(ctx, nil)
	if err != nil {
		return nil, 0, false, err
	}
	left = w.others()
	for _, s := range steps {
		left &^= s.out
		refuted = refuted || s.out&w.truth == w.truth
	}
	if left != 0 && slices.Contains(w.judge.def.Allowed, Change) {
		for _, c := range w.judge.def.ChangeChoices() {
			more, err := w.changed(ctx, c.Value, left)
			if err != nil {
				return nil, 0, false, err
			}
			if more.out&left == 0 {
				continue
			}
			steps, left = append(steps, more), left&^more.out
			if left == 0 {
				break
			}
		}
	}
	return shortest(steps, w.others()), left, refuted, nil
}

// changed is a change and a run after it as one step. One that this bench cannot have, or
// that is dangerous on it, tells nothing.
func (w *weighing) changed(ctx context.Context, text string, wanted set) (step, error) {
	c, err := sim.ParseChange(text)
	if err != nil {
		return step{}, err
	}
	bench := *w.bench
	bench.changes = []sim.Change{c}
	world, err := bench.world()
	if err != nil || len(world.Dangers(0)) > 0 {
		return step{}, nil
	}
	seen, learned, err := w.at(ctx, bench.changes, wanted)
	if err != nil {
		return step{}, err
	}
	try := (&Action{Kind: Try}).key()
	s := step{action: Action{Kind: Change, Change: text}, cost: changeCosts[c.Kind] + w.judge.def.cost(Action{Kind: Try})}
	s.out = w.judge.excluded(try, seen[try], learned) & wanted
	s.shows = func(out set) string { return w.judge.shows(try, seen[try], learned, out) }
	return s, nil
}

// mostTold is how many figures are told of one action.
const mostTold = 3

// shows says what an action shows against hypotheses that it excludes, and what it would show under
// them: of each figure one of those that no figure before it excludes.
func (j *judge) shows(action string, seen sights, learned [][]shown, out set) string {
	var keys, told []string
	for i := range j.hypotheses {
		known := func(key string) bool { return j.against(key, action, seen, learned, i) }
		if !out.has(i) || slices.ContainsFunc(keys, known) {
			continue
		}
		x := j.excludes(action, seen, learned, i)
		where := "where nothing is wrong"
		if h := &j.hypotheses[i]; h.answers[0].Cause != Nothing {
			where = "with " + h.words()
		}
		keys, told = append(keys, x.key), append(told, fmt.Sprintf("%s, but %s %s", x.by, x.by.between(x.other), where))
		if len(told) == mostTold {
			break
		}
	}
	return strings.Join(told, "; ")
}
