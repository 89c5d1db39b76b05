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

// busyWithin is how recently a run that has not ended may have stored a cycle to be taken
// for one that goes on.
const busyWithin = 24 * time.Hour

// A Prune says what is to be removed from a log.
type Prune struct {
	OlderThan time.Duration // since a run ended, or stored its last cycle
	WholeRuns bool          // the runs, not only their captures
	Into      string        // the log that whole runs are copied into first; empty: none
	Shrink    bool          // give the room back to the disk
}

// A Choice is what a Prune picks of a log.
type Choice struct {
	Prune
	Runs       []journal.Holding // that are, or whose captures are, to be removed
	Unfinished []journal.Holding // soaks among Runs that could still be resumed
	Spared     []journal.Holding // that have not ended and may still go on
	Parts      []journal.Holding // what is left of cut-off removals, and stays for now
}

// Choose picks what is old enough at an instant of all that a log holds. What is left of a
// run whose removal was cut off goes with whole runs, however old.
func (p Prune) Choose(all []journal.Holding, now time.Time) Choice {
	c := Choice{Prune: p}
	for _, h := range all {
		since := now.Sub(h.Touched)
		switch {
		case h.State.Partial() && p.WholeRuns:
			c.Runs = append(c.Runs, h)
		case h.State.Partial():
			c.Parts = append(c.Parts, h)
		case since < p.OlderThan, !p.WholeRuns && h.Captures == 0:
		case !h.Ended && since < busyWithin:
			c.Spared = append(c.Spared, h)
		default:
			c.Runs = append(c.Runs, h)
			if h.Soak && !h.Complete && p.WholeRuns && p.Into == "" {
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
	if len(c.Spared) > 0 {
		all = append(all, "Kept, because they have not ended and may still be going on (last cycle less than a day old): "+names(c.Spared))
	}
	if len(c.Parts) > 0 {
		all = append(all, "Only a part is left of these, as their copying or removal was cut off; --whole-runs removes them: "+names(c.Parts))
	}
	return all
}

// Text lists what is removed, or would be where nothing is done yet.
func (c *Choice) Text(w io.Writer, doing bool) error {
	if len(c.Runs) == 0 {
		_, err := fmt.Fprintln(w, "Nothing is old enough to be removed.")
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
		what = "all of it, once it is in " + c.Into
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

// Remove removes what was picked from the log. It says which runs have another name in the
// log that they went into, and where the room went; empty where nothing went. A run that cannot go does not keep others from going. The errors are of the
// kind Storage.
func (c *Choice) Remove(db *journal.DB) (told string, err error) {
	var stay []error // what keeps runs where they are, others not
	var renamed []string
	for _, h := range c.Runs {
		name, err := c.removeOne(db, h)
		if name != h.Run && err == nil {
			renamed = append(renamed, fmt.Sprintf("Run %s is %s in %s, as that holds or held another run of its name", h.Run, name, c.Into))
		}
		switch {
		case err == nil:
		case concernsOneRun(err):
			stay = append(stay, err)
		default:
			return "", problem.Of(problem.Storage, errors.Join(append(stay, err)...))
		}
	}
	told, err = c.giveBack(db, len(c.Runs) > len(stay))
	if told != "" {
		renamed = append(renamed, told)
	}
	return strings.Join(renamed, "\n"), problem.Of(problem.Storage, errors.Join(append(stay, err)...))
}

// removeOne removes one run, and returns its name where it is kept.
func (c *Choice) removeOne(db *journal.DB, h journal.Holding) (name string, err error) {
	if !c.WholeRuns {
		return h.Run, db.DropCaptures(h)
	}
	name = h.Run
	if c.Into != "" {
		if name, err = db.CopyRun(h.Run, c.Into); err != nil {
			return "", fmt.Errorf("%w\nrun %s stays where it is", err, h.Run)
		}
	}
	return name, db.DropRun(h)
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

// giveBack gives room back after something was removed, and says where it is.
func (c *Choice) giveBack(db *journal.DB, some bool) (string, error) {
	if !c.Shrink {
		err := db.RestoreReserve()
		if err != nil || !some {
			return "", err
		}
		return "Removed. Later runs use the room; --shrink gives it back to the disk", nil
	}
	if err := db.Shrink(); err != nil {
		return "", errors.Join(fmt.Errorf("%w\nWhat was to be removed is removed, and later runs use the room", err), db.RestoreReserve())
	}
	return "Removed, and the room given back to the disk", db.RestoreReserve()
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
