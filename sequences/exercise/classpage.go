package exercise

import (
	"cmp"
	_ "embed"
	"fmt"
	"io"
	"slices"
	"strings"

	"makebreak/analyze/look"
	"makebreak/rig/words"
)

//go:embed class.html
var classSource string

var classPage = look.NewPage(classSource)

// classParts is what the page shows.
type classParts struct {
	Summary   string
	Exercises []classExercise
	Rows      []classRow
}

// classRow is a trainee with a cell for each exercise.
type classRow struct {
	Trainee string
	Cells   []classResult
	Points  string // of all
}

// classResult is what an answer was, as a word with a mark of its own shape.
type classResult struct {
	Word, Mark, Class string // empty: it was not begun
	Points            string // as in "8 of 10"
	More              string // of several times that it was begun
}

// classExercise is how a class did in one exercise.
type classExercise struct {
	Name, Title                 string
	Grade                       int
	Counts, Stuck, Open, Median string
	Steps                       []classSteps
}

// classSteps are what one trainee did in one exercise.
type classSteps struct {
	Trainee                      string
	Result                       classResult
	Runs, Looks, Probes, Changes int
	Dangers                      int
	Spent, Shortest, Note        string
}

// HTML writes a class's marks as one page that stands alone and can be printed.
func (c *Class) HTML(w io.Writer) error {
	var p classParts
	for i := range c.Exercises {
		p.Exercises = append(p.Exercises, c.pageExercise(&c.Exercises[i]))
	}
	for _, name := range c.trainees() {
		p.Rows = append(p.Rows, c.pageRow(name))
	}
	answered := 0
	for _, x := range c.Exercises {
		answered += x.Answered
	}
	p.Summary = fmt.Sprintf("%s, %s begun, %d answered. Of an exercise that was begun several times the last one counts in the first table.",
		words.Count(len(p.Rows), "trainee"), words.Count(len(c.Entries), "exercise"), answered)
	return classPage.Write(w, p)
}

// trainees are who has begun an exercise, by name as it was typed first: capitals and blanks make
// nobody another one.
func (c *Class) trainees() []string {
	var all []string
	for i := range c.Entries {
		if name := c.Entries[i].Trainee; !slices.ContainsFunc(all, func(other string) bool { return plainWord(other) == plainWord(name) }) {
			all = append(all, name)
		}
	}
	slices.SortFunc(all, func(a, b string) int {
		return cmp.Or(cmp.Compare(strings.ToLower(a), strings.ToLower(b)), cmp.Compare(a, b))
	})
	return all
}

// nameless stands for a trainee who gave no name.
const nameless = "(no name)"

func traineeWords(name string) string { return words.Short(cmp.Or(name, nameless), words.MostName) }

func (c *Class) pageRow(trainee string) classRow {
	r := classRow{Trainee: traineeWords(trainee)}
	points, of := 0, 0
	for _, x := range c.Exercises {
		var cell classResult
		times := 0
		var last *Entry
		for i := range c.Entries {
			if e := &c.Entries[i]; e.Exercise == x.Name && plainWord(e.Trainee) == plainWord(trainee) {
				last = e
				times++
			}
		}
		if last != nil {
			cell = resultOf(last.Marks)
			if times > 1 {
				cell.More = fmt.Sprintf("begun %d times", times)
			}
			if last.Marks != nil {
				points, of = points+last.Marks.Points, of+last.Marks.Of
			}
		}
		r.Cells = append(r.Cells, cell)
	}
	if of > 0 {
		r.Points = fmt.Sprintf("%d of %d", points, of)
	}
	return r
}

// resultOf is what an answer was; nil: it has not been given. Each has a mark of another shape.
func resultOf(m *Marks) classResult {
	r := classResult{Word: m.Result()}
	switch r.Word {
	case notAnswered:
		r.Mark, r.Class = "–", "none"
		return r
	case right:
		r.Mark, r.Class = "●", "right"
	case halfRight:
		r.Mark, r.Class = "◐", "half"
	case wrong:
		r.Mark, r.Class = "○", "wrong"
	}
	r.Points = fmt.Sprintf("%d of %d", m.Points, m.Of)
	return r
}

func (c *Class) pageExercise(x *ClassExercise) classExercise {
	p := classExercise{Name: words.Safe(x.Name), Title: words.Short(x.Title, words.MostName), Grade: x.Grade}
	p.Counts = fmt.Sprintf("Begun %d, answered %d: right %d, half right %d, wrong %d.", x.Begun, x.Answered, x.Right, x.Half, x.Wrong)
	if x.Lucky > 0 {
		p.Counts += fmt.Sprintf(" Right with luck, as other answers still fitted: %d.", x.Lucky)
	}
	var stuck []string
	for _, s := range x.Stuck {
		stuck = append(stuck, fmt.Sprintf("%s, %s", s.Words, words.Count(s.Times, "time")))
	}
	p.Stuck = strings.Join(stuck, "; ")
	if len(x.Open) > 0 {
		p.Open = words.List(words.Texts(x.Open, traineeWords))
	}
	if x.Answered > 0 {
		p.Median = "The median way: " + x.medianWords() + "."
	}
	for i := range c.Entries {
		if e := &c.Entries[i]; e.Exercise == x.Name {
			p.Steps = append(p.Steps, stepsOf(e))
		}
	}
	slices.SortStableFunc(p.Steps, func(a, b classSteps) int { return cmp.Compare(strings.ToLower(a.Trainee), strings.ToLower(b.Trainee)) })
	return p
}

func stepsOf(e *Entry) classSteps {
	s := classSteps{Trainee: traineeWords(e.Trainee), Result: resultOf(e.Marks), Dangers: len(e.Dangers), Spent: BenchTime(e.Spent)}
	for _, a := range e.Done {
		switch a.Kind {
		case Try:
			s.Runs++
		case Look:
			s.Looks++
		case Probe:
			s.Probes++
		case Change:
			s.Changes++
		}
	}
	m := e.Marks
	if m == nil {
		return s
	}
	var notes []string
	if m.Shortest > 0 {
		s.Shortest = BenchTime(m.Shortest)
	}
	if m.Possible > 1 {
		notes = append(notes, words.Count(m.Possible, "answer")+" still fitted")
	}
	for _, w := range m.Wrong {
		notes = append(notes, "taken for "+words.Safe(w))
	}
	s.Note = strings.Join(notes, "; ")
	return s
}
