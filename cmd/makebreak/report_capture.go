package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/capture/csvfile"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
)

// captureOf writes the capture kept of one cycle as a file that analyze reads, its
// times from the capture's start.
func (a *app) captureOf(rec *journal.RunRecord, n int) error {
	if a.as != "text" { // text is what stands there where nothing was asked for
		if err := a.choice("report --capture", "csv"); err != nil {
			return err
		}
	}
	data, err := rec.Capture(n)
	if err != nil {
		return readFailed(err)
	}
	if len(data) == 0 {
		return noCapture(rec, n)
	}
	c := &capture.Capture{}
	if err := c.UnmarshalBinary(data); err != nil {
		return readFailed(fmt.Errorf("run %s, cycle %d: %w", rec.ID, n, err))
	}
	c.Shift(capture.Instant(0).Sub(c.Start))
	a.as = "csv" // which --quiet lets through
	if err := a.deliver(func(w io.Writer) error { return csvfile.Write(w, c) }); err != nil {
		return err
	}
	file := a.file
	if file == "" {
		file = "FILE"
	}
	for _, text := range captureNotes(rec, c, file) {
		a.note("%s", text)
	}
	return nil
}

// noCapture says that a cycle has none, and which have one.
func noCapture(rec *journal.RunRecord, n int) error {
	kept, err := rec.Captured()
	if err != nil {
		return readFailed(err)
	}
	stored, err := rec.Stored()
	if err != nil {
		return readFailed(err)
	}
	what := fmt.Sprintf("no capture is kept of cycle %d", n)
	if !slices.ContainsFunc(stored, func(s journal.Span) bool { return n >= s.First && n <= s.Last }) {
		what = fmt.Sprintf("there is no cycle %d", n)
	}
	which := "it keeps none of any"
	if len(kept) > 0 {
		which = "captures are kept of " + cyclesWord(kept)
	}
	return failed(exitUsage, fmt.Errorf("--capture %d: %s in run %s; %s", n, what, rec.ID, which))
}

// mostSpans is how many spans of cycles a message names.
const mostSpans = 8

// cyclesWord names spans of cycles, as in "cycles 1 to 3, 10 and 20 to 25".
func cyclesWord(spans []journal.Span) string {
	if len(spans) == 1 && spans[0].First == spans[0].Last {
		return fmt.Sprintf("cycle %d", spans[0].First)
	}
	var words []string
	for _, s := range spans[:min(mostSpans, len(spans))] {
		word := fmt.Sprint(s.First)
		if s.Last > s.First {
			word = fmt.Sprintf("%d to %d", s.First, s.Last)
		}
		words = append(words, word)
	}
	if more := record.CountCycles(spans[min(mostSpans, len(spans)):]); more > 0 {
		words = append(words, fmt.Sprintf("%d more up to %d", more, spans[len(spans)-1].Last))
	}
	last := len(words) - 1
	if last == 0 {
		return "cycles " + words[0]
	}
	return "cycles " + strings.Join(words[:last], ", ") + " and " + words[last]
}

// captureNotes say how to measure an exported capture again, and what the form has no
// room for.
func captureNotes(rec *journal.RunRecord, c *capture.Capture, file string) []string {
	var notes []string
	if rec.Seed != nil {
		notes = append(notes, "It is of the simulated bench: nothing real was measured.")
		if len(rec.Faults) > 0 {
			notes = append(notes, "Faults were planted on purpose: "+strings.Join(rec.Faults, ", ")+".")
		}
	}
	again := "makebreak analyze " + file
	first, others := spansOf(rec, c)
	if first > 0 {
		again += " --averaged " + strings.ReplaceAll(unit.Time.Format(first.Seconds()), " ", "")
	}
	notes = append(notes, fmt.Sprintf("To measure it again: %s --sequence %s", again, rec.Sequence))
	if others != "" {
		notes = append(notes, "Other outputs have other conversion times: "+others+".")
	}
	notes = append(notes, "The file has no room for what the rig knows of its own uncertainties: those are in the run's record.")
	for _, t := range c.Tracks {
		if t.Lost > 0 {
			notes = append(notes, fmt.Sprintf("Known to be lost: %s of %s, of which the file cannot tell; figures of it may be wrong.", words.Count(t.Lost, "edge", "edges"), t.Signal))
		}
	}
	for _, s := range c.Unsupplied {
		notes = append(notes, fmt.Sprintf("The supply's converter had lost its setting some time from %s to %s, of which the file cannot tell: figures from there on say nothing of the unit.",
			unit.Time.Format(s.From.Seconds()), unit.Time.Format(s.To.Seconds())))
	}
	if c.Kept != nil {
		if left := leftOut(c); left > 0 {
			notes = append(notes, fmt.Sprintf("Samples were kept around what happened; %s of %s were left out, where samples_kept is 0.",
				unit.Time.Format(left.Seconds()), unit.Time.Format(c.End.Sub(c.Start).Seconds())))
		}
	}
	return notes
}

// spansOf returns the time over which a sample of the outputs that the sequence names is
// a mean, and in words those of other outputs that differ from it.
func spansOf(rec *journal.RunRecord, c *capture.Capture) (first time.Duration, others string) {
	named := func(string) bool { return true }
	if seq, err := sequences.Parse(rec.Sequence, []byte(rec.SequenceSource)); err == nil && len(seq.Plan.Outputs) > 0 {
		named = func(signal string) bool { return seq.Plan.Output(signal) != nil }
	}
	for _, t := range c.Traces {
		if first == 0 && named(t.Signal) {
			first = t.Converter.Span
		}
	}
	var words []string
	for _, t := range c.Traces {
		if d := t.Converter.Span; d != first {
			words = append(words, t.Signal+" "+unit.Time.Format(d.Seconds()))
		}
	}
	return first, strings.Join(words, ", ")
}

// leftOut is the time of a capture in which samples were left out.
func leftOut(c *capture.Capture) time.Duration {
	left := c.End.Sub(c.Start)
	for _, s := range c.Kept {
		left -= s.To.Sub(s.From)
	}
	return left
}
