package archive

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"time"

	"makebreak/rig/table"
	"makebreak/rig/words"
)

// Whereabouts says in one word what the archive has of a run in the log.
type Whereabouts string

// The whereabouts.
const (
	Archived Whereabouts = "archived" // all that the log holds
	Behind   Whereabouts = "behind"   // not all: the run went on, or something was noted with it since
	Missing  Whereabouts = "missing"  // nothing that a view shows
	Underway Whereabouts = "underway" // nothing yet: it has not ended, and is no soak
	Removed  Whereabouts = "removed"  // it was there, and its owner has removed it
)

// RunStatus is a run of the log, and what the archive has of it.
type RunStatus struct {
	Run      string      `json:"run"`
	UUID     string      `json:"run_id"`
	Unit     string      `json:"unit"`
	Sequence string      `json:"sequence"`
	Started  time.Time   `json:"started"`
	Cycles   int64       `json:"cycles"` // number of the last one
	Archive  Whereabouts `json:"archive"`
	There    int64       `json:"cycles_archived"` // number of the last one there
	Since    *time.Time  `json:"archived"`        // when it was pushed last; nil: never
}

// Status is what is in a log and in an archive.
type Status struct {
	Runs  []RunStatus // of the log, the oldest first
	Place string      // of the archive
	Whole int         // runs that are all there
}

// Status compares the log with the archive, and changes neither.
func (p *Pusher) Status(ctx context.Context) (*Status, error) {
	runs, err := p.list(ctx)
	if err != nil {
		return nil, err
	}
	there, err := p.Archive.find(ctx, p.Archive.conn, runs)
	if err != nil {
		return nil, p.Archive.fail("list the runs", err)
	}
	s := &Status{Place: p.Archive.Place(), Runs: []RunStatus{}}
	for _, r := range runs {
		x := RunStatus{Run: r.name, UUID: r.uuid, Unit: r.unit, Sequence: r.sequence, Started: time.Unix(0, r.started).UTC().Truncate(time.Second), Cycles: r.last, Archive: Missing}
		k := there[r.uuid]
		if k != nil && len(k.states) > 0 {
			at := k.at.UTC().Truncate(time.Second)
			x.There, x.Since, x.Archive = k.cycles, &at, Behind
		}
		switch {
		case k != nil && k.removed:
			x.Archive, x.There = Removed, 0
		case k.has(r):
			x.Archive = Archived
			s.Whole++
		case x.Archive == Missing && r.goesOn && !r.soak:
			x.Archive = Underway
		}
		s.Runs = append(s.Runs, x)
	}
	return s, nil
}

// mostListed is how many runs the text names.
const mostListed = 50

// Text writes what is not in the archive for a person, and counts what is.
func (s *Status) Text(w io.Writer) error {
	if _, err := fmt.Fprintf(w, "%s\n%s of %s in the log %s there", words.Safe(words.Capital(s.Place)), strconv.Itoa(s.Whole), words.Count(len(s.Runs), "run"), map[bool]string{true: "is", false: "are"}[s.Whole == 1]); err != nil {
		return err
	}
	var last *time.Time
	var open []*RunStatus
	for i := range s.Runs {
		r := &s.Runs[i]
		if r.Since != nil && (last == nil || r.Since.After(*last)) {
			last = r.Since
		}
		if r.Archive != Archived {
			open = append(open, r)
		}
	}
	if last != nil {
		if _, err := fmt.Fprintf(w, "; the last was pushed on %s UTC", last.Format("2006-01-02 15:04:05")); err != nil {
			return err
		}
	}
	if _, err := fmt.Fprintln(w); err != nil || len(open) == 0 {
		return err
	}
	if _, err := fmt.Fprintln(w); err != nil {
		return err
	}
	err := table.Write(w, []string{"run", "unit", "sequence", "cycles", "archive", "has", "pushed, UTC"}, func(row func(...any)) {
		for _, r := range open[:min(len(open), mostListed)] {
			since := ""
			if r.Since != nil {
				since = r.Since.Format("2006-01-02 15:04:05")
			}
			row(r.Run, r.Unit, r.Sequence, r.Cycles, string(r.Archive), r.There, since)
		}
	})
	if more := len(open) - mostListed; err == nil && more > 0 {
		_, err = fmt.Fprintf(w, "\n%s more; --as csv lists all\n", strconv.Itoa(more))
	}
	return err
}

// CSV writes a row a run.
func (s *Status) CSV(w io.Writer) error {
	c := table.NewCSV(w, "run", "run_id", "unit", "sequence", "started", "cycles", "archive", "cycles_archived", "archived")
	for i := range s.Runs {
		r := &s.Runs[i]
		since := ""
		if r.Since != nil {
			since = r.Since.Format(time.RFC3339)
		}
		if err := c.Row(table.Text(r.Run), table.Text(r.UUID), table.Text(r.Unit), table.Text(r.Sequence), table.Text(r.Started.Format(time.RFC3339)),
			table.Count(int(r.Cycles)), table.Text(string(r.Archive)), table.Count(int(r.There)), table.Text(since)); err != nil {
			return err
		}
	}
	return c.Flush()
}

// JSON writes an array of objects.
func (s *Status) JSON(w io.Writer) error {
	return table.JSON(w, s.Runs)
}
