package upkeep

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// A Checkup is what a check of a log has found.
type Checkup struct {
	Path       string
	Size       int64 // bytes
	Pages      error // what is wrong with the file's pages and indexes; nil: nothing
	References error // what rows refer to and is not there; nil: nothing
	List       error // why the runs cannot be listed
	Stray      int   // captures of no cycle; they do no harm
	Runs       []journal.Contents
}

// LargeLog is the size in bytes from which a check takes minutes.
const LargeLog = 500e6

// Check reads the whole log. Damage is in the result; the error says why the log could not
// be read.
func Check(ctx context.Context, db *journal.DB) (u Checkup, err error) {
	u.Path = db.Path()
	if u.Size, err = db.Size(); err != nil {
		return u, err
	}
	u.Pages, u.References = db.CheckFile(ctx), db.CheckReferences(ctx)
	runs, err := db.Runs()
	if err != nil {
		u.List = err
		return u, nil
	}
	for _, r := range runs {
		c, err := db.ReadRun(ctx, r)
		switch {
		case errors.Is(err, journal.ErrNoRun): // removed meanwhile
			continue
		case err != nil:
			return u, err
		}
		u.Runs = append(u.Runs, c)
	}
	if u.Err() == nil {
		u.Stray, err = db.StrayCaptures(ctx)
	}
	return u, err
}

// Err returns the first thing that was found wrong; nil: nothing was.
func (u *Checkup) Err() error {
	for _, err := range []error{u.Pages, u.References, u.List} {
		if err != nil {
			return err
		}
	}
	for _, c := range u.Runs {
		if c.Err != nil {
			return c.Err
		}
	}
	return nil
}

// Text writes what was checked, what of it is sound, and the verdict.
func (u *Checkup) Text(w io.Writer) error {
	cycles, figures, captures, whole := 0, 0, 0, 0
	for _, c := range u.Runs {
		cycles, figures, captures = cycles+c.Cycles, figures+c.Figures, captures+c.Captures
		if c.Err == nil {
			whole++
		}
	}
	fmt.Fprintf(w, "Log         %s, %s\n", words.Safe(u.Path), Size(u.Size))
	fmt.Fprintf(w, "Read        %s, %s, %s, %s\n", words.Count(len(u.Runs), "run"), words.Count(cycles, "cycle"),
		words.Count(figures, "figure"), words.Count(captures, "capture"))
	fmt.Fprintf(w, "Pages       %s\n", soundOr(u.Pages))
	fmt.Fprintf(w, "References  %s\n", soundOr(u.References))
	if u.List != nil {
		fmt.Fprintf(w, "Runs        %s\n", soundOr(u.List))
	} else {
		fmt.Fprintf(w, "Runs        %d of %d whole\n", whole, len(u.Runs))
	}
	for _, c := range u.Runs {
		switch {
		case c.Err != nil:
			fmt.Fprintf(w, "  %s: %s\n", words.Safe(c.Run), soundOr(c.Err))
		case c.Partial:
			fmt.Fprintf(w, "  %s: only a part, as its copying or its removal was cut off\n", words.Safe(c.Run))
		case u.Err() != nil:
			fmt.Fprintf(w, "  %s: whole, %s\n", words.Safe(c.Run), words.Count(c.Cycles, "cycle"))
		}
	}
	if u.Stray > 0 {
		fmt.Fprintf(w, "Captures    %d of no run; they do no harm\n", u.Stray)
	}
	verdict := "sound"
	if u.Err() != nil {
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
	text := err.Error()
	if _, details, found := strings.Cut(text, journal.ErrCorrupt.Error()); found {
		text = "damaged" + details
	}
	return words.Safe(strings.ReplaceAll(text, "\n", "; "))
}
