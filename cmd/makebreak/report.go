package main

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"makebreak/analyze/report"
	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/sequences/archive"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
)

// reportOpts are the flags of report, and which of them were given.
type reportOpts struct {
	budget                  string
	cycle                   int
	wantsBudget, wantsCycle bool
	schema                  bool
	diagram                 string
	wantsDiagram            bool
	paper                   string
	against                 string
	wantsAgainst            bool
	verify                  bool
	key                     string
}

func (a *app) reportCommand() *cobra.Command {
	var o reportOpts
	c := &cobra.Command{
		Use:   "report RUN",
		Short: "Write the record of a run again, from the log alone",
		Long: `Write the record of a run again, from the log alone. RUN is as makebreak runs
lists it; last is the newest, with --unit the newest of that unit.

With --budget, write the uncertainty budget of one measurement instead: its
components, what each contributes, and how they make the expanded uncertainty.
A measurement is named SIGNAL.QUANTITY[@EVENT][#CYCLE]:

  makebreak report last --budget OUT3.high_level
  makebreak report last --budget K1.operate_time@arm-away#2

Without an event, any event is taken. Without a cycle, the latest that has a budget
is taken.

With --capture, write what was captured in one cycle instead, as a CSV file that
makebreak analyze reads: times from the capture's start, to the nanosecond.
Captures are kept around what happened. Where samples were left out, the column
samples_kept is 0. Where edges of K1_NO may be lost, a column K1_NO_lost is 1.

  makebreak report last --capture 3 -o cycle3.csv

With --diagram, draw the timing diagram of one output at one event instead, as SVG or
PNG: the event, the output's voltage with its limits, its relay's contacts, and the
times measured. It is named SIGNAL[@EVENT][#CYCLE]; SIGNAL is an output, a relay or a
contact. Without an event or a cycle, the worst is drawn:

  makebreak report last --diagram OUT3@arm-away#3 -o d.svg

As a page (--as html) or a PDF (--as pdf, made by an installed Chromium), the record
prints what a reader needs. With --appendix it prints all figures, too. A PDF is for
A4 unless --paper letter is given.

  makebreak report last --as pdf --appendix -o record.pdf

With --against, say instead which figures moved since another run by more than their
uncertainties allow. The other run is named, or is one of: first and previous, the
first or the previous run of the same unit and sequence; reference, the run of this
kind that makebreak runs --mark-reference has marked. What one rig with one calibration gets wrong in
both runs cancels. The exit status is 0, whatever moved.

  makebreak report last --against previous

With --verify, say instead of each signature of the run (makebreak runs sign) whether
the run is as it was signed; with --key whether it is the workshop's signature. The exit
status is 65 where no signature stands.

  makebreak report last --verify --key workshop.key.pub

With --schema, write the JSON Schema of the results instead: of records, of the
list of runs and of budgets.`,
		Args: func(c *cobra.Command, args []string) error {
			if o.schema {
				return noArguments(c, args)
			}
			if len(args) != 1 {
				return problem.New(problem.Usage, "report takes one run, as makebreak runs lists them, or last")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			o.wantsBudget, o.wantsCycle, o.wantsDiagram = c.Flags().Changed("budget"), c.Flags().Changed("capture"), c.Flags().Changed("diagram")
			o.wantsAgainst = c.Flags().Changed("against")
			if err := o.check(); err != nil {
				return err
			}
			if o.verify {
				if err := a.choice("report --verify", "text"); err != nil {
					return err
				}
			}
			if slices.Contains(diagramForms, a.as) && !o.wantsDiagram {
				return badUsage("report --as %s draws one diagram: name it with --diagram %s", a.as, report.DiagramForm)
			}
			if o.schema {
				return a.schema()
			}
			if err := a.checkPage(c, &o); err != nil {
				return err
			}
			return a.report(c.Context(), args[0], &o)
		},
	}
	a.forms(c, append(slices.Clone(allForms), diagramForms...)...)
	a.allFlag(c.Flags())
	c.Flags().IntVar(&o.cycle, "capture", 0, "write the capture kept of a `cycle`")
	c.Flags().StringVar(&o.budget, "budget", "", "write the uncertainty budget of a `measurement`: SIGNAL.QUANTITY[@EVENT][#CYCLE]")
	c.Flags().StringVar(&o.diagram, "diagram", "", "draw the timing `diagram` of SIGNAL[@EVENT][#CYCLE]")
	c.Flags().BoolVar(&a.page.Appendix, "appendix", false, "let the page or the PDF print all figures, too")
	c.Flags().StringVar(&o.paper, "paper", "", "print on a `size` of paper: a4 or letter (default: a4 for a PDF, the printer's for a page)")
	c.Flags().StringVar(&o.against, "against", "", "compare with another `run`: its name, first, previous or reference")
	c.Flags().BoolVar(&o.verify, "verify", false, "say whether the run is as it was signed")
	c.Flags().StringVar(&o.key, "key", "", "with --verify: look for signatures by the public key in a `file`")
	c.Flags().BoolVar(&o.schema, "schema", false, "write the JSON Schema of the results")
	return c
}

func (o *reportOpts) check() error {
	switch {
	case o.verify && (o.schema || o.wantsCycle || o.wantsBudget || o.wantsDiagram || o.wantsAgainst):
		return problem.New(problem.Usage, "use --verify alone: leave out --capture, --budget, --diagram, --against and --schema")
	case o.key != "" && !o.verify:
		return problem.New(problem.Usage, "--key says by whose key a run must be signed: give --verify with it")
	case o.wantsAgainst && (o.schema || o.wantsCycle || o.wantsBudget || o.wantsDiagram):
		return problem.New(problem.Usage, "use --against alone: leave out --capture, --budget, --diagram and --schema")
	case o.wantsAgainst && o.against == "":
		return problem.New(problem.Usage, "--against needs a run: its name, first, previous or reference")
	case o.schema && (o.wantsCycle || o.wantsBudget || o.wantsDiagram):
		return problem.New(problem.Usage, "--schema is of no run: leave out --capture, --budget and --diagram")
	case o.wantsCycle && o.wantsBudget:
		return problem.New(problem.Usage, "use --capture or --budget, not both")
	case o.wantsDiagram && (o.wantsCycle || o.wantsBudget):
		return problem.New(problem.Usage, "use --diagram alone: leave out --capture and --budget")
	case o.wantsCycle && o.cycle < 1:
		return badUsage("--capture %d: must be a cycle's number, 1 or more", o.cycle)
	}
	return nil
}

// papers are the sizes of paper by their names in --paper.
var papers = map[string]report.Paper{"a4": report.A4, "letter": report.Letter}

// checkPage looks at the flags that say how a page is printed.
func (a *app) checkPage(c *cobra.Command, o *reportOpts) error {
	asPage := a.as == "html" || a.as == "pdf"
	for _, name := range []string{"appendix", "paper"} {
		if c.Flags().Changed(name) && (!asPage || o.wantsBudget || o.wantsCycle || o.wantsDiagram) {
			return badUsage("--%s is for a record as a page: add --as html or --as pdf", name)
		}
	}
	if !c.Flags().Changed("paper") {
		return nil
	}
	paper, known := papers[strings.ToLower(o.paper)]
	if !known {
		return badUsage("--paper %q: %s", o.paper, words.UseOneOf(o.paper, slices.Sorted(maps.Keys(papers))))
	}
	a.page.Paper = paper
	return nil
}

// schema writes the JSON Schema of the results.
func (a *app) schema() error {
	if a.asked {
		if err := a.choice("report --schema", "json"); err != nil {
			return err
		}
	}
	a.as = "json" // which --quiet lets through
	return a.deliver(report.Schema)
}

// report writes what was asked for of a run in the log.
func (a *app) report(ctx context.Context, run string, o *reportOpts) error {
	if err := a.loadCauses(); err != nil {
		return err
	}
	a.wanted = archive.Wanted{Unit: a.unit, Names: []string{run, o.against}}
	db, err := a.openLog()
	if err != nil {
		return err
	}
	defer db.Close()
	rec, err := a.findRun(db, run)
	if err != nil {
		return err
	}
	if o.verify {
		return a.verify(ctx, rec, o.key)
	}
	if o.wantsCycle {
		return a.captureOf(rec, o.cycle)
	}
	if o.wantsAgainst {
		return a.compare(db, rec, o.against)
	}
	r, err := record.Of(rec, db.Path())
	if err != nil {
		return readFailed(err)
	}
	switch {
	case o.wantsBudget:
		return a.budget(r, o.budget)
	case o.wantsDiagram:
		return a.diagram(r, o.diagram)
	}
	return a.results(r)
}

// findRun finds a run in the log by its name; last is the newest, of the unit where one
// is named.
func (a *app) findRun(db *journal.DB, name string) (*journal.RunRecord, error) {
	if name == "last" && a.unit != "" {
		runs, err := a.runsOf(db)
		switch {
		case err != nil:
			return nil, err
		case len(runs) == 0:
			return nil, badUsage("the log holds no run of the unit %q", a.unit)
		}
		name = runs[0].Run
	}
	rec, err := db.Find(name)
	switch {
	case err != nil:
		return nil, err
	case a.unit != "" && rec.Unit != a.unit:
		return nil, badUsage("run %s is of the unit %q, not %q", rec.ID, rec.Unit, a.unit)
	}
	return rec, nil
}

// budget writes the uncertainty budget of one measurement of a run.
func (a *app) budget(r *report.Record, name string) error {
	if err := a.choice("report --budget", "text", "csv", "json"); err != nil {
		return err
	}
	b, err := report.FindBudget(r, name)
	if err != nil {
		err = fmt.Errorf("--budget %q: %w", name, err)
		if problem.KindOf(err) != problem.Unknown { // the log cannot be read
			return err
		}
		return problem.Of(problem.Usage, err)
	}
	return a.deliver(a.chosen(writers{"text": a.asText(b), "csv": b.CSV, "json": b.JSON}))
}
