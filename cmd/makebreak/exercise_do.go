package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"makebreak/analyze/report"
	"makebreak/rig/meter"
	"makebreak/rig/problem"
	"makebreak/rig/prompt"
	"makebreak/rig/table"
	"makebreak/rig/words"
	"makebreak/sequences/exercise"
	"makebreak/sequences/setup"
)

func (a *app) exerciseTryCommand() *cobra.Command {
	var name string
	var o runOpts
	c := &cobra.Command{
		Use:   "try [NAME]",
		Short: "Run the exercise's sequence on the bench",
		Long: `Run the exercise's sequence on the bench as it stands, measure, judge and log it. The
record names no fault: what is measured has to tell.

On a real rig the safety notes must be accepted first, or beforehand by --yes.`,
		Example: `  makebreak exercise try
  makebreak exercise try --cycles 1`,
		Args: a.atMostOne(&name),
		RunE: func(c *cobra.Command, _ []string) error { return a.exerciseTry(c, name, &o) },
	}
	a.forms(c, allForms...)
	f := c.Flags()
	f.IntVar(&o.cycles, "cycles", 0, "`number` of cycles (default: the exercise's)")
	f.BoolVar(&o.yes, "yes", false, "accept the safety notes of a real rig beforehand (for scripts)")
	a.allFlag(f)
	exerciseFlag(c, &name)
	return c
}

func (a *app) exerciseTry(c *cobra.Command, name string, o *runOpts) error {
	if c.Flags().Changed("cycles") && o.cycles < 1 {
		return badUsage("--cycles %d: must be a whole number, 1 or more", o.cycles)
	}
	s, db, _, err := a.mySession(name)
	if err != nil {
		return err
	}
	defer db.Close()
	r, err := s.Do(c.Context(), exercise.Action{Kind: exercise.Try, Cycles: o.cycles}, func(ctx context.Context, t *exercise.Trial) error {
		return a.tryLogged(ctx, s, t, o)
	})
	if r != nil {
		a.noteResult(r)
	}
	return err
}

// tryLogged runs a trial as makebreak run does.
func (a *app) tryLogged(ctx context.Context, s *exercise.Session, t *exercise.Trial, o *runOpts) error {
	j := job{seq: t.Sequence, rig: t.Rig, sim: t.Simulation, cycles: t.Sequence.Cycles, trial: t}
	if a.rig = s.Rig(); a.rig != "" {
		var err error
		if j.rig, err = a.loadRig(j.seq); err != nil {
			return err
		}
		t.Rig, j.sim = j.rig, setup.Simulation{}
	}
	if err := a.calibrateFor(&j); err != nil {
		return err
	}
	if a.rig != "" {
		if err := a.cautioned(ctx, j.rig, j.seq, o.yes); err != nil {
			return err
		}
	}
	a.readyBench(&j)
	a.announce(&j)
	return a.runLogged(ctx, &j, o)
}

// noteResult says what an action cost and what was dangerous of it.
func (a *app) noteResult(r *exercise.Result) {
	for _, d := range r.Dangers {
		a.note("Dangerous: %s", d.Words)
	}
	for _, n := range r.Notes {
		a.note("%s", n)
	}
	a.note("Bench time: %s, in all %s", exercise.BenchTime(r.Cost), exercise.BenchTime(r.Spent))
}

func (a *app) exerciseLookCommand() *cobra.Command {
	var name, after string
	c := &cobra.Command{
		Use:   "look [NAME]",
		Short: "Look at levels and contacts after an event",
		Example: `  makebreak exercise look
  makebreak exercise look --after arm-away`,
		Args: a.atMostOne(&name),
		RunE: func(c *cobra.Command, _ []string) error {
			return a.act(c.Context(), name, exercise.Action{Kind: exercise.Look, After: after})
		},
	}
	a.forms(c, "text", "json")
	c.Flags().StringVar(&after, "after", "", "the `event` after whose state it is looked at (default: before any)")
	exerciseFlag(c, &name)
	return c
}

func (a *app) exerciseProbeCommand() *cobra.Command {
	var name, after string
	var off bool
	modes := map[meter.Mode]*bool{}
	c := &cobra.Command{
		Use:   "probe A B",
		Short: "Hold a meter between two points of the wiring",
		Long: `Hold a simulated meter between two points of the wiring, the red lead at the first: its
accuracy and the burden that it is are in what it shows. The card has the points.

Ohms, continuity and the diode test send a current of their own: switch the supply off
with --off first. On a live circuit they can break the meter, which is marked.`,
		Example: `  makebreak exercise probe panel.OUT3 panel.0V --volts --after arm-away
  makebreak exercise probe K1.A1 K1.A2 --ohms --off`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return badUsage("exercise probe takes two points, as in: panel.OUT3 panel.0V")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			mode, err := modeOf(modes)
			if err != nil {
				return err
			}
			return a.act(c.Context(), name, exercise.Action{Kind: exercise.Probe, A: args[0], B: args[1], Meter: string(mode), After: after, Off: off})
		},
	}
	a.forms(c, "text", "json")
	f := c.Flags()
	for _, m := range meter.Modes() {
		modes[m] = f.Bool(string(m), false, "set the meter to "+exercise.MeterWords(m))
	}
	f.BoolVar(&off, "off", false, "switch the supply off first")
	f.StringVar(&after, "after", "", "the `event` after whose state it is measured (default: before any)")
	exerciseFlag(c, &name)
	return c
}

// modeOf is the one mode of the meter that is asked for; volts where none is.
func modeOf(modes map[meter.Mode]*bool) (meter.Mode, error) {
	var asked []string
	for _, m := range meter.Modes() {
		if *modes[m] {
			asked = append(asked, "--"+string(m))
		}
	}
	switch len(asked) {
	case 0:
		return meter.DCVolts, nil
	case 1:
		return meter.Mode(strings.TrimPrefix(asked[0], "--")), nil
	}
	return "", badUsage("use one of %s, not several", words.List(asked))
}

func (a *app) exerciseChangeCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "change WHAT",
		Short: "Change one thing on the bench",
		Long: `Change one thing on the bench, as a technician would to try a suspicion. --list shows
what can be changed. What would break something is said, marked and not done.`,
		Example: `  makebreak exercise change --list
  makebreak exercise change board K1
  makebreak exercise change swap OUT3 OUT4`,
	}
	return a.choosing(c, chosen{"what is to be changed, as in: board K1; --list shows what can be", "list what can be changed", writeChanges,
		func(ctx context.Context, name string, args []string) error {
			return a.act(ctx, name, exercise.Action{Kind: exercise.Change, Change: strings.Join(args, " ")})
		}})
}

// chosen is what a command does with words that are on a list.
type chosen struct {
	takes string // the words, as an error says it
	lists string // what --list does
	list  func(io.Writer, *exercise.Definition) error
	do    func(ctx context.Context, name string, args []string) error
}

// choosing completes a command that takes words that are on a list, or --list.
func (a *app) choosing(c *cobra.Command, of chosen) *cobra.Command {
	var name string
	var list bool
	c.Args = func(_ *cobra.Command, args []string) error {
		if list == (len(args) > 0) {
			return badUsage("exercise %s takes %s", c.Name(), of.takes)
		}
		return nil
	}
	c.RunE = func(c *cobra.Command, args []string) error {
		if list {
			return a.listOf(name, of.list)
		}
		return of.do(c.Context(), name, args)
	}
	a.forms(c, "text", "json")
	c.Flags().BoolVar(&list, "list", false, of.lists)
	exerciseFlag(c, &name)
	return c
}

// listOf lists what an exercise lets one choose from.
func (a *app) listOf(name string, write func(io.Writer, *exercise.Definition) error) error {
	if err := a.choice("a list", "text"); err != nil {
		return err
	}
	s, db, err := a.session(name)
	if err != nil {
		return err
	}
	defer db.Close()
	return a.print(func(w io.Writer) error { return write(w, s.Definition()) })
}

// act does one thing in an exercise and shows what comes of it.
func (a *app) act(ctx context.Context, name string, x exercise.Action) error {
	s, db, _, err := a.mySession(name)
	if err != nil {
		return err
	}
	defer db.Close()
	r, err := s.Do(ctx, x, nil)
	if err != nil {
		return err
	}
	if a.as == "json" {
		return a.deliver(asJSON(resultJSON(r)))
	}
	if len(r.Readings) > 0 {
		err = a.table([]string{"at", "shows"}, func(row func(...any)) {
			for _, x := range r.Readings {
				row(x.Of, x.Shows)
			}
		})
	} else if !r.Action.Stopped {
		err = a.print(func(w io.Writer) error {
			_, err := fmt.Fprintf(w, "Changed: %s\n", r.Action.Change)
			return err
		})
	}
	a.noteResult(r)
	return err
}

// jsonResult is what an action shows, as JSON.
type jsonResult struct {
	Action   string             `json:"action"`
	Change   *string            `json:"change"`
	Done     bool               `json:"done"`
	Readings []exercise.Reading `json:"readings"`
	Dangers  []exercise.Danger  `json:"dangers"`
	Cost     float64            `json:"cost_s"`  // seconds
	Spent    float64            `json:"spent_s"` // seconds
}

func resultJSON(r *exercise.Result) jsonResult {
	x := jsonResult{Action: string(r.Action.Kind), Change: report.OrNil(r.Action.Change), Done: !r.Action.Stopped, Readings: r.Readings, Dangers: r.Dangers, Cost: r.Cost.Seconds(), Spent: r.Spent.Seconds()}
	if x.Readings == nil {
		x.Readings = []exercise.Reading{}
	}
	if x.Dangers == nil {
		x.Dangers = []exercise.Danger{}
	}
	return x
}

func (a *app) exerciseAnswerCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "answer CAUSE@PLACE",
		Short: "Answer what is wrong, and be marked",
		Long: `Answer what is wrong, by cause and place as --list has them, or in its words. Where two
things are wrong, give two answers. That nothing is wrong is an answer, too. The answer is
marked, and the exercise is over.`,
		Example: `  makebreak exercise answer --list
  makebreak exercise answer wrong-address@OUT3
  makebreak exercise answer nothing`,
	}
	return a.choosing(c, chosen{"a cause and its place, as in: welded@K1; --list shows them", "list the answers to choose from", writeAnswers, a.exerciseAnswer})
}

func (a *app) exerciseAnswer(ctx context.Context, name string, args []string) error {
	s, db, others, err := a.mySession(name)
	if err != nil {
		return err
	}
	defer db.Close()
	given, err := typedAnswers(s.Definition(), args)
	if err != nil {
		return err
	}
	if err := a.mine(ctx, s, others); err != nil {
		return err
	}
	if !s.Answered() && s.Rig() == "" {
		a.note("Each other answer is simulated and compared with what you saw. This takes some seconds.")
	}
	r, err := s.Do(ctx, exercise.Action{Kind: exercise.Give, Answer: given}, nil)
	if errors.Is(err, context.Canceled) {
		return problem.Of(problem.Interrupted, errors.New("interrupted; nothing was answered"))
	}
	if err != nil {
		return err
	}
	if a.as == "json" {
		return a.deliver(asJSON(marksJSON(r.Marks)))
	}
	return a.print(func(w io.Writer) error { return exercise.WriteMarks(w, r.Marks) })
}

// mine asks at a terminal whether an answer is for the exercise of whom it would end, where it may
// be that of another trainee.
func (a *app) mine(ctx context.Context, s *exercise.Session, others []string) error {
	if _, tty := terminal(a.in); len(others) == 0 || !tty {
		return nil
	}
	typed, err := prompt.Answer(ctx, a.in, a.prompts(), fmt.Sprintf("An answer ends the exercise of %s. Type yes to give it: ", exercise.Named(s.Trainee())), true)
	if err == nil && !strings.EqualFold(strings.TrimSpace(typed), "yes") {
		err = badUsage("nothing was answered; add --by with your name")
	}
	return err
}

// typedAnswers reads answers from a command's words. Those that were typed without quotation
// marks are one answer.
func typedAnswers(d *exercise.Definition, args []string) ([]exercise.Answer, error) {
	one, err := d.ParseAnswer(strings.Join(args, " "))
	if err == nil {
		return []exercise.Answer{one}, nil
	}
	several, apart := parseAnswers(d, args)
	if apart == nil {
		return several, nil
	}
	if slices.ContainsFunc(args, func(s string) bool { return strings.ContainsAny(s, "@ ") }) {
		return nil, apart
	}
	return nil, err
}

// typedWord asks for the trainer's word. A terminal does not show what is typed.
func (a *app) typedWord(ctx context.Context) (string, error) {
	const question = "The trainer's word (it is not shown): "
	f, tty := terminal(a.in)
	if !tty {
		return prompt.Answer(ctx, a.in, a.prompts(), question, false)
	}
	fmt.Fprint(a.prompts(), question)
	b, err := term.ReadPassword(int(f.Fd()))
	fmt.Fprintln(a.err)
	if err != nil {
		return "", problem.Of(problem.Usage, errors.New("the trainer's word was not typed"))
	}
	return string(b), nil
}

func writeChanges(w io.Writer, d *exercise.Definition) error {
	if !slices.Contains(d.Allowed, exercise.Change) {
		_, err := fmt.Fprintln(w, "Nothing can be changed in this exercise.")
		return err
	}
	return table.Write(w, []string{"change", "in words"}, func(row func(...any)) {
		for _, c := range d.ChangeChoices() {
			row(c.Value, c.Words)
		}
	})
}
