package main

import (
	"errors"
	"fmt"
	"io"
	"makebreak/rig/table"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"makebreak/sequences/journal"
)

// pruneOpts are the flags of runs prune.
type pruneOpts struct {
	olderThan             age
	whole, shrink, really bool
	into                  string // the log that whole runs are moved into; empty: none
}

// oldest is the longest age that can be asked for, some hundred years.
const oldest = 36500 * 24 * time.Hour

// age is a time as prune takes it: 90d, 12w, or as other flags, 36h.
type age time.Duration

func (a *age) Set(text string) error {
	for unit, length := range map[string]time.Duration{"d": 24 * time.Hour, "w": 7 * 24 * time.Hour} {
		if number, ok := strings.CutSuffix(text, unit); ok {
			n, err := strconv.ParseFloat(number, 64)
			if err == nil && !(n >= 0 && n*float64(length) <= float64(oldest)) { // also what is no number
				err = errors.New("out of range")
			}
			if err != nil {
				return err
			}
			*a = age(n * float64(length))
			return nil
		}
	}
	d, err := time.ParseDuration(text)
	if err == nil && (d < 0 || d > oldest) {
		err = errors.New("out of range")
	}
	if err != nil {
		return err
	}
	*a = age(d)
	return nil
}

func (a *age) String() string {
	if *a == 0 {
		return "" // there is no default
	}
	return time.Duration(*a).String()
}

func (a *age) Type() string { return "age" }

func (a *age) rule() string { return "must be a time up to 36500d, for example 90d, 12w or 36h" }

// busyWithin is how recently a run that has not ended may have stored a cycle to be
// taken for one that goes on.
const busyWithin = 24 * time.Hour

func (a *app) pruneCommand() *cobra.Command {
	var o pruneOpts
	c := &cobra.Command{
		Use:   "prune",
		Short: "Make room in the log: remove captures, or whole runs, older than a time",
		Long: `Make room in the log. Captures of runs that ended longer ago than --older-than are
removed; their figures stay, and so does every report. With --whole-runs the runs
themselves go; with --into they are first copied into another log, which report and
runs read by --log as they read this one. Without --yes it only says what would be
removed.

A run that has not ended is spared while its last cycle is less than a day old.
What a removal left that was cut off goes with the next --whole-runs. A full disk can
be pruned by the help of the file beside the log that ends in -reserve.

The room is used again by later runs; --shrink gives it back to the disk. Where there
is room for two more of it the log is written anew, and no program may be running.`,
		Example: `  makebreak runs prune --older-than 90d
  makebreak runs prune --older-than 90d --yes
  makebreak runs prune --older-than 365d --whole-runs --shrink --yes
  makebreak runs prune --older-than 365d --whole-runs --into 2025.db --yes`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if !c.Flags().Changed("older-than") {
				return failed(exitUsage, errors.New("runs prune needs --older-than, as in --older-than 90d"))
			}
			if o.into != "" && !o.whole {
				return failed(exitUsage, errors.New("--into moves whole runs: give --whole-runs with it"))
			}
			return a.prune(&o)
		},
	}
	a.forms(c, "text")
	f := c.Flags()
	f.Var(&o.olderThan, "older-than", "only what ended longer ago than this `time`, as in 90d; 0d: all that has ended; must be given")
	f.BoolVar(&o.whole, "whole-runs", false, "remove the runs, not only their captures")
	f.StringVar(&o.into, "into", "", "copy the runs into another log, a `file`, before they are removed")
	f.BoolVar(&o.shrink, "shrink", false, "give the room back to the disk afterwards")
	f.BoolVar(&o.really, "yes", false, "do it; without this it is only said what would be done")
	return c
}

func (a *app) prune(o *pruneOpts) error {
	open := a.openLog
	if o.really {
		open = func() (*journal.DB, error) { return a.openLogWith(journal.OpenToPrune) }
	}
	db, err := open()
	if err != nil {
		return err
	}
	defer db.Close()
	all, err := db.Holdings()
	if err != nil {
		return readFailed(err)
	}
	chosen := a.toPrune(o, all)
	if err := a.tellPrune(o, chosen); err != nil {
		return err
	}
	if !o.really {
		return nil
	}
	return a.doPrune(db, o, chosen)
}

// toPrune picks what is old enough. What is left of a run whose removal was cut off goes
// with whole runs, however old.
func (a *app) toPrune(o *pruneOpts, all []journal.Holding) (chosen []journal.Holding) {
	var spared, parts, unfinished []string
	now := time.Now()
	for _, h := range all {
		since := now.Sub(h.Touched)
		switch {
		case h.State.Partial() && o.whole:
			chosen = append(chosen, h)
		case h.State.Partial():
			parts = append(parts, h.Run)
		case since < time.Duration(o.olderThan), !o.whole && h.Captures == 0:
		case !h.Ended && since < busyWithin:
			spared = append(spared, h.Run)
		default:
			chosen = append(chosen, h)
			if h.Soak && !h.Complete && o.whole && o.into == "" {
				unfinished = append(unfinished, fmt.Sprintf("%s (%d of %d cycles)", h.Run, h.Cycles, h.Planned))
			}
		}
	}
	if len(unfinished) > 0 {
		a.note("Soaks among them that are not finished, and that --resume cannot go on with once removed: %s", strings.Join(unfinished, ", "))
	}
	if len(spared) > 0 {
		a.note("Spared, because they have not ended and may still be going on, their last cycle being less than a day old: %s", strings.Join(spared, ", "))
	}
	if len(parts) > 0 {
		a.note("Only a part is left of these, as their copying or removal was cut off; --whole-runs removes them: %s", strings.Join(parts, ", "))
	}
	return chosen
}

// tellPrune lists what is, or would be, removed.
func (a *app) tellPrune(o *pruneOpts, chosen []journal.Holding) error {
	return a.deliver(func(w io.Writer) error {
		if len(chosen) == 0 {
			fmt.Fprintln(w, "Nothing is old enough to be removed.")
			return nil
		}
		total := int64(0)
		err := table.Write(w, []string{"run", "unit", "sequence", "last used, local time", "cycles", "captures", "frees about"}, func(row func(...any)) {
			for _, h := range chosen {
				bytes := h.CaptureBytes
				if o.whole {
					bytes = h.Bytes
				}
				total += bytes
				row(h.Run, h.Unit, h.Sequence, h.Touched.Local().Format("2006-01-02 15:04:05"), h.Cycles, h.Captures, sizeWords(bytes))
			}
		})
		what := "their captures; their figures stay"
		tense, hint := "Removing", ""
		if !o.really {
			tense, hint = "--yes would remove", " Nothing has been removed."
		}
		if o.whole {
			what = "all of it"
		}
		if o.into != "" {
			what = "all of it, once it is in " + o.into
		}
		fmt.Fprintf(w, "\n%s %s: about %s.%s\n", tense, what, sizeWords(total), hint)
		return err
	})
}

func (a *app) doPrune(db *journal.DB, o *pruneOpts, chosen []journal.Holding) error {
	var stay []error // what keeps runs where they are, others not
	for _, h := range chosen {
		err := pruneOne(db, o, h)
		switch {
		case err == nil:
		case staysAlone(err):
			stay = append(stay, err)
		default:
			return failed(exitLog, errors.Join(append(stay, err)...))
		}
	}
	if err := a.roomBack(db, o, len(chosen) > len(stay)); err != nil {
		return failed(exitLog, errors.Join(append(stay, err)...))
	}
	return failed(exitLog, errors.Join(stay...))
}

// pruneOne removes a run or its captures.
func pruneOne(db *journal.DB, o *pruneOpts, h journal.Holding) error {
	if !o.whole {
		return db.DropCaptures(h)
	}
	if o.into != "" {
		if err := db.CopyRun(h.Run, o.into); err != nil {
			return fmt.Errorf("%w\nrun %s stays where it is", err, h.Run)
		}
	}
	return db.DropRun(h)
}

// staysAlone says whether an error is about one run only.
func staysAlone(err error) bool {
	for _, e := range []error{journal.ErrDiffers, journal.ErrNameTaken, journal.ErrPart, journal.ErrWentOn, journal.ErrTaken} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

// roomBack gives room back after something was removed, and says where it is.
func (a *app) roomBack(db *journal.DB, o *pruneOpts, some bool) error {
	if !o.shrink {
		if err := db.RestoreReserve(); err != nil {
			return err
		}
		if some {
			a.note("Removed. Later runs use the room; --shrink gives it back to the disk")
		}
		return nil
	}
	if err := db.Shrink(); err != nil {
		return errors.Join(fmt.Errorf("%w\nWhat was to be removed is removed, and later runs use the room", err), db.RestoreReserve())
	}
	a.note("Removed, and the room given back to the disk")
	return db.RestoreReserve()
}

// sizeWords writes a number of bytes for people.
func sizeWords(n int64) string {
	switch {
	case n >= 1e9:
		return fmt.Sprintf("%.2f GB", float64(n)/1e9)
	case n >= 1e6:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	}
	return fmt.Sprintf("%.0f kB", float64(n)/1e3)
}
