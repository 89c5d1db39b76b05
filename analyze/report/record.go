package report

import (
	"iter"
	"slices"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/cause"
	"makebreak/analyze/picture"
	"makebreak/analyze/tally"
	"makebreak/rig/capture"
)

// A Record holds all that is known of one run.
type Record struct {
	Run      string
	RunID    string // unique over all rigs; empty: it has none
	Program  string // version that measured; empty: not known
	Unit     string // serial of the unit; may be empty
	Sequence string
	About    string // what the sequence shows, in its author's words
	By       string // who ran it; may be empty
	Rig      string
	Started  time.Time // zero: not known, as of an imported capture
	Ended    time.Time // zero: not known, or it has not ended
	// Cycles were done of those Planned. Planned zero: no number was set.
	Cycles, Planned int
	// Complete is false for a run that ended early; Reason says why.
	Complete bool
	Reason   string
	// Ending is that as data; the zero Ending: it is complete, or it is not known.
	Ending  capture.Ending
	Verdict analyze.Verdict
	// Unstored says what was measured of cycles that are not among these figures, as they
	// could not be stored; one line a cycle.
	Unstored []string
	// Measurements streams every figure, in the order of the cycles. It must be
	// repeatable: the text goes through it once, the page three times.
	Measurements iter.Seq2[analyze.Measurement, error]
	// CycleStart says when a cycle began, the zero time where that is not known; nil: it is
	// of none.
	CycleStart func(cycle int) (time.Time, error)
	// Signals and Steps are the orders in which signals and events are shown.
	// What they do not name follows in the order in which it appears.
	Signals, Steps []string
	Findings       []analyze.Finding
	// Evidence is what the causes are ranked by; nil: none are told. CauseTable is the table
	// that ranks them; nil: the program's own.
	Evidence   *cause.Evidence
	CauseTable *cause.Table
	Counts     capture.Counts
	// Converters say what each of the rig's converters has of the counts; nil: nothing, or it is
	// not known.
	Converters []capture.ConverterCounts
	// Calibrations say of each output that was sampled by which calibration its readings were
	// corrected, from which cycle on; nil: not known.
	Calibrations []capture.Calibration
	// Machine is what was known of the computer at a real bench, in the order in which it was
	// seen; nil: nothing.
	Machine []capture.MachineFact
	// Cautions limit the trust in the figures (a calibration overdue, a contact
	// sampled too slowly); Notes are what a person wrote.
	Cautions, Notes []string
	LogPath         string // file that the run is stored in; empty: it was not stored
	// Captures are the cycles of which a capture is kept, rising; CaptureOf reads one of them,
	// with times from its start. Nil, or no capture and no error: none is kept.
	Captures  []analyze.Cycles
	CaptureOf func(cycle int) (*capture.Capture, error)
	// Drawn are diagrams that were made while a capture was read, of which nothing else is kept.
	Drawn []*picture.Timing
	// Plan is what the unit had to do. Nil: nothing was demanded.
	Plan *analyze.Plan
	// Since compares the run with the previous one of its unit and sequence; nil, or no
	// comparison and no error: there is none.
	Since func() (*Comparison, error)
	// Fields are what the workshop itself notes with a run, in its order.
	Fields    []Field
	Simulated bool     // measured on the simulated bench
	Seed      *uint64  // of the simulated bench; nil: not known
	Faults    []string // planted on the simulated bench on purpose; nil: not known, or a real one
	// Tally is what the figures of a soak come to; nil: not a soak. Where there is one,
	// the text and the page's table are made of it and not of Measurements.
	Tally         *tally.Tally
	Interruptions []Interruption // of a soak
	// Lives sets the unit's life among those of others of its kind, nil: there are too few;
	// a nil func: it is not known.
	Lives func() (*Lives, error)
	// Cycle streams one cycle's figures; nil: they are looked for in Measurements.
	Cycle func(n int) iter.Seq2[analyze.Measurement, error]
}

// Field is what a workshop notes with a run, as a job's number.
type Field struct{ Name, Value string }

// Lives are boards' lives on Weibull paper, with what is to be kept in mind of them.
type Lives struct {
	Paper *picture.Paper
	Notes []string
}

// Interruption is a time during which a soak did not go on.
type Interruption struct {
	After   int       // the last cycle stored before it
	Stopped time.Time // zero: not known
	Resumed time.Time
	Reason  string
	// Ending is why it stopped, as data; the zero Ending: not known.
	Ending  capture.Ending
	Program string // version that went on; empty: not known, or the one before went on itself
}

// Sealed stands in Faults for what is hidden from whoever tests the bench, as in an exercise.
const Sealed = "sealed"

// IsSealed reports whether a bench's faults are hidden from whoever tests it. What names them is
// hidden, too.
func IsSealed(faults []string) bool { return slices.Contains(faults, Sealed) }

func (r *Record) sealed() bool { return IsSealed(r.Faults) }

// measurements streams the figures; a record without any has none.
func (r *Record) measurements() iter.Seq2[analyze.Measurement, error] {
	if r.Measurements == nil {
		return func(func(analyze.Measurement, error) bool) {}
	}
	return r.Measurements
}

// plainText makes a text safe to hand on: valid UTF-8 with line feeds only, so
// that it comes back from every format as it went in.
func plainText(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	s = strings.ReplaceAll(s, "\r\n", "\n")
	return strings.ReplaceAll(s, "\r", "\n")
}
