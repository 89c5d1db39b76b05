package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/adrg/xdg"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"makebreak/analyze"
	"makebreak/analyze/cause"
	"makebreak/analyze/report"
	"makebreak/rig/outfile"
	"makebreak/rig/problem"
	"makebreak/rig/prompt"
	"makebreak/rig/table"
	"makebreak/rig/task"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences/archive"
)

// streams are where a command reads and writes.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

// app is one call of the program: its streams and the flags common to all
// commands.
type app struct {
	streams
	ctx                          context.Context // ends with the first signal
	rig, log, unit, by, as, file string
	quiet, noColor, all          bool
	folder                       bool           // of pages, a file for each record, is what -o names
	only                         []string       // names of the units of the rig that are meant; nil: all
	unitFlags                    []string       // as --unit was given, each time
	place                        *wiring.Unit   // the one of the rig's units that is meant; nil: the rig has no units, or several are
	whole                        *wiring.Rig    // with all units, where place is one of them
	wanted                       archive.Wanted // of an archive that --log names
	asked                        bool           // a form of the results was asked for: --as is no default
	causeFile                    string         // of the table of causes; empty: the program's own
	causes                       *cause.Table   // of that file; nil: the program's own

	rigSource string // the text of the rig file, for the log; of a built-in rig none

	page report.HTMLOpts // how a page looks

	keys       *prompt.Keys               // who reads standard input line by line; nil: nobody does yet
	tellRecord func(*report.Record) error // shows a run's record in place of the form asked for; nil: that is written
	// tellRecords does so for those of several units, which are listed beside.
	tellRecords func([]unitLine, []*report.Record) error

	now     func() time.Time // the wall clock
	noHelp  error            // why --help was refused
	called  bool             // a command was found and its words were taken
	verdict analyze.Verdict  // what the command found of the unit
}

// wallClock tells the time; the scripts of the tests set it.
var wallClock = time.Now

// execute runs the program with its arguments and returns the exit status.
func execute(ctx context.Context, args []string, s streams) (status int) {
	defer func() {
		if p := recover(); p != nil {
			told := task.Told(p)
			fmt.Fprint(s.err, told)
			task.Fault(told)
			status = exitInternal
		}
	}()
	if _, tty := terminal(s.err); tty {
		s.err = &table.Page{W: s.err, Columns: columnsOf(s.err), Hang: 2}
	}
	s.err = safely(s.err)
	a := &app{streams: s, ctx: ctx, now: wallClock}
	root := a.root()
	if asksToComplete(args) {
		a.completions(root)
	}
	root.SetArgs(args)
	root.SetIn(s.in)
	help := &outfile.Sink{W: safely(s.out)} // help and version
	root.SetOut(help)
	root.SetErr(s.err)
	err := errors.Join(root.ExecuteContext(ctx), a.noHelp)
	if !a.called && problem.KindOf(err) == problem.Unknown {
		err = problem.Of(problem.Usage, err) // one of cobra's own
	}
	if help.Err != nil {
		err = toReader(outfile.Failed("standard output", help.Err))
	}
	if err != nil {
		fmt.Fprintf(s.err, "makebreak: %s\n", told(err, args))
	}
	return exitStatus(a.verdict, err)
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "makebreak",
		Short: "Tests the programmable outputs and relays of alarm panels on a bench",
		Long: `Makebreak tests the programmable outputs and relays of alarm panels on a bench.

It arms and disarms the unit, and samples its output voltages and its relays'
contacts on one time base. It measures levels, delays, operate and release times
and bounce, and judges every figure with its uncertainty. It says what is wrong
and where to look first, and keeps a log.

Without --rig it runs on a simulated bench with an invented panel, no hardware
needed.

Exit status: 0 pass, 1 the unit failed, 2 undecided, 64 bad usage, 65 bad input
file, 69 rig not available or lost, 70 the program itself is at fault, 74 the log
or a file of results could not be written, 130 interrupted.`,
		Example: `  makebreak run armed-high
  makebreak run armed-high --fault wrong-address
  makebreak report last --as html -o record.html
  makebreak run --list`,
		Args: func(c *cobra.Command, args []string) error { return noSuchCommand(c, args) },
		RunE: func(c *cobra.Command, _ []string) error {
			return c.Help()
		},
		SilenceUsage:  true,
		SilenceErrors: true,
		Version:       "of this program", // the template below makes it: only when it is asked for
		PersistentPreRunE: func(c *cobra.Command, args []string) error {
			return a.check(c, args)
		},
	}
	root.SetVersionTemplate("makebreak version {{program}}\n")
	f := root.PersistentFlags()
	f.StringVar(&a.rig, "rig", "", "rig `file` (default: the simulated bench)")
	f.StringVar(&a.log, "log", defaultLog(), "log `file`; runs, report, unit and serve also read an archive, as postgres:")
	f.StringSliceVar(&a.only, "only", nil, "`units` of a rig with several that are meant, as in left,right (default: all)")
	f.Var((*serial)(a), "unit", "`serial` of the unit under test; of each of several at one rig as in left=4711")
	f.StringVar(&a.by, "by", "", "`name` of who runs the test")
	f.StringVar(&a.as, "as", "text", "`form` of the results: text, csv, json, html or pdf, where the command supports it")
	f.StringVarP(&a.file, "output", "o", "", "write the results to a `file`, whole or not at all")
	f.BoolVar(&a.quiet, "quiet", false, "no progress and no results as text; only the exit status")
	f.BoolVar(&a.noColor, "no-color", false, "no colours (NO_COLOR does the same)")
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetFlagErrorFunc(flagError)
	root.SetHelpFunc(func(c *cobra.Command, _ []string) { a.help(c) })
	root.SetHelpCommand(helpCommand(root))
	root.AddCommand(a.runCommand(), a.batchCommand(), a.surveyCommand(), a.soakCommand(), a.installCommand(), a.analyzeCommand(), a.runsCommand(), a.reportCommand(), a.unitCommand(), a.archiveCommand(), a.serveCommand(), a.rigCommand(), a.workCommand(), a.exerciseCommand(), a.licencesCommand())
	return root
}

// check looks at the flags common to all commands.
func (a *app) check(c *cobra.Command, args []string) error {
	a.called = true
	if err := a.checkForm(c); err != nil {
		return err
	}
	if len(a.only) == 1 {
		a.unit = strings.TrimPrefix(a.unit, a.only[0]+"=")
	}
	names := []*string{&a.unit}
	for i := range a.unitFlags {
		names = append(names, &a.unitFlags[i])
	}
	for i, name := range append(names, &a.by) {
		flag := "--unit"
		if i == len(names) {
			flag = "--by"
		}
		if *name != "" && strings.TrimSpace(*name) == "" {
			return badUsage("%s %q is blank: write a name, or leave it out", flag, words.Short(*name, words.MostName))
		}
		*name = strings.TrimSpace(*name)
		if err := words.CheckName(*name); err != nil {
			return badUsage("%s: %w", flag, err)
		}
	}
	if c.Flags().Changed("rig") && a.rig == "" || a.log == "" || c.Flags().Changed("output") && a.file == "" {
		return badUsage("--rig, --log and -o need a file's name, not an empty one")
	}
	if err := a.checkArchive(c); err != nil {
		return err
	}
	if err := a.checkWritten(c, args); err != nil {
		return err
	}
	a.folder = (c.Name() == "run" || c.Name() == "soak") && (a.as == "html" || a.as == "pdf") && outfile.Folder(a.file)
	return a.canDeliver()
}

// defaultLog is the log in the user's data directory.
func defaultLog() string {
	return filepath.Join(xdg.DataHome, "makebreak", "log.db")
}

// told is what a person reads of an error: the lines after the first are indented, and what
// was typed stands on one line wherever it is repeated.
func told(err error, args []string) string {
	text := err.Error()
	for _, arg := range args {
		_, value, _ := strings.Cut(arg, "=")
		for _, typed := range []string{arg, value} {
			if strings.Contains(typed, "\n") && strings.TrimSpace(typed) != "" {
				text = strings.ReplaceAll(text, typed, words.Safe(typed))
			}
		}
	}
	return strings.ReplaceAll(words.ShortLines(text, mostLine), "\n", "\n  ")
}

// mostLine is how many characters a line of a message has at most.
const mostLine = 2000

// safeArgs are what a message is made of: texts stand on one line in it.
func safeArgs(args []any) []any {
	safe := slices.Clone(args)
	for i, x := range safe {
		if s, is := x.(string); is {
			safe[i] = words.Safe(s)
		}
	}
	return safe
}

// note writes a line for the person, not part of the results.
func (a *app) note(format string, args ...any) {
	if !a.quiet {
		fmt.Fprintln(a.err, words.ShortLines(fmt.Sprintf(format, safeArgs(args)...), mostLine))
	}
}

// safely returns a stream for people, that passes on nothing of what is written which a
// terminal obeys or does not show: whatever comes from outside, and whoever writes it.
func safely(out io.Writer) io.Writer { return &words.Writer{W: out, Whole: true} }

// unguarded returns the stream below, for what is drawn over on a terminal.
func unguarded(stream any) any {
	for {
		switch w := stream.(type) {
		case *words.Writer:
			stream = w.W
		case *table.Page:
			stream = w.W
		default:
			return stream
		}
	}
}

// terminal returns the file behind a stream where it is a terminal.
func terminal(stream any) (*os.File, bool) {
	f, ok := unguarded(stream).(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return nil, false
	}
	return f, true
}

// drawable reports whether a stream is a terminal that takes more than plain text, for colours
// and for what is drawn over.
func drawable(stream any) bool {
	_, tty := terminal(stream)
	return tty && os.Getenv("TERM") != "dumb"
}

// colour says whether results may be coloured.
func (a *app) colour() bool {
	return drawable(a.out) && !a.noColor && os.Getenv("NO_COLOR") == "" && a.file == ""
}

// usualColumns is how wide what a person reads is where no terminal says how wide it is, as in
// a file or a pipe: so much fits on any terminal and on A4.
const usualColumns = 80

// fewestColumns is the least width that texts are made for. What a narrower terminal breaks is
// broken anywhere.
const fewestColumns = 40

// columnsOf is how many columns a line may have on a stream: those of the variable COLUMNS,
// of the terminal, or the usual ones.
func columnsOf(stream any) int {
	if n, err := strconv.Atoi(os.Getenv("COLUMNS")); err == nil && n > 0 {
		return max(fewestColumns, n)
	}
	if f, tty := terminal(stream); tty {
		if n, _, err := term.GetSize(int(f.Fd())); err == nil && n > 0 {
			return max(fewestColumns, n)
		}
	}
	return usualColumns
}

// width is how many columns a line of the results may have.
func (a *app) width() int {
	if a.file != "" && a.file != "-" {
		return columnsOf(nil)
	}
	return columnsOf(a.out)
}

// size is how many columns and rows the results' terminal has, 0 where there is none.
func (a *app) size() (columns, rows int) {
	f, tty := terminal(a.out)
	if !tty || a.file != "" {
		return 0, 0
	}
	columns, rows, err := term.GetSize(int(f.Fd()))
	if err != nil {
		return 0, 0
	}
	return columns, rows
}
