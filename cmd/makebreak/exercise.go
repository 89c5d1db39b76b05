package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"makebreak/rig/problem"
	"makebreak/rig/prompt"
	"makebreak/rig/table"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences/exercise"
	"makebreak/sequences/journal"
	"makebreak/sequences/setup"
	"makebreak/sequences/sheet"
)

func (a *app) exerciseCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "exercise",
		Short: "Find what is wrong on a bench in a hidden state, as a trainee",
		Long: `Find what is wrong on a simulated bench in a hidden state: one fault, two, or none.
A trainee reads the job card, runs the sequence, looks at levels and contacts, holds a
meter between two points, changes one thing, and answers by cause and place. Each action
costs time as at a bench. The answer is marked: what was right, which way would have been
the shortest, and how much of it was luck.

The commands act on the exercise begun last, unless --exercise or a name says another.
Where several trainees share a log, --by takes up that of one of them.
What is hidden is sealed in the log; a run in an exercise names no fault.`,
		Example: `  makebreak exercise list
  makebreak exercise start quiet-siren --by "A. Fitter"
  makebreak exercise card
  makebreak exercise try
  makebreak exercise probe panel.OUT3 panel.0V --volts --after arm-away
  makebreak exercise answer "make contact welded"`,
		Args: noSuchCommand,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(a.exerciseListCommand(), a.exerciseStartCommand(), a.exerciseCardCommand(), a.exerciseTryCommand(), a.exerciseLookCommand(),
		a.exerciseProbeCommand(), a.exerciseChangeCommand(), a.exerciseAnswerCommand(), a.exerciseMarksCommand(), a.exerciseTruthCommand(), a.exerciseCheckCommand())
	return c
}

func (a *app) exerciseListCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "list",
		Short:   "List the built-in exercises",
		Example: `  makebreak exercise list`,
		Args:    noArguments,
		RunE: func(*cobra.Command, []string) error {
			return a.print(a.chosen(writers{"text": exercisesText, "csv": exercisesCSV, "json": asJSON(listedExercises())}))
		},
	}
	a.forms(c, "text", "csv", "json")
	return c
}

func exercisesText(w io.Writer) error {
	return table.Write(w, []string{"exercise", "grade", "title"}, func(row func(...any)) {
		for _, d := range exercise.Builtin() {
			row(d.Name, d.Grade, d.Title)
		}
	})
}

func exercisesCSV(w io.Writer) error {
	c := table.NewCSV(w, "exercise", "grade", "title", "sequence")
	for _, d := range exercise.Builtin() {
		c.Row(table.Text(d.Name), table.Count(d.Grade), table.Text(d.Title), table.Text(d.Sequence.Name))
	}
	return c.Flush()
}

// listedExercise is a built-in exercise as JSON.
type listedExercise struct {
	Exercise string `json:"exercise"`
	Grade    int    `json:"grade"`
	Title    string `json:"title"`
	Story    string `json:"story"`
	Sequence string `json:"sequence"`
	Draw     string `json:"draw"`
}

func listedExercises() []listedExercise {
	all := []listedExercise{}
	for _, d := range exercise.Builtin() {
		all = append(all, listedExercise{d.Name, d.Grade, d.Title, d.Story, d.Sequence.Name, string(d.Draw)})
	}
	return all
}

// startOpts are the flags of exercise start.
type startOpts struct {
	word  string
	truth []string
}

func (a *app) exerciseStartCommand() *cobra.Command {
	var o startOpts
	c := &cobra.Command{
		Use:   "start NAME",
		Short: "Begin an exercise, a built-in one or a file",
		Long: `Begin an exercise, a built-in one or a file. --by is the trainee.

With --sealed-by, the trainer's word draws the hidden state and seals it: the same word,
exercise and name give the same state, so that a class can be repeated. The word also
opens the truth (exercise truth). With --sealed-by - it is asked for, or read from
standard input, and stands in no list of processes. Without it another state is drawn
each time.

With --rig, the exercise is done on a real rig, where the trainer has made a fault by
hand. The trainer types the truth once, or gives it by --truth.`,
		Example: `  makebreak exercise start quiet-siren --by "A. Fitter"
  makebreak exercise start quiet-siren --by "A. Fitter" --sealed-by -
  makebreak exercise start quiet-siren --rig rig.yaml --sealed-by - --by "A. Fitter"`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return badUsage("exercise start takes one exercise, a built-in name or a file; makebreak exercise list shows the built-in ones")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return a.exerciseStart(c, args[0], &o) },
	}
	a.forms(c, "text")
	f := c.Flags()
	f.StringVar(&o.word, "sealed-by", "", "the trainer's `word`, which draws and seals the hidden state; - asks for it")
	f.StringArrayVar(&o.truth, "truth", nil, "what is wrong on a real rig, `CAUSE@PLACE`, or nothing; may be given twice")
	return c
}

func (a *app) exerciseStart(c *cobra.Command, name string, o *startOpts) error {
	d, err := a.loadExercise(name)
	if err != nil {
		return err
	}
	begin := exercise.Begin{Definition: d, Trainee: a.by, Rig: a.rig, Now: a.now}
	if begin.Word, err = a.trainersWord(c, o.word); err != nil {
		return err
	}
	switch {
	case a.rig == "" && len(o.truth) > 0:
		return badUsage("--truth says what is wrong on a real rig; give the rig's file with --rig, or leave it out")
	case a.rig != "" && begin.Word == "":
		return badUsage("on a real rig the trainer's word seals the truth: add --sealed-by, and - to be asked for it")
	case a.rig != "":
		if err := a.realRig(d); err != nil {
			return err
		}
		if begin.Truth, err = a.typedTruth(c.Context(), d, o.truth); err != nil {
			return err
		}
	}
	db, err := journal.Open(a.log)
	if err != nil {
		return problem.Of(problem.Storage, err)
	}
	defer db.Close()
	s, err := exercise.Start(db, begin)
	if err != nil {
		return err
	}
	earlier, err := s.Earlier()
	if err != nil {
		return err
	}
	if !earlier.IsZero() {
		a.note("%s began %s before, %s, and has not answered it. From now on this name means the new one; two trainees need two names.",
			words.Capital(exercise.Named(s.Trainee())), words.Safe(d.Name), earlier.Local().Format(time.DateTime))
	}
	return a.print(func(w io.Writer) error { return writeStarted(w, s) })
}

// loadExercise reads the exercise named.
func (a *app) loadExercise(name string) (*exercise.Definition, error) {
	if name == "" {
		return nil, badUsage("name an exercise: a built-in one or a file, not an empty name")
	}
	d, err := exercise.Load(a.ctx, name)
	if err != nil && problem.KindOf(err) == problem.Input && !strings.ContainsAny(name, "./") {
		return nil, problem.Of(problem.Usage, err) // a mistyped name, not a file
	}
	if err != nil {
		return nil, inputError(err)
	}
	return d, nil
}

// trainersWord is the word given, or typed where it is -.
func (a *app) trainersWord(c *cobra.Command, given string) (string, error) {
	if !c.Flags().Changed("sealed-by") {
		return "", nil
	}
	word := given
	if given == "-" {
		var err error
		if word, err = a.typedWord(c.Context()); err != nil {
			return "", err
		}
	}
	if strings.TrimSpace(word) == "" {
		return "", badUsage("--sealed-by: the trainer's word must not be empty")
	}
	return word, nil
}

// realRig looks whether the rig file can be used and is of a real rig.
func (a *app) realRig(d *exercise.Definition) error {
	rig, err := a.loadRig(d.Sequence)
	if err != nil {
		return err
	}
	if rig.Simulated {
		return badUsage("--rig is for a real rig, and %s is simulated; leave it out, the exercise names its own bench", rig.Name)
	}
	return nil
}

// typedTruth is what the trainer says is wrong on a real rig.
func (a *app) typedTruth(ctx context.Context, d *exercise.Definition, given []string) (all []exercise.Answer, err error) {
	if len(given) == 0 {
		if err := a.print(func(w io.Writer) error { return writeAnswers(w, d) }); err != nil {
			return nil, err
		}
		_, echoed := terminal(a.in)
		line, err := prompt.Answer(ctx, a.in, a.prompts(), "For the trainer: what is wrong on this rig, CAUSE@PLACE, two with a comma between? ", echoed)
		if err != nil {
			return nil, err
		}
		given = strings.Split(line, ",")
	}
	return parseAnswers(d, given)
}

func parseAnswers(d *exercise.Definition, given []string) (all []exercise.Answer, err error) {
	for _, text := range given {
		x, err := d.ParseAnswer(text)
		if err != nil {
			return nil, err
		}
		all = append(all, x)
	}
	return all, nil
}

// writeStarted says what the exercise is about and what can be done.
func writeStarted(w io.Writer, s *exercise.Session) error {
	d := s.Definition()
	fmt.Fprintf(w, "%s (grade %d)\n\n%s\n\n", d.Title, d.Grade, d.Story)
	if s.Rig() != "" {
		fmt.Fprintf(w, "On the real rig of %s. Measure and change by hand; the program runs the sequence and marks the answer.\n\n", words.Safe(s.Rig()))
	}
	fmt.Fprintln(w, "What you can do, and the bench time that it costs:")
	for _, x := range s.Allowed() {
		cost := exercise.BenchTime(x.Cost)
		if x.Kind == exercise.Change {
			cost = "1 to 10 min"
		}
		fmt.Fprintf(w, "  - makebreak exercise %s: %s, %s\n", x.Kind, strings.ToLower(x.Words[:1])+x.Words[1:], cost)
	}
	_, err := fmt.Fprintln(w, "The time of the unit's own steps comes on top. Read the card first: it has the cautions.")
	return err
}

// session takes up the exercise that a command is about.
func (a *app) session(name string) (*exercise.Session, *journal.DB, error) {
	db, err := a.openLogWith(journal.Open)
	if err != nil {
		return nil, nil, err
	}
	s, err := exercise.Resume(db, name, a.by, a.now)
	if err != nil {
		return nil, nil, errors.Join(err, db.Close())
	}
	return s, db, nil
}

// mySession takes up the exercise in which something is done. Where trainees share the log and
// none is named, it says whose exercise that is.
func (a *app) mySession(name string) (s *exercise.Session, db *journal.DB, others []string, err error) {
	if s, db, err = a.session(name); err != nil {
		return nil, nil, nil, err
	}
	if a.by == "" && !s.Answered() {
		if others, err = s.Others(); err != nil {
			return nil, nil, nil, errors.Join(err, db.Close())
		}
	}
	if len(others) > 0 {
		a.note("This is the exercise %s of %s, begun last. Others have begun some, too: --by takes up that of %s.",
			words.Safe(s.Definition().Name), exercise.Named(s.Trainee()), words.Or(words.Texts(others, exercise.Named)))
	}
	return s, db, others, nil
}

// writeAnswers lists the answers to choose from.
func writeAnswers(w io.Writer, d *exercise.Definition) error {
	return table.Write(w, []string{"answer", "in words"}, func(row func(...any)) {
		for _, c := range d.AnswerChoices() {
			row(c.Value, c.Words)
		}
	})
}

func (a *app) exerciseCardCommand() *cobra.Command {
	var name string
	c := &cobra.Command{
		Use:     "card [NAME]",
		Short:   "Read the job card, the wiring and the cautions",
		Example: `  makebreak exercise card`,
		Args:    a.atMostOne(&name),
		RunE: func(c *cobra.Command, _ []string) error {
			s, db, _, err := a.mySession(name)
			if err != nil {
				return err
			}
			defer db.Close()
			if !s.Answered() {
				if _, err := s.Do(c.Context(), exercise.Action{Kind: exercise.ReadCard}, nil); err != nil {
					return err
				}
			}
			rig := s.Definition().Rig
			if a.rig = s.Rig(); a.rig != "" {
				if rig, err = a.loadRig(s.Definition().Sequence); err != nil {
					return err
				}
			}
			return a.print(func(w io.Writer) error { return writeExerciseCard(w, s.Definition(), rig) })
		},
	}
	a.forms(c, "text")
	exerciseFlag(c, &name)
	return c
}

// exerciseFlag names the exercise of a command that takes other words.
func exerciseFlag(c *cobra.Command, name *string) {
	c.Flags().StringVar(name, "exercise", "", "the `exercise` (default: the one begun last)")
}

// atMostOne takes the exercise as a command's only word, in place of the flag.
func (a *app) atMostOne(name *string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		switch {
		case len(args) > 1:
			return badUsage("exercise %s takes one exercise at most", c.Name())
		case len(args) == 1 && *name != "" && *name != args[0]:
			return badUsage("exercise %s: two exercises are named, %q and %q", c.Name(), args[0], *name)
		case len(args) == 1:
			*name = args[0]
		}
		return nil
	}
}

// writeExerciseCard writes the card of an exercise on its simulated bench, or on a real rig.
func writeExerciseCard(w io.Writer, d *exercise.Definition, rig *wiring.Rig) error {
	fmt.Fprintf(w, "%s (grade %d)\n\n%s\n\n%s\n", d.Title, d.Grade, d.Story, prompt.Cautions)
	return writeSheet(w, sheet.Bench(rig, setup.Unit(rig, d.Sequence).Relays), d.Sequence)
}
