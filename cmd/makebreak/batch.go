package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/capture"
	"makebreak/rig/infile"
	"makebreak/rig/problem"
	"makebreak/rig/prompt"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences/batch"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
	"makebreak/sequences/setup"
)

func (a *app) batchCommand() *cobra.Command {
	var o runOpts
	var name, list string
	c := &cobra.Command{
		Use:   "batch SEQUENCE",
		Short: "Test one unit after the other, by serial",
		Long: `Test one unit after the other by the same sequence. The serial of each is asked for,
and may come from a barcode reader that types; without a terminal, serials are read
from standard input, one a line, until its end. After each unit the verdict is shown,
at the end how the batch stands; Enter alone shows it at any time, Ctrl-D ends.

A batch has a name, by default the sequence and the day, and its runs have it as the
field batch. The same command goes on with it after any interruption: serials that
come from a file are passed over as often as they were tested before. A unit that did
not pass may be tested again, and counts as retested.

On a rig with several units the serial at each place is asked for in turn, and Enter
alone leaves a place empty. Then all are tested at the same time.

With --list, the units expected are read from a file, one serial a line.

Exit status: 0 all units passed, 1 some failed at their last test, 2 some are
undecided, were cut off or are missing.`,
		Example: `  makebreak batch armed-high
  makebreak batch job-card.yaml --rig rig.yaml --name monday --list serials.txt
  makebreak batch report monday --as html -o monday.html`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return badUsage("batch takes one sequence, a built-in name or a file; batch report NAME says how a batch stands")
			}
			if a.unit != "" {
				return badUsage("batch asks for each unit's serial; leave out --unit")
			}
			return o.checkAccess()
		},
		RunE: func(c *cobra.Command, args []string) error { return a.batch(c, args[0], name, list, &o) },
	}
	f := c.Flags()
	f.StringVar(&name, "name", "", "`name` of the batch (default: the sequence and the day)")
	f.StringVar(&list, "list", "", "read the serials expected from a `file`")
	o.flags(f)
	a.forms(c, "text", "csv", "json", "html")
	c.AddCommand(a.batchReportCommand())
	return c
}

func (a *app) batchReportCommand() *cobra.Command {
	var list string
	c := &cobra.Command{
		Use:   "report NAME",
		Short: "Say how a batch stands, from the log alone",
		Long: `Say how a batch stands, from the log alone: units tested and passed, first-pass yield,
what units failed for, how long it took, and each unit with its verdict. The exit
status is 0, whatever the verdicts.`,
		Example: `  makebreak batch report "armed-high 2026-11-28"
  makebreak batch report monday --list serials.txt --as csv`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 || args[0] == "" {
				return badUsage("batch report takes the name of one batch")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			expected, err := a.serials(c.Context(), list)
			if err != nil {
				return err
			}
			s, err := a.batchSoFar(args[0], expected)
			if err != nil {
				return readFailed(err)
			}
			return a.showBatch(s)
		},
	}
	a.forms(c, "text", "csv", "json", "html")
	c.Flags().StringVar(&list, "list", "", "read the serials expected from a `file`")
	return c
}

// serials reads the list of units expected; nil: there is none.
func (a *app) serials(ctx context.Context, file string) ([]string, error) {
	if file == "" {
		return nil, nil
	}
	const most = 4 << 20 // bytes
	text, err := infile.Read(ctx, file, most)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil {
		return nil, problem.Of(problem.Input, err)
	}
	return batch.ParseSerials(file, text)
}

// batchSoFar reads how a batch stands.
func (a *app) batchSoFar(name string, expected []string) (*batch.Summary, error) {
	return a.readBatch(name, expected, diagnosed)
}

// readBatch is batchSoFar; without diagnose nothing is said of why units failed.
func (a *app) readBatch(name string, expected []string, diagnose batch.Diagnose) (*batch.Summary, error) {
	db, err := a.openLog()
	if err != nil {
		return nil, err
	}
	defer db.Close()
	return batch.Read(db, name, expected, diagnose)
}

// diagnosed says for what a run failed, and how long its steps took.
func diagnosed(rec *journal.RunRecord) (cause string, steps []batch.Step, err error) {
	if rec.Verdict == analyze.Fail {
		r, err := record.Of(rec, "") // where the record is, nobody is told
		if err != nil {
			return "", nil, err
		}
		cause = r.LikelyCause()
	}
	kept, err := rec.Captured()
	if err != nil || len(kept) == 0 {
		return cause, nil, err
	}
	c, err := record.CaptureOf(rec, kept[0].First)
	if problem.KindOf(err) == problem.Usage {
		return cause, nil, nil // it was pruned meanwhile
	}
	if err != nil {
		return "", nil, err
	}
	return cause, stepsOf(c), nil
}

// stepsOf are how long the states of a capture lasted, each from its event to the next one.
func stepsOf(c *capture.Capture) (steps []batch.Step) {
	for i := 1; i < len(c.Events); i++ {
		steps = append(steps, batch.Step{Event: c.Events[i-1].Name, Mean: time.Duration(c.Events[i].At - c.Events[i-1].At)})
	}
	return steps
}

// showBatch writes how a batch stands.
func (a *app) showBatch(s *batch.Summary) error {
	return a.print(a.chosen(writers{"text": s.Text, "csv": s.CSV, "json": s.JSON, "html": s.HTML}))
}

// batchRun is a batch under way.
type batchRun struct {
	*app
	c        *cobra.Command
	o        runOpts
	sequence string
	name     string
	expected []string // nil: there is no list
	keys     *prompt.Keys
	terminal bool     // a person is asked
	screen   *os.File // where serials are asked for; nil: nobody is asked
	fields   []journal.Field
	done     map[string]int             // tests of earlier starts that are still to be passed over
	last     map[string]analyze.Verdict // of each unit that was tested
	again    string                     // a serial that is tested when it comes once more
	n        int                        // tests done by earlier starts, and all of this one
	wrong    int                        // lines of a file that hold no serial
	units    []*wiring.Unit             // that are tested at the same time; nil: one is
}

// batch tests units until there is no serial any more, and says how the batch stands.
func (a *app) batch(c *cobra.Command, sequence, name, list string, o *runOpts) error {
	b := &batchRun{app: a, c: c, o: *o, sequence: sequence, name: strings.TrimSpace(name), done: map[string]int{}, last: map[string]analyze.Verdict{}}
	if err := words.CheckName(b.name); err != nil {
		return badUsage("--name: %w", err)
	}
	var err error
	if b.expected, err = a.serials(c.Context(), list); err != nil {
		return err
	}
	if err := b.begin(c.Context()); err != nil {
		return err
	}
	all := b.all
	if len(b.units) > 0 {
		all = b.allRounds
	}
	endErr := all(c.Context())
	if endErr == nil && b.wrong > 0 {
		endErr = problem.Of(problem.Input, fmt.Errorf("%s of standard input could not be taken as a serial", words.Count(b.wrong, "line")))
	}
	s, err := a.batchSoFar(b.name, b.expected)
	if nothingYet(err) {
		return errors.Join(endErr, errNoUnit(endErr))
	}
	if err == nil {
		err = a.showBatch(s)
	}
	if err = errors.Join(endErr, err); err == nil {
		a.verdict = s.Verdict()
	}
	return err
}

// nothingYet reports whether there is no log yet, or nothing of a batch in it.
func nothingYet(err error) bool {
	kind := problem.KindOf(err)
	return kind == problem.Usage || kind == problem.Input
}

// errNoUnit is why a batch has no unit, where nothing else says it.
func errNoUnit(err error) error {
	if err != nil {
		return nil
	}
	return problem.New(problem.Usage, "no unit was tested, as standard input held no serial")
}

// begin reads what all units have in common, asks for what is asked for once, and looks what
// was done before.
func (b *batchRun) begin(ctx context.Context) error {
	j, err := b.prepare(b.c, b.sequence, &b.o)
	if err != nil {
		return err
	}
	b.units = j.units
	if b.name == "" {
		b.name = j.seq.Name + " " + b.now().Format(time.DateOnly)
	}
	if err := b.noteFields(ctx, &j, &b.o); err != nil {
		return err
	}
	b.fields = append(j.fields, journal.Field{Name: batch.Field, Value: b.name})
	if batch.Of(j.fields) != "" {
		return badUsage("--field %s: the batch is named by --name", batch.Field)
	}
	if err := b.cautioned(ctx, j.rig, j.seq, b.o.yes); err != nil {
		return err
	}
	_, in := terminal(b.in)
	screen, out := terminal(b.err)
	if b.terminal = in && out; b.terminal {
		b.screen = screen
	}
	view := j.rig
	if len(j.units) > 0 {
		view = j.rig.For(j.units[0])
	}
	if !b.terminal && setup.Prompts(view, j.seq) {
		return badUsage("this rig asks for key presses, which cannot come from where serials are read: use batch at a terminal")
	}
	b.keys = prompt.NewKeys(b.in, b.prompts(), b.terminal)
	b.app.keys = b.keys
	return b.lookBack()
}

// lookBack reads what was tested by an earlier start.
func (b *batchRun) lookBack() error {
	s, err := b.readBatch(b.name, b.expected, nil)
	switch {
	case nothingYet(err):
		return nil
	case err != nil:
		return readFailed(err)
	}
	for _, u := range s.Units {
		for _, t := range u.Tests {
			if t.Done() {
				b.n++
				b.done[u.Serial]++
				b.last[u.Serial] = t.Verdict
			}
		}
	}
	if n := s.Tested(); n > 0 {
		b.note("Batch %s goes on: %s tested", b.name, words.Count(n, "unit"))
	}
	return nil
}

// all tests a unit for each serial that comes.
func (b *batchRun) all(ctx context.Context) error {
	for {
		serial, err := b.line(ctx, "\nSerial (Enter: how it stands, Ctrl-D: end): ")
		if errors.Is(err, prompt.ErrEnded) {
			return nil
		}
		if err == nil {
			err = b.one(ctx, serial)
		}
		if err != nil {
			return err
		}
	}
}

// line asks for a line and returns it. The error is prompt.ErrEnded where there is none any more.
func (b *batchRun) line(ctx context.Context, question string) (string, error) {
	if b.terminal {
		// Not by what wraps lines: it does not see the Enter that ends this one.
		fmt.Fprint(b.screen, question)
	}
	text, err := b.keys.Line(ctx)
	if b.terminal && err != nil {
		fmt.Fprintln(b.screen) // nobody's Enter has ended the line
	}
	switch {
	case ctx.Err() != nil:
		return "", problem.New(problem.Interrupted, "interrupted; the same command goes on with the batch")
	case err != nil && !errors.Is(err, prompt.ErrEnded):
		return "", problem.Of(problem.Input, fmt.Errorf("standard input: %w", err))
	}
	return text, err
}

// one takes one line of input. The error ends the batch.
func (b *batchRun) one(ctx context.Context, serial string) error {
	switch {
	case serial == "" && b.terminal:
		return b.soFar()
	case serial == "":
		return nil
	}
	if !b.taken(serial) {
		return nil
	}
	return b.mendable(b.test(ctx, serial))
}

// taken reports whether a text is a serial that is to be tested now, and says what is special
// about it.
func (b *batchRun) taken(serial string) bool {
	if err := words.CheckName(serial); err != nil {
		if !b.terminal {
			b.wrong++
		}
		b.note("That is no serial: %v", err)
		return false
	}
	return !b.passesOver(serial)
}

// mendable is an error that ends the batch. At a terminal a rig can be mended.
func (b *batchRun) mendable(err error) error {
	if problem.KindOf(err) == problem.Rig && b.terminal {
		b.note("makebreak: %v", err)
		b.note("Mend the rig; the next serial tries it again")
		return nil
	}
	return err
}

func (b *batchRun) soFar() error {
	s, err := b.batchSoFar(b.name, b.expected)
	if err != nil {
		b.note("Nothing is tested yet")
		return nil
	}
	return s.Text(b.prompts())
}

// passesOver says what is special about a serial, and reports whether it is not to be tested now.
func (b *batchRun) passesOver(serial string) bool {
	if !b.terminal && b.done[serial] > 0 {
		b.done[serial]--
		b.note("%s: passed over, as it was tested before (%s)", serial, b.last[serial].Name())
		return true
	}
	question := ""
	switch before, tested := b.last[serial]; {
	case tested && before == analyze.Pass:
		question = "has passed in this batch already"
	case tested:
		b.note("%s: tested before (%s), so this counts as a retest", serial, before.Name())
	case b.expected != nil && !slices.Contains(b.expected, serial):
		question = "is not in the list"
	}
	if question == "" {
		return false
	}
	if !b.terminal || b.again == serial {
		b.note("%s %s; it is tested all the same", serial, question)
		return false
	}
	b.again = serial
	b.note("%s %s; give its serial once more to test it all the same", serial, question)
	return true
}

// test runs the sequence on one unit.
func (b *batchRun) test(ctx context.Context, serial string) error {
	o := b.o
	o.seed += uint64(b.n) // another bench for each unit, the same ones each time
	b.n++
	b.again = ""
	b.unit = serial
	defer func() { b.unit = "" }()
	j, err := b.prepare(b.c, b.sequence, &o)
	if err != nil {
		return err
	}
	j.fields = b.fields
	b.tellRecord = b.tellUnit
	defer func() { b.tellRecord = nil }()
	err = b.runLogged(ctx, &j, &o)
	b.verdict = analyze.NoVerdict // the batch has its own
	return err
}

// tellUnit shows a unit's verdict, large on a terminal, and what was found.
func (b *batchRun) tellUnit(r *report.Record) error {
	b.noteTest(r)
	b.showLarge(r.Verdict)
	b.note("%s: %s, run %s", r.Unit, r.Verdict.Name(), r.Run)
	return b.tellFindings(r)
}

// noteTest notes what is known of a unit from now on.
func (b *batchRun) noteTest(r *report.Record) {
	if (batch.Test{Complete: r.Complete, Verdict: r.Verdict}).Done() {
		b.last[r.Unit] = r.Verdict
	}
}

// showLarge shows a verdict on a terminal so that it can be read from two metres.
func (b *batchRun) showLarge(v analyze.Verdict) {
	if !b.terminal {
		return
	}
	for _, line := range large(string(v)) {
		b.note("%s", line)
	}
}

// tellFindings says what was found.
func (b *batchRun) tellFindings(r *report.Record) error {
	if b.quiet {
		return nil
	}
	for _, f := range r.Findings {
		fmt.Fprintf(b.prompts(), "  %s\n", words.Safe(f.Text))
	}
	return nil
}

// letters are those of the verdicts, five lines of five signs each.
var letters = map[rune][5]string{
	'A': {" ### ", "#   #", "#####", "#   #", "#   #"}, 'C': {" ####", "#    ", "#    ", "#    ", " ####"}, 'D': {"#### ", "#   #", "#   #", "#   #", "#### "},
	'E': {"#####", "#    ", "#### ", "#    ", "#####"}, 'F': {"#####", "#    ", "#### ", "#    ", "#    "}, 'I': {"#####", "  #  ", "  #  ", "  #  ", "#####"},
	'L': {"#    ", "#    ", "#    ", "#    ", "#####"}, 'M': {"#   #", "## ##", "# # #", "#   #", "#   #"}, 'N': {"#   #", "##  #", "# # #", "#  ##", "#   #"},
	'O': {" ### ", "#   #", "#   #", "#   #", " ### "}, 'P': {"#### ", "#   #", "#### ", "#    ", "#    "}, 'S': {" ####", "#    ", " ### ", "    #", "#### "},
	'T': {"#####", "  #  ", "  #  ", "  #  ", "  #  "}, 'U': {"#   #", "#   #", "#   #", "#   #", " ### "},
}

// large writes a verdict so that it can be read from two metres.
func large(verdict string) []string {
	lines := make([]string, 5)
	for _, r := range strings.ToUpper(verdict) {
		for i := range lines {
			lines[i] += letters[r][i] + " "
		}
	}
	return lines
}
