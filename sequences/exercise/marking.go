package exercise

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"makebreak/rig/problem"
	"makebreak/rig/sim"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// Marks are what an answer was worth, and what led to it.
type Marks struct {
	Points int `json:"points"`
	Of     int `json:"of"`
	// Right of the answers are right in cause and place, Half in one of them; Wrong are the
	// others as they were given. The log holds no right ones: others may get the same bench.
	Right int      `json:"right"`
	Half  int      `json:"half"`
	Wrong []string `json:"wrong"`
	// Short says that fewer things were given than are wrong.
	Short bool `json:"short"`

	Spent   time.Duration `json:"spent_ns"` // bench time
	Actions int           `json:"actions"`
	Dangers []string      `json:"dangers"` // codes, one each time
	// Shortest is the bench time of the shortest way that was found, 0: none was; Way is what
	// it does.
	Shortest time.Duration `json:"shortest_ns"`
	Way      []Action      `json:"way"`
	// Possible is how many answers fitted all that the trainee had seen, the right one among
	// them; 1: nothing else was left. 0: not known, as on a real rig.
	Possible int `json:"possible"`

	// What follows is for the trainee only and does not stand in the log.
	Truth   []Answer  `json:"-"`
	Shows   []string  `json:"-"` // by the actions of Way: what each shows, against another answer
	Fitting []Answer  `json:"-"` // wrong answers that fitted all that was seen
	Telling []Telling `json:"-"` // what tells the truth from them, and from what was answered
}

// Telling is what would have told the truth from another answer.
type Telling struct {
	From   []Answer
	Action Action
	Shows  string // what it shows, with its figure
}

// give marks the trainee's answer.
func (s *Session) give(ctx context.Context, a Action, r *Result) error {
	if err := s.def.checkAnswers(a.Answer); err != nil {
		return err
	}
	m, err := s.mark(ctx, a.Answer)
	if err != nil {
		return err
	}
	r.Marks = m
	x, err := s.stepOf(r)
	if err != nil {
		return err
	}
	text, err := json.Marshal(m)
	if err != nil {
		return err
	}
	if err := s.db.EndExercise(s.row, x, text); err != nil {
		return err
	}
	s.took(x, r)
	return nil
}

// checkAnswers refuses answers that cannot be given together, or by which no bench can be described.
func (d *Definition) checkAnswers(all []Answer) error {
	if len(all) == 0 || len(all) > mostFaults {
		return problem.New(problem.Usage, fmt.Sprintf("give one answer, or %d where several things are wrong", mostFaults))
	}
	for i, x := range all {
		switch {
		case !slices.Contains(d.Answers, x):
			return problem.New(problem.Usage, fmt.Sprintf("answer %q is not on the list: %s", words.Short(x.String(), words.MostName), d.nearestAnswers(x.String())))
		case slices.Contains(all[:i], x):
			return problem.New(problem.Usage, fmt.Sprintf("answer %s is given twice", x))
		case x.Cause == Nothing && len(all) > 1:
			return problem.New(problem.Usage, "nothing is wrong is an answer by itself")
		}
	}
	return nil
}

// mark marks answers.
func (s *Session) mark(ctx context.Context, given []Answer) (*Marks, error) {
	truth := s.hidden.Truth
	m := &Marks{Of: s.def.Points.Right, Spent: s.deeds.Spent, Actions: len(s.deeds.Done), Truth: truth, Wrong: []string{}, Dangers: append([]string{}, s.deeds.Dangers...), Way: []Action{}}
	m.score(given, truth, s.def.Points)
	m.Points = max(0, m.Points-len(m.Dangers)*s.def.Points.Danger)
	if s.row.Rig != "" {
		return m, nil // how a real unit differs from the simulated one is not known
	}
	return m, s.weigh(ctx, m, given)
}

// score counts what is right and gives its points. Each fault is worth the same share; an
// answer too many takes as much away.
func (m *Marks) score(given, truth []Answer, p Points) {
	left := slices.Clone(truth)
	take := func(same func(a, b Answer) bool) (n int, rest []Answer) {
		for _, g := range given {
			i := slices.IndexFunc(left, func(t Answer) bool { return same(g, t) })
			if i < 0 {
				rest = append(rest, g)
				continue
			}
			left = slices.Delete(left, i, i+1)
			n++
		}
		return n, rest
	}
	m.Right, given = take(func(a, b Answer) bool { return a == b })
	m.Half, given = take(func(a, b Answer) bool { return a.Cause == b.Cause })
	halfByPlace, given := take(func(a, b Answer) bool { return a.Place != "" && a.Place == b.Place })
	m.Half += halfByPlace
	for _, g := range given {
		m.Wrong = append(m.Wrong, g.String())
	}
	m.Short = m.Right+m.Half+len(m.Wrong) < len(truth)
	parts := max(len(truth), m.Right+m.Half+len(m.Wrong))
	m.Points = (m.Right*p.Right + m.Half*p.Half) / parts
}

// weigh finds the shortest way, and how much of an answer was luck.
func (s *Session) weigh(ctx context.Context, m *Marks, given []Answer) error {
	j := newJudge(s.def, s.deeds.Done)
	truth := j.are(s.hidden.Truth)
	if truth == 0 {
		return ErrState
	}
	bench, err := s.specimen()
	if err != nil {
		return err
	}
	bench.changes, bench.take = nil, 0
	w := &weighing{judge: j, bench: bench, truth: truth, seen: map[string]shown{}}
	if err := w.shortest(ctx, m); err != nil {
		return err
	}
	done, err := s.seen()
	if err != nil {
		return err
	}
	return w.luck(ctx, m, done, given)
}

// seen is what has been done, each run with as many cycles as it came to: one that was interrupted
// has shown less, and one without a whole cycle nothing.
func (s *Session) seen() ([]Action, error) {
	done := slices.Clone(s.deeds.Done)
	for i := range done {
		if done[i].Kind != Try {
			continue
		}
		rec, err := s.db.Find(s.deeds.Steps[i].Run)
		switch {
		case errors.Is(err, journal.ErrNoRun): // deleted since
		case err != nil:
			return nil, err
		default:
			done[i].Cycles, done[i].Stopped = rec.Cycles, rec.Cycles == 0
		}
	}
	return done, nil
}

// weighing compares one bench with all answers.
type weighing struct {
	judge *judge
	bench *specimen
	truth set              // its hypotheses
	seen  map[string]shown // what the bench shows, by the changes made
}

// others are all answers but the right one.
func (w *weighing) others() set {
	return w.all() &^ w.truth
}

// all are all answers.
func (w *weighing) all() set { return set(1)<<len(w.judge.hypotheses) - 1 }

// at is what the bench shows with changes made, and what each answer's benches show.
func (w *weighing) at(ctx context.Context, changes []sim.Change, wanted set) (shown, [][]shown, error) {
	learned, err := w.judge.learn(ctx, changes, w.judge.def.Sequence.Cycles, wanted)
	if err != nil {
		return nil, nil, err
	}
	key := changesKey(changes)
	seen, known := w.seen[key]
	if !known {
		bench := *w.bench
		bench.changes = changes
		if seen, err = bench.observe(ctx, w.judge.def.Sequence.Cycles, w.judge.probes); err != nil {
			return nil, nil, err
		}
		w.seen[key] = seen
	}
	return seen, learned, nil
}

// steps are all actions on the bench with changes made, as the shortest way counts them. The
// card is read in any case.
func (w *weighing) steps(ctx context.Context, changes []sim.Change) ([]step, error) {
	seen, learned, err := w.at(ctx, changes, w.all())
	if err != nil {
		return nil, err
	}
	var all []step
	for _, a := range w.judge.def.actions(w.judge.probes) {
		if x, there := seen[a.key()]; there {
			out := w.judge.excluded(a.key(), x, learned)
			all = append(all, step{a, w.judge.def.cost(a), out, func(out set) string { return w.judge.shows(a.key(), x, learned, out) }})
		}
	}
	return all, nil
}

// shortest finds the shortest way on the bench as it was drawn.
func (w *weighing) shortest(ctx context.Context, m *Marks) error {
	way, left, _, err := w.way(ctx)
	if err != nil {
		return err
	}
	m.Way, m.Shows = told(way)
	if left == 0 {
		m.Shortest = total(way) + costs[ReadCard]
	}
	return nil
}

// luck counts the answers that fitted all that was seen, and says what would have told them.
func (w *weighing) luck(ctx context.Context, m *Marks, done []Action, given []Answer) error {
	fits := w.others()
	for _, i := range w.inTurn(done) {
		if fits == 0 {
			break
		}
		out, err := w.saw(ctx, done, i, fits)
		if err != nil {
			return err
		}
		fits &^= out
	}
	wrong := w.judge.answersOf(fits)
	m.Possible = 1 + len(wrong)
	for _, answers := range wrong {
		m.Fitting = append(m.Fitting, answers...)
	}
	tell := fits | w.judge.are(given)&^w.truth
	return w.tell(ctx, m, tell)
}

// inTurn are the places in a list of the actions that show something. Those that take the least
// to compare come first: what they exclude need not be simulated for the others.
func (w *weighing) inTurn(done []Action) (places []int) {
	for i := range done {
		if done[i].observes() && !done[i].Stopped {
			places = append(places, i)
		}
	}
	cycles := func(i int) int {
		n := w.judge.def.cyclesOf(&done[i])
		if n == w.judge.def.Sequence.Cycles {
			return 0 // known in any case
		}
		return n
	}
	slices.SortStableFunc(places, func(a, b int) int { return cmp.Compare(cycles(a), cycles(b)) })
	return places
}

// saw is which of the hypotheses wanted are excluded by what a trainee saw of one action, on the
// bench as it then stood.
func (w *weighing) saw(ctx context.Context, done []Action, i int, wanted set) (set, error) {
	a, bench := &done[i], *w.bench
	var err error
	if bench.changes, err = changesIn(done[:i]); err != nil {
		return 0, err
	}
	bench.take = takesOf(done[:i])
	seen, err := bench.shows(ctx, a)
	if err != nil {
		return 0, err
	}
	learned, err := w.judge.learn(ctx, bench.changes, w.judge.def.cyclesOf(a), wanted)
	if err != nil {
		return 0, err
	}
	return w.judge.excluded(a.key(), seen, learned), nil
}

// tell says what tells the truth from answers, by the cheapest action that does.
func (w *weighing) tell(ctx context.Context, m *Marks, from set) error {
	seen, learned, err := w.at(ctx, nil, w.all())
	if err != nil {
		return err
	}
	for _, answers := range w.judge.answersOf(from) {
		if t := w.cheapest(answers, seen, learned); t != nil {
			m.Telling = append(m.Telling, *t)
		}
	}
	return nil
}

// cheapest is the cheapest action that tells the truth from an answer; nil: none does by
// itself.
func (w *weighing) cheapest(answers []Answer, seen shown, learned [][]shown) (best *Telling) {
	var cost time.Duration
	are := w.judge.are(answers)
	for _, a := range w.judge.def.actions(w.judge.probes) {
		c := w.judge.def.cost(a)
		if best != nil && c >= cost {
			continue
		}
		out := w.judge.excluded(a.key(), seen[a.key()], learned)
		if out&are == are {
			best, cost = &Telling{From: answers, Action: a, Shows: w.judge.shows(a.key(), seen[a.key()], learned, are)}, c
		}
	}
	return best
}

// String writes what was seen, with its figure.
func (x sight) String() string { return x.of + " " + x.figure(x.value) }

// figure writes a value of what was seen.
func (x sight) figure(v float64) string {
	if isContact(x.of) {
		return map[bool]string{true: "closed", false: "open"}[v > 0.5]
	}
	return strings.TrimSpace(x.kind.Short(v, 3))
}

// between writes what it is elsewhere.
func (x sight) between(s span) string {
	low, high := x.figure(s.low), x.figure(s.high)
	if low == high {
		return low
	}
	return low + " to " + high
}

// actions are all that can be seen on a bench as it stands.
func (d *Definition) actions(probes []Action) (all []Action) {
	for _, k := range d.Allowed {
		switch k {
		case Try:
			all = append(all, Action{Kind: Try})
		case Look:
			for _, c := range d.EventChoices() {
				all = append(all, Action{Kind: Look, After: c.Value})
			}
		case Probe:
			all = append(all, probes...)
		}
	}
	return all
}

// cost is the bench time of an action.
func (d *Definition) cost(a Action) time.Duration {
	c := costs[a.Kind]
	switch a.Kind {
	case Try:
		c += d.Sequence.Baseline + time.Duration(d.Sequence.Cycles)*d.Sequence.Duration()
	case Look, Probe:
		if at, err := d.until(a.After); err == nil {
			c += at
		}
	}
	return c
}
