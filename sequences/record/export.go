package record

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/capture"
	"makebreak/rig/capture/csvfile"
	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
)

// CaptureOf returns the capture kept of a cycle, its times from the capture's start. The
// error is of the kind Usage where none is kept, and says of which cycles one is.
func CaptureOf(rec *journal.RunRecord, n int) (*capture.Capture, error) {
	c, err := captureAt(rec, n)
	if err == nil && c == nil {
		err = noCapture(rec, n)
	}
	return c, err
}

// captureAt is CaptureOf; nil without an error where none is kept.
func captureAt(rec *journal.RunRecord, n int) (*capture.Capture, error) {
	data, err := rec.Capture(n)
	if err != nil || len(data) == 0 {
		return nil, err
	}
	c := &capture.Capture{}
	if err := c.UnmarshalBinary(data); err != nil {
		return nil, fmt.Errorf("run %s, cycle %d: %w", words.Safe(rec.ID), n, err)
	}
	c.Shift(capture.Instant(0).Sub(c.Start))
	return c, nil
}

// OriginOf says what the captures of a run are of.
func OriginOf(rec *journal.RunRecord) csvfile.Origin {
	of := csvfile.Origin{Simulated: rec.Seed != nil}
	if rec.Faults != nil {
		of.Faults = report.FaultNames(rec.Faults)
	}
	return of
}

// noCapture says that a cycle has none, and which have one.
func noCapture(rec *journal.RunRecord, n int) error {
	kept, err := rec.Captured()
	if err != nil {
		return err
	}
	stored, err := rec.Stored()
	if err != nil {
		return err
	}
	what := fmt.Sprintf("no capture is kept of cycle %d", n)
	if !slices.ContainsFunc(stored, func(s analyze.Cycles) bool { return n >= s.First && n <= s.Last }) {
		what = fmt.Sprintf("there is no cycle %d", n)
	}
	which := "it keeps none"
	if len(kept) > 0 {
		which = "captures are kept of " + cyclesText(kept)
	}
	return problem.Of(problem.Usage, fmt.Errorf("%s in run %s; %s", what, words.Safe(rec.ID), which))
}

// mostSpans is how many spans of cycles a message names.
const mostSpans = 8

// cyclesText names spans of cycles, as in "cycles 1 to 3, 10 and 20 to 25".
func cyclesText(spans []analyze.Cycles) string {
	if len(spans) == 1 && spans[0].First == spans[0].Last {
		return fmt.Sprintf("cycle %d", spans[0].First)
	}
	var names []string
	for _, s := range spans[:min(mostSpans, len(spans))] {
		name := fmt.Sprint(s.First)
		if s.Last > s.First {
			name = fmt.Sprintf("%d to %d", s.First, s.Last)
		}
		names = append(names, name)
	}
	if more := analyze.CountCycles(spans[min(mostSpans, len(spans)):]); more > 0 {
		names = append(names, fmt.Sprintf("%d more up to %d", more, spans[len(spans)-1].Last))
	}
	return "cycles " + words.And(names)
}

// ExportNotes say how to measure an exported capture again, and what the form has no
// room for.
func ExportNotes(rec *journal.RunRecord, c *capture.Capture, file string) []string {
	var notes []string
	if rec.Seed != nil {
		notes = append(notes, "It is of the simulated bench: nothing real was measured.")
		switch {
		case report.IsSealed(rec.Faults):
			notes = append(notes, "It was made in an exercise: whether anything is wrong with it is sealed.")
		case len(rec.Faults) > 0:
			notes = append(notes, "Faults were planted on purpose: "+strings.Join(rec.Faults, ", ")+".")
		}
	}
	again := "makebreak analyze " + file
	first, others := Averaged(rec, c)
	if first > 0 {
		again += " --averaged " + strings.ReplaceAll(unit.Time.Format(first.Seconds()), " ", "")
	}
	notes = append(notes, fmt.Sprintf("To measure it again: %s --sequence %s", again, words.Safe(rec.Sequence)))
	if others != "" {
		notes = append(notes, "Other outputs have other conversion times: "+others+".")
	}
	notes = append(notes, "The file has no room for what the rig knows of its own uncertainties: those are in the run's record.")
	for _, t := range c.Tracks {
		if n := t.Lost(); n > 0 {
			notes = append(notes, fmt.Sprintf("Known to be lost: %s of %s, while %s_lost is 1.", words.Count(n, "edge"), t.Signal, t.Signal))
		}
		if t.Late > 2*t.Stamp {
			notes = append(notes, fmt.Sprintf("Edges of %s were taken in up to %s late, of which the file cannot tell: closer ones may be missing.", t.Signal, unit.Time.Short(t.Late.Seconds(), 2)))
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

// CalibrationNotes say by which calibrations the voltages of a cycle's capture were corrected
// that prove nothing.
func CalibrationNotes(rec *journal.RunRecord, n int) ([]string, error) {
	all, err := rec.Calibrations()
	if err != nil {
		return nil, err
	}
	since := 0
	for _, c := range all {
		if c.Since <= n {
			since = max(since, c.Since)
		}
	}
	all = slices.DeleteFunc(all, func(c capture.Calibration) bool { return c.Since != since || !c.Doubted() })
	var notes []string
	for _, line := range capture.CalibrationLines(all) {
		notes = append(notes, "Voltages were corrected, of which the file cannot tell: "+line+".")
	}
	return notes, nil
}

// Averaged returns the time over which a sample of the outputs that the sequence names is
// a mean, and in words those of other outputs that differ from it.
func Averaged(rec *journal.RunRecord, c *capture.Capture) (first time.Duration, others string) {
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
