package exercise

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"makebreak/rig/problem"
	"makebreak/sequences/journal"
)

// Entry is what one trainee did in one exercise.
type Entry struct {
	Exercise, Title string
	Grade           int
	Trainee         string // may be empty
	Rig             string // file of a real rig; empty: the simulated bench
	Started         time.Time
	Marks           *Marks // nil: not answered yet; without the truth, which the log does not hold
	Deeds
}

// Deeds are what a trainee has done in an exercise so far.
type Deeds struct {
	Done    []Action               // the first thing first
	Steps   []journal.ExerciseStep // as the log has them
	Spent   time.Duration          // bench time
	Dangers []string               // codes, one each time
}

// Actions is how many things were done before the answer.
func (e *Entry) Actions() (n int) {
	for _, a := range e.Done {
		if a.Kind != Give {
			n++
		}
	}
	return n
}

// Class is what a class did, by exercise.
type Class struct {
	Exercises []ClassExercise // by grade and name
	Entries   []Entry         // the oldest first
}

// ClassExercise is what a class did in one exercise.
type ClassExercise struct {
	Name, Title string
	Grade       int
	Begun       int
	Answered    int
	Right       int // all of it
	Half        int // some of it
	Wrong       int
	Lucky       int // right, while other answers still fitted what had been seen
	// Spent and Actions are the medians of those who have answered, Shortest that of the
	// shortest ways; zero: nobody has.
	Spent, Shortest time.Duration
	Actions         int
	// Way is what the trainee did whose bench time is the median one.
	Way []Action
	// Stuck are the wrong answers that were given, the most frequent first.
	Stuck []Stuck
	// Open is who has begun it and not answered.
	Open []string
}

// Stuck is a wrong answer and how often it was given.
type Stuck struct {
	Answer string // as it is typed
	Words  string
	Times  int
}

// ClassOf reads what trainees did from a log: in one exercise, or in all where the name is
// empty, and one trainee or all of them.
func ClassOf(db *journal.DB, name, trainee string) (*Class, error) {
	rows, err := db.Exercises()
	if err != nil {
		return nil, err
	}
	c := &Class{}
	for _, row := range slices.Backward(rows) {
		if name != "" && row.Name != name || !By(&row, trainee) {
			continue
		}
		e, err := entryOf(db, &row)
		if err != nil {
			return nil, err
		}
		c.Entries = append(c.Entries, *e)
	}
	if name != "" && trainee == "" && len(c.Entries) == 0 {
		if _, err := db.FindExercise(name); err != nil {
			return nil, err // it says which there are
		}
	}
	c.add()
	return c, nil
}

func entryOf(db *journal.DB, row *journal.Exercise) (*Entry, error) {
	e := &Entry{Exercise: row.Name, Title: row.Title, Grade: row.Grade, Trainee: row.Trainee, Rig: row.Rig, Started: row.Started}
	var err error
	if e.Deeds, err = deedsOf(db, row); err != nil {
		return nil, err
	}
	if row.Marks == nil {
		return e, nil
	}
	e.Marks, err = marksOf(row)
	return e, err
}

// marksOf reads an exercise's marks in the log.
func marksOf(row *journal.Exercise) (*Marks, error) {
	m := &Marks{}
	if err := json.Unmarshal(row.Marks, m); err != nil {
		return nil, problem.Of(problem.Storage, fmt.Errorf("exercise %s: its marks in the log cannot be read: %w", row.Name, err))
	}
	return m, nil
}

// deedsOf reads the steps of an exercise in the log.
func deedsOf(db *journal.DB, row *journal.Exercise) (d Deeds, err error) {
	steps, err := db.ExerciseSteps(row)
	if err != nil {
		return d, err
	}
	for _, s := range steps {
		var a Action
		if err := json.Unmarshal(s.Action, &a); err != nil {
			return d, problem.Of(problem.Storage, fmt.Errorf("exercise %s: a step in the log cannot be read: %w", row.Name, err))
		}
		d.add(a, s)
	}
	return d, nil
}

// add adds an action with its step.
func (d *Deeds) add(a Action, s journal.ExerciseStep) {
	d.Done, d.Steps, d.Spent, d.Dangers = append(d.Done, a), append(d.Steps, s), d.Spent+s.Cost, append(d.Dangers, s.Dangers...)
}

// has reports whether something of a kind was done.
func (d *Deeds) has(k Kind) bool {
	return slices.ContainsFunc(d.Done, func(a Action) bool { return a.Kind == k })
}

// add adds the entries up by exercise.
func (c *Class) add() {
	var names []string
	for _, e := range c.Entries {
		if !slices.Contains(names, e.Exercise) {
			names = append(names, e.Exercise)
		}
	}
	for _, name := range names {
		c.Exercises = append(c.Exercises, c.exercise(name))
	}
	slices.SortStableFunc(c.Exercises, func(a, b ClassExercise) int {
		return cmp.Or(cmp.Compare(a.Grade, b.Grade), cmp.Compare(a.Name, b.Name))
	})
}

func (c *Class) exercise(name string) ClassExercise {
	x := ClassExercise{Name: name}
	var answered []*Entry
	for i := range c.Entries {
		e := &c.Entries[i]
		if e.Exercise != name {
			continue
		}
		x.Title, x.Grade = e.Title, e.Grade
		x.Begun++
		if e.Marks == nil {
			x.Open = append(x.Open, e.Trainee)
			continue
		}
		answered = append(answered, e)
		x.count(e.Marks)
	}
	x.Answered = len(answered)
	slices.SortStableFunc(x.Stuck, func(a, b Stuck) int { return cmp.Compare(b.Times, a.Times) })
	if len(answered) == 0 {
		return x
	}
	slices.SortStableFunc(answered, func(a, b *Entry) int { return cmp.Compare(a.Marks.Spent, b.Marks.Spent) })
	middle := answered[(len(answered)-1)/2]
	x.Spent, x.Way = middle.Marks.Spent, middle.Done
	x.Actions = medianOf(answered, func(m *Marks) int { return m.Actions })
	x.Shortest = medianOf(answered, func(m *Marks) time.Duration { return m.Shortest })
	return x
}

// medianOf is the lower median of a figure.
func medianOf[T cmp.Ordered](all []*Entry, of func(*Marks) T) T {
	var values []T
	for _, e := range all {
		values = append(values, of(e.Marks))
	}
	slices.Sort(values)
	return values[(len(values)-1)/2]
}

func (x *ClassExercise) count(m *Marks) {
	switch m.Result() {
	case right:
		x.Right++
		if m.Possible > 1 {
			x.Lucky++
		}
	case halfRight:
		x.Half++
	default:
		x.Wrong++
	}
	for _, w := range m.Wrong {
		i := slices.IndexFunc(x.Stuck, func(s Stuck) bool { return s.Answer == w })
		if i < 0 {
			i, x.Stuck = len(x.Stuck), append(x.Stuck, Stuck{Answer: w, Words: AnswerOf(w).Words()})
		}
		x.Stuck[i].Times++
	}
}
