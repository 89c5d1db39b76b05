package upkeep

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"makebreak/rig/problem"
	"makebreak/rig/table"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// OldestAge is the longest age that ParseAge takes, some hundred years.
const OldestAge = 36500 * 24 * time.Hour

// ParseAge reads an age: days or weeks, 90d or 12w, or a time as Go writes it, 36h.
func ParseAge(text string) (time.Duration, error) {
	outOfRange := errors.New("out of range")
	for unit, length := range map[string]time.Duration{"d": 24 * time.Hour, "w": 7 * 24 * time.Hour} {
		number, ok := strings.CutSuffix(text, unit)
		if !ok {
			continue
		}
		n, err := strconv.ParseFloat(number, 64)
		switch {
		case err != nil:
			return 0, err
		case !(n >= 0 && n*float64(length) <= float64(OldestAge)): // also what is no number
			return 0, outOfRange
		}
		return time.Duration(n * float64(length)), nil
	}
	d, err := time.ParseDuration(text)
	if err == nil && (d < 0 || d > OldestAge) {
		err = outOfRange
	}
	return d, err
}

// A Prune says what is to be removed from a log.
type Prune struct {
	OlderThan time.Duration // since a run ended, or stored its last cycle; 0: however young
	WholeRuns bool          // the runs, not only their captures
	Into      string        // the log that whole runs are copied into first; empty: none
	Shrink    bool          // give the room back to the disk
}

// A Choice is what a Prune picks of a log.
type Choice struct {
	Prune
	Runs       []journal.Holding // that are, or whose captures are, to be removed
	Unfinished []journal.Holding // soaks among Runs that could still be resumed
	Busy       []journal.Holding // that are old enough, and that a program writes
	Future     []journal.Holding // dated in the future; among Runs only where any age will do
	References []journal.Holding // that are old enough, and that others are compared with
	Parts      []journal.Holding // what is left of cut-off removals, and stays for now
}

// Choose picks what is old enough at an instant of all that a log holds. What is left of a
// run whose removal was cut off goes with whole runs, however old. A run that a program has
// locked stays, whether it has ended or not.
func (p Prune) Choose(all []journal.Holding, now time.Time) Choice {
	c := Choice{Prune: p}
	for _, h := range all {
		part := h.State.Partial()
		if part && !p.WholeRuns {
			c.Parts = append(c.Parts, h)
			continue
		}
		if !part && !p.WholeRuns && h.Captures == 0 {
			continue
		}
		if !part && h.Touched.After(now) {
			c.Future = append(c.Future, h)
		}
		switch {
		case !part && p.OlderThan > 0 && now.Sub(h.Touched) < p.OlderThan:
		case h.Busy:
			c.Busy = append(c.Busy, h)
		case h.Reference && !part:
			c.References = append(c.References, h)
		default:
			c.Runs = append(c.Runs, h)
			if !part && h.Soak && !h.Complete && p.WholeRuns && p.Into == "" {
				c.Unfinished = append(c.Unfinished, h)
			}
		}
	}
	return c
}

// Notes says of what was not picked why, and what is lost for good.
func (c *Choice) Notes() (all []string) {
	names := func(h []journal.Holding) string {
		return words.List(words.Texts(h, func(h journal.Holding) string { return h.Run }))
	}
	if len(c.Unfinished) > 0 {
		all = append(all, "Soaks among them that are not finished, and that --resume cannot go on with once removed: "+
			words.List(words.Texts(c.Unfinished, func(h journal.Holding) string {
				return fmt.Sprintf("%s (%d of %d cycles)", h.Run, h.Cycles, h.Planned)
			})))
	}
	if len(c.Busy) > 0 {
		all = append(all, "Kept, because another program is writing them: "+names(c.Busy))
	}
	switch {
	case len(c.Future) == 0:
	case c.OlderThan == 0:
		all = append(all, "Dated in the future, so that a clock was or is wrong: "+names(c.Future))
	default:
		all = append(all, "Kept, because they are dated in the future and have no age; a clock was or is wrong, and --older-than 0d removes them, too: "+names(c.Future))
	}
	if len(c.References) > 0 {
		all = append(all, "Kept, because others are compared with them (runs --unmark-reference lets one go): "+names(c.References))
	}
	if len(c.Parts) > 0 {
		all = append(all, "Only a part is left of these, as their copying or removal was cut off; --whole-runs removes them: "+names(c.Parts))
	}
	return all
}

// Text lists what is removed, or would be where nothing is done yet.
func (c *Choice) Text(w io.Writer, doing bool) error {
	if len(c.Runs) == 0 {
		why := "Nothing is old enough to be removed."
		if len(c.Busy) > 0 {
			why = "Nothing can be removed while other programs write what is old enough."
		}
		_, err := fmt.Fprintln(w, why)
		return err
	}
	total := int64(0)
	err := table.Write(w, []string{"run", "unit", "sequence", "last used, local time", "cycles", "captures", "frees about"}, func(row func(...any)) {
		for _, h := range c.Runs {
			bytes := h.CaptureBytes
			if c.WholeRuns {
				bytes = h.Bytes
			}
			total += bytes
			row(h.Run, h.Unit, h.Sequence, h.Touched.Local().Format("2006-01-02 15:04:05"), h.Cycles, h.Captures, Size(bytes))
		}
	})
	what := "their captures; their figures stay"
	switch {
	case c.Into != "":
		what = "all of it, once it is in " + words.Safe(c.Into)
	case c.WholeRuns:
		what = "all of it"
	}
	tense, hint := "Removing", ""
	if !doing {
		tense, hint = "--yes would remove", " Nothing has been removed."
	}
	_, lineErr := fmt.Fprintf(w, "\n%s %s: about %s.%s\n", tense, what, Size(total), hint)
	return errors.Join(err, lineErr)
}

// Remove removes what was picked from the log, and says what of it has gone, also where an
// error kept the rest: how many runs, cycles and captures, which runs have another name in
// the log that they went into, and where the room went. A run that cannot go does not keep
// others from going. ErrTaken says that nothing could go as other programs write it. The
// errors are of the kind Storage.
func (c *Choice) Remove(db *journal.DB) (told string, err error) {
	d := done{into: c.Into}
	var stay []error // what keeps runs where they are, others not
	for _, h := range c.Runs {
		err := c.removeOne(db, h, &d)
		switch {
		case err == nil:
		case concernsOneRun(err):
			stay = append(stay, err)
		default:
			return d.told(), problem.Of(problem.Storage, errors.Join(append(stay, err)...))
		}
	}
	if len(c.Runs) == 0 && len(c.Busy) > 0 {
		stay = append(stay, journal.ErrTaken)
	}
	err = c.giveBack(db, &d)
	return d.told(), problem.Of(problem.Storage, errors.Join(append(stay, err)...))
}

// removeOne removes one run, or its captures.
func (c *Choice) removeOne(db *journal.DB, h journal.Holding, d *done) (err error) {
	var gone journal.Removed
	if !c.WholeRuns {
		gone, err = db.DropCaptures(h)
		d.of(h, gone)
		return err
	}
	name := h.Run
	if c.Into != "" {
		if name, err = db.CopyRun(h.Run, c.Into); err != nil {
			return fmt.Errorf("%w\nrun %s stays where it is", err, h.Run)
		}
	}
	gone, err = db.DropRun(h)
	d.of(h, gone)
	if name != h.Run && err == nil {
		d.renamed = append(d.renamed, fmt.Sprintf("Run %s is %s in %s, as that holds or held another run of its name", words.Safe(h.Run), words.Safe(name), words.Safe(c.Into)))
	}
	return err
}

// concernsOneRun reports whether an error is about one run only.
func concernsOneRun(err error) bool {
	for _, e := range []error{journal.ErrDiffers, journal.ErrNameTaken, journal.ErrPart, journal.ErrWentOn, journal.ErrTaken} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

// giveBack gives room back after something was removed.
func (c *Choice) giveBack(db *journal.DB, d *done) error {
	if !c.Shrink {
		d.kept = true
		return db.RestoreReserve()
	}
	var err error
	d.given, err = db.Shrink()
	d.shrunk = err == nil
	return errors.Join(err, db.RestoreReserve())
}

// Size writes a number of bytes.
func Size(n int64) string {
	switch {
	case n >= 1e9:
		return fmt.Sprintf("%.2f GB", float64(n)/1e9)
	case n >= 1e6:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	}
	return fmt.Sprintf("%.0f kB", float64(n)/1e3)
}
