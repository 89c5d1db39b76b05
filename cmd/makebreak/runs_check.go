package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

func (a *app) checkCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "check",
		Short: "Read the whole log and say whether it is sound",
		Long: `Read the whole log and say whether it is sound: its pages and indexes; that what
rows refer to is there; and of each run all that a report reads, with no cycle,
figure or symptom missing in between. Nothing is changed. The log may lie on a disk
that cannot be written, and a soak may go on in it meanwhile.

Exit status: 0 it is sound, 65 it is damaged, 74 it could not be read. What cannot be
seen is a figure that a fault of the disk has made another possible one.`,
		Example: `  makebreak runs check
  makebreak runs check --log /media/stick/log.db`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return a.checkLog(c.Context()) },
	}
	a.forms(c, "text")
	return c
}

// checkup is what a check has found.
type checkup struct {
	size              int64
	pages, references error
	list              error // why the runs cannot be listed
	stray             int   // captures of no cycle
	runs              []journal.Contents
}

// largeLog is from how many bytes on it is said that the check takes its time.
const largeLog = 500e6

func (a *app) checkLog(ctx context.Context) error {
	db, err := a.openLog()
	if err != nil {
		return a.keepDamaged(err)
	}
	defer db.Close()
	u, err := a.checkUp(ctx, db)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		return a.keepDamaged(readFailed(err))
	}
	if err := a.deliver(func(w io.Writer) error { return u.write(w, db.Path()) }); err != nil {
		return err
	}
	switch err := u.trouble(); {
	case err == nil:
		return nil
	case errors.Is(err, journal.ErrCorrupt):
		err = fmt.Errorf("log %s: %w", db.Path(), journal.ErrCorrupt) // the results have the details
		return a.keepDamaged(failed(exitInput, fmt.Errorf("%w; makebreak report still writes the record of each run that is whole", err)))
	default:
		return readFailed(err)
	}
}

func (a *app) checkUp(ctx context.Context, db *journal.DB) (u checkup, err error) {
	if u.size, err = db.Size(); err != nil {
		return u, err
	}
	if u.size > largeLog {
		a.note("The log has %s; reading it takes minutes", sizeWords(u.size))
	}
	u.pages, u.references = db.CheckFile(ctx), db.CheckReferences(ctx)
	runs, err := db.Runs()
	if err != nil {
		u.list = err
		return u, nil
	}
	for _, r := range runs {
		c, err := db.ReadRun(ctx, r)
		switch {
		case errors.Is(err, journal.ErrNoRun):
			continue
		case err != nil:
			return u, err
		}
		u.runs = append(u.runs, c)
	}
	if u.trouble() == nil {
		u.stray, err = db.StrayCaptures(ctx)
	}
	return u, err
}

// trouble is the first thing that was found wrong; nil: nothing was.
func (u *checkup) trouble() error {
	for _, err := range []error{u.pages, u.references, u.list} {
		if err != nil {
			return err
		}
	}
	for _, c := range u.runs {
		if c.Err != nil {
			return c.Err
		}
	}
	return nil
}

// keepDamaged adds to the error of a damaged log what to do with it.
func (a *app) keepDamaged(err error) error {
	if !errors.Is(err, journal.ErrCorrupt) {
		return err
	}
	name := filepath.Base(a.log)
	return fmt.Errorf("%w\nkeep the file as it is: copy it, with %s-wal where there is one, while no program writes it; begin new runs in another log, named with --log", err, name)
}

func (u *checkup) write(w io.Writer, path string) error {
	cycles, figures, captures, whole := 0, 0, 0, 0
	for _, c := range u.runs {
		cycles, figures, captures = cycles+c.Cycles, figures+c.Figures, captures+c.Captures
		if c.Err == nil {
			whole++
		}
	}
	fmt.Fprintf(w, "Log         %s, %s\n", path, sizeWords(u.size))
	fmt.Fprintf(w, "Read        %s, %s, %s, %s\n", words.Count(len(u.runs), "run", "runs"), words.Count(cycles, "cycle", "cycles"),
		words.Count(figures, "figure", "figures"), words.Count(captures, "capture", "captures"))
	fmt.Fprintf(w, "Pages       %s\n", soundOr(u.pages))
	fmt.Fprintf(w, "References  %s\n", soundOr(u.references))
	if u.list != nil {
		fmt.Fprintf(w, "Runs        %s\n", soundOr(u.list))
	} else {
		fmt.Fprintf(w, "Runs        %d of %d whole\n", whole, len(u.runs))
	}
	for _, c := range u.runs {
		switch {
		case c.Err != nil:
			fmt.Fprintf(w, "  %s: %s\n", c.Run, soundOr(c.Err))
		case c.Partial:
			fmt.Fprintf(w, "  %s: only a part, as its copying or its removal was cut off\n", c.Run)
		case u.trouble() != nil:
			fmt.Fprintf(w, "  %s: whole, %s\n", c.Run, words.Count(c.Cycles, "cycle", "cycles"))
		}
	}
	if u.stray > 0 {
		fmt.Fprintf(w, "Captures    %d of no run; they do no harm\n", u.stray)
	}
	verdict := "sound"
	if u.trouble() != nil {
		verdict = "damaged"
	}
	_, err := fmt.Fprintf(w, "\nThe log is %s.\n", verdict)
	return err
}

// soundOr is a finding as one line, without the name of the log.
func soundOr(err error) string {
	if err == nil {
		return "sound"
	}
	text := plain(err)
	if _, details, found := strings.Cut(text, journal.ErrCorrupt.Error()); found {
		text = "damaged" + details
	}
	return strings.ReplaceAll(text, "\n", "; ")
}
