package main

import (
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/problem"
	"makebreak/rig/table"
	"makebreak/rig/words"
	"makebreak/sequences/exercise"
)

func (a *app) exerciseMarksCommand() *cobra.Command {
	var name string
	c := &cobra.Command{
		Use:   "marks [NAME]",
		Short: "Show the marks of all trainees in the log, and where a class is stuck",
		Long: `Show the marks of all trainees in the log, in one exercise or in all: who did what, how
long it took against the shortest way, and what was taken for what. --by shows those of
one trainee. As html it is one page that can be printed.`,
		Example: `  makebreak exercise marks
  makebreak exercise marks quiet-siren --as csv -o class.csv
  makebreak exercise marks --as html -o class.html`,
		Args: a.atMostOne(&name),
		RunE: func(*cobra.Command, []string) error {
			db, err := a.openLog()
			if err != nil {
				return err
			}
			defer db.Close()
			class, err := exercise.ClassOf(db, name, a.by)
			if err != nil {
				return err
			}
			return a.print(a.chosen(writers{"text": class.Text, "csv": class.CSV, "json": asJSON(classJSON(class)), "html": class.HTML}))
		},
	}
	a.forms(c, "text", "csv", "json", "html")
	exerciseFlag(c, &name)
	return c
}

func (a *app) exerciseTruthCommand() *cobra.Command {
	var name, word string
	c := &cobra.Command{
		Use:   "truth [NAME]",
		Short: "Say what is wrong on the bench, for the trainer",
		Long: `Say what is wrong on the bench of an exercise, for who knows the word that it was begun
with (exercise start --sealed-by).`,
		Example: `  makebreak exercise truth --sealed-by -`,
		Args:    a.atMostOne(&name),
		RunE: func(c *cobra.Command, _ []string) error {
			if word == "" {
				return badUsage("exercise truth needs --sealed-by with the trainer's word, and - to be asked for it")
			}
			typed, err := a.trainersWord(c, word)
			if err != nil {
				return err
			}
			db, err := a.openLog()
			if err != nil {
				return err
			}
			defer db.Close()
			truth, err := exercise.Truth(db, name, a.by, typed)
			if err != nil {
				return err
			}
			return a.print(func(w io.Writer) error {
				_, err := fmt.Fprintln(w, words.Capital(truth))
				return err
			})
		},
	}
	a.forms(c, "text")
	c.Flags().StringVar(&word, "sealed-by", "", "the trainer's `word`; - asks for it")
	exerciseFlag(c, &name)
	return c
}

func (a *app) exerciseCheckCommand() *cobra.Command {
	draws := exercise.CheckDraws
	c := &cobra.Command{
		Use:   "check FILE",
		Short: "Prove that an exercise can be solved",
		Long: `Prove that an exercise can be solved: draw hidden states, simulate each of them and every
other answer, and compare what the allowed actions show, with its uncertainty. It says by
which shortest way each state is told from all other answers. The exit status is 1 where
one is not.`,
		Example: `  makebreak exercise check my-exercise.yaml
  makebreak exercise check quiet-siren --draws 20`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return badUsage("exercise check takes one exercise, a file or a built-in name")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			if draws < 1 || draws > 10_000 {
				return badUsage("--draws %d: must be a whole number from 1 to 10000", draws)
			}
			d, err := a.loadExercise(args[0])
			if err != nil {
				return err
			}
			found, err := d.Check(c.Context(), draws, a.drawsDone(draws))
			switch {
			case c.Context().Err() != nil:
				return problem.Of(problem.Interrupted, errors.New("interrupted; nothing is proven"))
			case err != nil:
				return err
			}
			if !found.Passed() {
				a.verdict = analyze.Fail
			}
			return a.print(func(w io.Writer) error { return exercise.WriteChecked(w, found) })
		},
	}
	a.forms(c, "text")
	c.Flags().IntVar(&draws, "draws", draws, "`number` of hidden states that are drawn")
	return c
}

// drawsDone shows on a terminal how far a check is; nil: nobody looks.
func (a *app) drawsDone(of int) func(int) {
	if !drawable(a.err) || a.quiet {
		return nil
	}
	f, _ := terminal(a.err)
	screen := &table.Screen{Out: f, Columns: columnsOf(a.err)}
	return func(n int) {
		_ = screen.Draw(func(w io.Writer) error { // a terminal that cannot be written to shows nothing
			_, err := fmt.Fprintf(w, "%d of %d drawn\n", n, of)
			return err
		})
	}
}

// jsonMarks are an answer's marks as JSON.
type jsonMarks struct {
	Result   string   `json:"result"`
	Points   int      `json:"points"`
	Of       int      `json:"of"`
	Right    int      `json:"right"`
	Half     int      `json:"half"`
	Wrong    []string `json:"wrong"`
	Actions  int      `json:"actions"`
	Spent    float64  `json:"spent_s"` // seconds
	Shortest *float64 `json:"shortest_s"`
	Way      []string `json:"way"`
	Shows    []string `json:"shows,omitempty"` // by the way's actions; only to whoever answered
	Possible *int     `json:"possible"`
	Dangers  []string `json:"dangers"`
	Truth    []string `json:"truth,omitempty"`
}

func marksJSON(m *exercise.Marks) jsonMarks {
	return jsonMarks{Result: m.Result(), Points: m.Points, Of: m.Of, Right: m.Right, Half: m.Half, Wrong: texts(m.Wrong), Actions: m.Actions,
		Spent: m.Spent.Seconds(), Shortest: report.OrNil(m.Shortest.Seconds()), Way: actionWords(m.Way), Shows: m.Shows, Possible: report.OrNil(m.Possible),
		Dangers: texts(m.Dangers), Truth: words.Texts(m.Truth, exercise.Answer.String)}
}

// texts are never missing.
func texts(all []string) []string { return append([]string{}, all...) }

// jsonClass is what a class did, as JSON.
type jsonClass struct {
	Exercises []jsonClassExercise `json:"exercises"`
	Entries   []jsonEntry         `json:"entries"`
}

type jsonClassExercise struct {
	Exercise string      `json:"exercise"`
	Grade    int         `json:"grade"`
	Begun    int         `json:"begun"`
	Answered int         `json:"answered"`
	Right    int         `json:"right"`
	Half     int         `json:"half"`
	Wrong    int         `json:"wrong"`
	Lucky    int         `json:"lucky"`
	Spent    float64     `json:"median_spent_s"` // seconds
	Actions  int         `json:"median_actions"`
	Shortest float64     `json:"median_shortest_s"` // seconds
	Way      []string    `json:"median_way"`
	Stuck    []jsonStuck `json:"taken_for"`
	Open     []string    `json:"not_answered"`
}

type jsonStuck struct {
	Answer string `json:"answer"`
	Words  string `json:"words"`
	Times  int    `json:"times"`
}

type jsonEntry struct {
	Exercise string     `json:"exercise"`
	Grade    int        `json:"grade"`
	Trainee  *string    `json:"trainee"`
	Rig      *string    `json:"rig"`
	Started  string     `json:"started"`
	Done     []string   `json:"done"`
	Spent    float64    `json:"spent_s"` // seconds
	Marks    *jsonMarks `json:"marks"`
}

func classJSON(c *exercise.Class) jsonClass {
	all := jsonClass{Exercises: []jsonClassExercise{}, Entries: []jsonEntry{}}
	for _, x := range c.Exercises {
		j := jsonClassExercise{Exercise: x.Name, Grade: x.Grade, Begun: x.Begun, Answered: x.Answered, Right: x.Right, Half: x.Half, Wrong: x.Wrong, Lucky: x.Lucky,
			Spent: x.Spent.Seconds(), Actions: x.Actions, Shortest: x.Shortest.Seconds(), Way: actionWords(x.Way), Stuck: []jsonStuck{}, Open: texts(x.Open)}
		for _, s := range x.Stuck {
			j.Stuck = append(j.Stuck, jsonStuck(s))
		}
		all.Exercises = append(all.Exercises, j)
	}
	for _, e := range c.Entries {
		j := jsonEntry{Exercise: e.Exercise, Grade: e.Grade, Trainee: report.OrNil(e.Trainee), Rig: report.OrNil(e.Rig), Started: e.Started.UTC().Format(time.RFC3339), Done: actionWords(e.Done), Spent: e.Spent.Seconds()}
		if e.Marks != nil {
			m := marksJSON(e.Marks)
			j.Marks = &m
		}
		all.Entries = append(all.Entries, j)
	}
	return all
}

func actionWords(all []exercise.Action) []string {
	return append([]string{}, words.Texts(all, exercise.Action.Words)...)
}
