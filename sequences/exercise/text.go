package exercise

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"makebreak/rig/meter"
	"makebreak/rig/table"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// BenchTime writes a bench time as a person says it.
func BenchTime(d time.Duration) string {
	switch d = d.Round(time.Second); {
	case d == 0:
		return "no time"
	case d < time.Minute:
		return unit.Time.Format(d.Seconds())
	case d%time.Minute == 0:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	}
	return fmt.Sprintf("%d min %d s", int(d.Minutes()), int(d.Seconds())%60)
}

// benchTime is BenchTime with what it is of.
func benchTime(d time.Duration) string {
	if d == 0 {
		return "no bench time"
	}
	return BenchTime(d) + " of bench time"
}

// Words say what an action is, as in "look after arm-away".
func (a Action) Words() string {
	after := ""
	if a.After != "" {
		after = " after " + a.After
	}
	switch a.Kind {
	case ReadCard:
		return "read the card"
	case Try:
		return "run the sequence"
	case Look:
		if after == "" {
			after = " before any event"
		}
		return "look" + after
	case Probe:
		if a.Off {
			after = ", supply off"
		}
		return fmt.Sprintf("measure %s from %s to %s%s", meterWords[meter.Mode(a.Meter)], a.A, a.B, after)
	case Change:
		return "change: " + a.Change
	}
	return "answer"
}

// answerWords are answers in words.
func answerWords(all []Answer) string {
	return words.And(words.Texts(all, func(a Answer) string { return a.String() + " (" + a.Words() + ")" }))
}

// WriteMarks writes what an answer was worth, to the trainee.
func WriteMarks(w io.Writer, m *Marks) error {
	fmt.Fprintf(w, "Your answer is %s: %d of %d points.\n", m.Result(), m.Points, m.Of)
	fmt.Fprintf(w, "It was: %s.\n", answerWords(m.Truth))
	if n := len(m.Dangers); n > 0 {
		fmt.Fprintf(w, "Dangerous: %s. Points are taken off for it.\n", words.Count(n, "thing was done that hurts somebody or breaks something", "things were done that hurt somebody or break something"))
	}
	fmt.Fprintf(w, "\nYour way: %s, %s.\n", words.Count(m.Actions, "action"), benchTime(m.Spent))
	if m.Shortest > 0 {
		fmt.Fprintf(w, "The shortest way found: read the card%s, %s.\n", wayWords(m.Way), BenchTime(m.Shortest))
	}
	for i, shows := range m.Shows {
		fmt.Fprintf(w, "  - %s: %s\n", m.Way[i].Words(), shows)
	}
	fmt.Fprintln(w, cmp.Or(m.LuckWords(), "How much of it was luck is not known on a real rig."))
	if len(m.Telling) == 0 {
		return nil
	}
	fmt.Fprintln(w, "\nWhat would have told it from the others:")
	for _, t := range m.Telling {
		if _, err := fmt.Fprintf(w, "  - from %s: %s (%s)\n", answerWords(t.From), t.Action.Words(), t.Shows); err != nil {
			return err
		}
	}
	return nil
}

// LuckWords say what was luck; empty where it is not known.
func (m *Marks) LuckWords() string {
	switch m.Possible {
	case 0:
		return ""
	case 1:
		if m.Result() != right {
			return "What you had seen left the right answer alone."
		}
		return "Luck: none; what you had seen left no other answer."
	}
	if m.Result() != right {
		return fmt.Sprintf("What you had seen still fitted %d answers: there was more to look for.", m.Possible)
	}
	return fmt.Sprintf("Luck: what you had seen still fitted %d answers; a guess among them is right once in %d times.", m.Possible, m.Possible)
}

func wayWords(way []Action) string {
	var b strings.Builder
	for _, a := range way {
		b.WriteString(", " + a.Words())
		if a.Kind == Change {
			b.WriteString(", run the sequence")
		}
	}
	return b.String()
}

// What an answer was, in a word or two.
const (
	notAnswered = "not answered"
	right       = "right" // all of it, and nothing else was given
	halfRight   = "half right"
	wrong       = "wrong"
)

// Result is what an answer was in a word or two; of none, that it was not given.
func (m *Marks) Result() string {
	switch {
	case m == nil:
		return notAnswered
	case m.Right > 0 && m.Half == 0 && len(m.Wrong) == 0 && !m.Short:
		return right
	case m.Right+m.Half > 0:
		return halfRight
	}
	return wrong
}

// Text writes a class's marks for people.
func (c *Class) Text(w io.Writer) error {
	if len(c.Entries) == 0 {
		_, err := fmt.Fprintln(w, "No exercise has been begun; makebreak exercise list shows which there are.")
		return err
	}
	if err := table.Write(w, []string{"trainee", "exercise", "result", "points", "actions", "time", "shortest", "fitted"}, func(row func(...any)) {
		for i := range c.Entries {
			e := &c.Entries[i]
			points, shortest, fitted := "", "", ""
			if m := e.Marks; m != nil {
				points = fmt.Sprintf("%d/%d", m.Points, m.Of)
				if m.Shortest > 0 {
					shortest = clock(m.Shortest)
				}
				if m.Possible > 0 {
					fitted = fmt.Sprint(m.Possible)
				}
			}
			row(cmp.Or(e.Trainee, nameless), e.Exercise, e.Marks.Result(), points, e.Actions(), clock(e.Spent), shortest, fitted)
		}
	}); err != nil {
		return err
	}
	fmt.Fprintln(w, "\nTime and shortest: bench time in minutes and seconds. Fitted: how many answers fitted all that had been seen; 1: none was left but the right one.")
	for i := range c.Exercises {
		if err := c.Exercises[i].text(w); err != nil {
			return err
		}
	}
	return nil
}

// clock writes a time in minutes and seconds.
func clock(d time.Duration) string {
	s := int(d.Round(time.Second).Seconds())
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

func (x *ClassExercise) text(w io.Writer) error {
	fmt.Fprintf(w, "\n%s (grade %d): %s begun, %d answered, %d right, %d half right, %d wrong\n", words.Safe(x.Name), x.Grade, words.Count(x.Begun, "time"), x.Answered, x.Right, x.Half, x.Wrong)
	if x.Answered > 0 {
		fmt.Fprintf(w, "  - the median way: %s\n", x.medianWords())
	}
	if x.Lucky > 0 {
		fmt.Fprintf(w, "  - right with luck, as other answers still fitted: %d\n", x.Lucky)
	}
	for _, s := range x.Stuck {
		fmt.Fprintf(w, "  - taken for %s (%s): %s\n", words.Safe(s.Answer), words.Safe(s.Words), words.Count(s.Times, "time"))
	}
	if len(x.Open) > 0 {
		_, err := fmt.Fprintf(w, "  - not answered yet: %s\n", words.List(words.Texts(x.Open, Named)))
		return err
	}
	return nil
}

// medianWords say what the median way was.
func (x *ClassExercise) medianWords() string {
	shortest := ""
	if x.Shortest > 0 {
		shortest = " (the shortest: " + BenchTime(x.Shortest) + ")"
	}
	return fmt.Sprintf("%s, %s%s: %s", words.Count(x.Actions, "action"), benchTime(x.Spent), shortest, kindsOf(x.Way))
}

// Named is a trainee's name for people, or a word in its place.
func Named(trainee string) string {
	if trainee == "" {
		return "a trainee without a name"
	}
	return words.Short(trainee, words.MostName)
}

// kindsOf are the kinds of what was done, each row of the same one once.
func kindsOf(done []Action) string {
	var all []string
	for _, a := range done {
		if n := len(all); n == 0 || all[n-1] != string(a.Kind) {
			all = append(all, string(a.Kind))
		}
	}
	return words.Safe(strings.Join(all, ", "))
}

// CSV writes one row for each exercise begun.
func (c *Class) CSV(w io.Writer) error {
	t := table.NewCSV(w, "exercise", "grade", "trainee", "started", "result", "points", "of", "right", "half", "wrong", "actions", "spent_s", "shortest_s", "possible", "dangers", "rig")
	for i := range c.Entries {
		e := &c.Entries[i]
		seconds := func(d time.Duration) table.Cell { return table.Number(unit.Time.Fixed(3).Number(d.Seconds())) }
		row := []table.Cell{table.Text(e.Exercise), table.Count(e.Grade), table.Text(e.Trainee), table.Text(e.Started.UTC().Format(time.RFC3339)), table.Text(e.Marks.Result())}
		if m := e.Marks; m != nil {
			row = append(row, table.Count(m.Points), table.Count(m.Of), table.Count(m.Right), table.Count(m.Half), table.Text(strings.Join(m.Wrong, " ")))
		} else {
			row = append(row, table.Cell{}, table.Cell{}, table.Cell{}, table.Cell{}, table.Cell{})
		}
		row = append(row, table.Count(e.Actions()), seconds(e.Spent))
		shortest, possible := table.Cell{}, table.Cell{}
		if m := e.Marks; m != nil && m.Shortest > 0 {
			shortest = seconds(m.Shortest)
		}
		if m := e.Marks; m != nil && m.Possible > 0 {
			possible = table.Count(m.Possible)
		}
		t.Row(append(row, shortest, possible, table.Text(strings.Join(e.Dangers, " ")), table.Text(e.Rig))...)
	}
	return t.Flush()
}

// AnswerOf reads an answer as String writes it.
func AnswerOf(text string) Answer {
	cause, place, _ := strings.Cut(text, "@")
	return Answer{cause, place}
}

// WriteChecked writes what a check has found.
func WriteChecked(w io.Writer, c *Checked) error {
	fmt.Fprintf(w, "%s: %s, each compared with %s.\n", c.Definition.Name, words.Count(c.Draws, "draw"), words.Count(c.Answers, "answer"))
	for i := range c.Truths {
		if err := c.Truths[i].text(w); err != nil {
			return err
		}
	}
	verdict := "Each state can be told from every other answer by what is allowed."
	if !c.Passed() {
		verdict = "Not each state can be told from every other answer: allow more, change the values, or leave an answer out."
	}
	_, err := fmt.Fprintf(w, "\n%s\n", verdict)
	return err
}

func (t *CheckedTruth) text(w io.Writer) error {
	fmt.Fprintf(w, "\n%s: %s\n", answerWords(t.Truth), words.Count(t.Draws, "draw"))
	for _, x := range t.Ways[:min(1, len(t.Ways))] {
		fmt.Fprintf(w, "  - the shortest proof in %d of them: read the card%s: %s\n", x.Draws, wayWords(x.Way), BenchTime(x.Cost))
		for i, a := range x.Way {
			fmt.Fprintf(w, "  - %s shows: %s\n", a.Words(), x.Shows[i])
		}
	}
	for _, a := range t.Alike {
		fmt.Fprintf(w, "  - not told from %s in %d of them\n", answerWords(a.Answer), a.Draws)
	}
	if t.Refuted > 0 {
		fmt.Fprintf(w, "  - taken for none of the answers in %d of them: its values scatter more than the comparison allows for\n", t.Refuted)
	}
	return nil
}

// truthWords are what is right, for the trainer.
func truthWords(truth []Answer, faults []string) string {
	text := answerWords(truth)
	if len(faults) > 0 && !slices.Equal(faults, words.Texts(truth, Answer.String)) {
		text += "; planted: " + words.List(faults)
	}
	return text
}
