package upkeep

import (
	"fmt"
	"strings"

	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// done is what a removal has come to.
type done struct {
	journal.Removed
	into    string   // the log that whole runs were copied into; empty: none
	pruned  int      // runs that lost captures and stay
	cut     []string // runs of which a part has gone
	renamed []string // which runs have another name where they went
	kept    bool     // the room stays in the log
	shrunk  bool     // the log gave its free room back
	given   int64    // bytes that the disk has got back
}

// of adds what has gone of a run.
func (d *done) of(h journal.Holding, gone journal.Removed) {
	d.Add(gone)
	switch {
	case gone.Runs > 0:
	case gone.Cycles > 0:
		d.cut = append(d.cut, h.Run)
	case gone.Captures > 0:
		d.pruned++
	}
}

// told says what has happened.
func (d *done) told() string {
	lines := append(d.renamed, d.removed()+d.room())
	if len(d.cut) > 0 {
		lines = append(lines, "Only a part is left of these; --whole-runs removes the rest: "+words.List(d.cut))
	}
	return strings.Join(lines, "\n")
}

// removed says how much has gone.
func (d *done) removed() string {
	var parts []string
	if d.Runs > 0 {
		parts = append(parts, words.Count(d.Runs, "run"))
	}
	if d.Cycles > 0 {
		parts = append(parts, words.Count(d.Cycles, "cycle"))
	}
	if d.Captures > 0 {
		captures := fmt.Sprintf("%s of %s", words.Count(d.Captures, "capture"), Size(d.CaptureBytes))
		if d.pruned > 0 {
			captures += " from " + words.Count(d.pruned, "run")
		}
		parts = append(parts, captures)
	}
	if len(parts) == 0 {
		return "Nothing was removed"
	}
	what := "Removed: " + words.And(parts)
	if d.into != "" && d.Runs > 0 {
		what += ", which are in " + d.into
	}
	return what
}

// room says where the room has gone.
func (d *done) room() string {
	gone := d.Runs+d.Cycles+d.Captures > 0
	switch {
	case d.given > 0:
		return fmt.Sprintf("; %s given back to the disk", Size(d.given))
	case d.shrunk:
		return "; the log had no room to give back to the disk"
	case d.kept && gone:
		return ". Later runs use the room; --shrink gives it back to the disk"
	case gone:
		return ". Later runs use the room"
	}
	return ""
}
