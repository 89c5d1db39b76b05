package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/capture"
	"makebreak/rig/infile"
	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/record"
)

// analyzeOpts are the flags of analyze.
type analyzeOpts struct {
	averaged, sequence string
}

func (a *app) analyzeCommand() *cobra.Command {
	var o analyzeOpts
	c := &cobra.Command{
		Use:   "analyze CAPTURE...",
		Short: "Measure and judge capture files that already exist",
		Long: `Measure capture files, and judge them where a sequence is given.

A capture is a CSV file with a header row. Its first column is time_s (seconds,
rising); a column whose name ends in _V holds volts at the unit's terminal; the
column event holds an event's name on the row of its instant; every other
column is a contact, reference or drive, 0 or 1. A relay K1 has the columns
K1_NO and K1_NC. - reads standard input.

With --as html, the page also draws the whole capture, and each output where it fared
worst at each event.`,
		Example: `  makebreak analyze capture.csv
  makebreak analyze capture.csv --averaged 1.2ms
  makebreak analyze capture.csv --sequence armed-high --as csv -o figures.csv`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return badUsage("analyze takes at least one capture file; - reads standard input")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return a.analyze(c.Context(), args, &o) },
	}
	a.forms(c, allForms...)
	a.allFlag(c.Flags())
	f := c.Flags()
	f.StringVar(&o.averaged, "averaged", "", "each voltage is the mean over this `time` before its instant, as in 1.2ms")
	f.StringVar(&o.sequence, "sequence", "", "judge by the expectations of a `sequence`, a built-in name or a file")
	return c
}

func (a *app) analyze(ctx context.Context, files []string, o *analyzeOpts) error {
	averaged, err := o.averagedTime()
	if err != nil {
		return err
	}
	if err := a.loadCauses(); err != nil {
		return err
	}
	var seq *sequences.Sequence
	if o.sequence != "" {
		if seq, err = a.loadSequence(o.sequence); err != nil {
			return err
		}
	}
	if (a.as == "html" || a.as == "pdf") && len(files) > 1 {
		return badUsage("--as %s makes a page of one capture; name one file", a.as)
	}
	var records []*report.Record
	worst := analyze.NoVerdict
	for _, file := range files {
		r, err := a.analyzeFile(ctx, file, averaged, seq)
		if err != nil {
			return err
		}
		records = append(records, r)
		worst = worst.Worse(r.Verdict)
	}
	if err := a.results(records...); err != nil {
		return err
	}
	a.verdict = worst
	return nil
}

func (o *analyzeOpts) averagedTime() (time.Duration, error) {
	if o.averaged == "" {
		return 0, nil
	}
	s, err := unit.Time.Parse(o.averaged)
	if err != nil {
		return 0, badUsage("--averaged: %w", err)
	}
	if s <= 0 || s > 3600 {
		return 0, badUsage("--averaged %s: must be above 0 s and at most 1 h", o.averaged)
	}
	return capture.FromSeconds(s).Sub(0), nil
}

// analyzeFile measures one capture file while it is read.
func (a *app) analyzeFile(ctx context.Context, file string, averaged time.Duration, seq *sequences.Sequence) (*report.Record, error) {
	var in io.Reader = a.in
	name := "standard input"
	if file != "-" {
		f, err := infile.Open(ctx, file)
		if err != nil {
			return nil, problem.Reading(fmt.Errorf("capture %s: %w", words.Safe(file), problem.Innermost(err)))
		}
		defer f.Close()
		in, name = f, file
	}
	measured := record.OfCapture
	if a.as == "html" || a.as == "pdf" {
		measured = record.DrawnCapture
	}
	rec, unlike, err := measured(ctx, name, in, averaged, seq)
	if err != nil {
		return nil, a.otherFile(file, sequences.CaptureFile, inputError(err))
	}
	if unlike != "" && (a.as == "csv" || a.as == "json") {
		a.note("%s: %s", name, unlike) // these have no place for cautions
	}
	rec.Run, rec.Unit, rec.By, rec.Program = filepath.Base(name), a.unit, a.by, version()
	return rec, nil
}
