package record

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/cause"
	"makebreak/analyze/diagnose"
	"makebreak/analyze/report"
	"makebreak/rig/capture"
	"makebreak/rig/capture/csvfile"
	"makebreak/rig/infile"
	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/sequences"
)

// OfCapture measures a capture file while it is read, judges it where a sequence is given,
// and makes its record. Each voltage is the mean over the time averaged before its instant;
// 0: the value at it. unlike says where the samples do not look like such means; empty where
// they may be. Reading ends with the context.
func OfCapture(ctx context.Context, name string, in io.Reader, averaged time.Duration, seq *sequences.Sequence) (rec *report.Record, unlike string, err error) {
	return ofCapture(ctx, name, in, averaged, seq, false)
}

// DrawnCapture is OfCapture with diagrams: of the whole capture, and of each output at each
// event the first with the gravest verdict.
func DrawnCapture(ctx context.Context, name string, in io.Reader, averaged time.Duration, seq *sequences.Sequence) (rec *report.Record, unlike string, err error) {
	return ofCapture(ctx, name, in, averaged, seq, true)
}

func ofCapture(ctx context.Context, name string, in io.Reader, averaged time.Duration, seq *sequences.Sequence, draw bool) (rec *report.Record, unlike string, err error) {
	r, err := csvfile.NewReader(infile.Stream(ctx, in), name, averaged)
	if err != nil {
		return nil, "", err
	}
	m, err := newCaptureMeasurer(r, seq)
	if err != nil {
		return nil, "", problem.Of(problem.Input, fmt.Errorf("%s: %w", name, err))
	}
	if draw {
		m.drawer = newDrawer(m.plan, r.Capture())
	}
	if err := m.all(); err != nil {
		return nil, "", err
	}
	return m.record(), m.unlikeMeans(), nil
}

// captureMeasurer measures a capture state by state while it is read, and discards what
// has been measured.
type captureMeasurer struct {
	reader *csvfile.Reader
	meter  *diagnose.Examiner
	seq    *sequences.Sequence
	plan   *analyze.Plan
	result analyze.Result
	states int
	events bool
	seen   map[string]bool // events by name
	drawer *drawer         // nil: nothing is drawn
}

// lookBack is how much of a capture is kept before an event, for the crossing
// that may lie right at it.
const lookBack = 50 * time.Millisecond

func newCaptureMeasurer(r *csvfile.Reader, seq *sequences.Sequence) (*captureMeasurer, error) {
	m := &captureMeasurer{reader: r, seq: seq, plan: &analyze.Plan{}, seen: map[string]bool{}}
	if seq != nil {
		m.plan = &seq.Plan
	}
	var err error
	m.meter, err = diagnose.NewExaminer(m.plan, r.Capture())
	return m, err
}

// all reads the capture to its end.
func (m *captureMeasurer) all() error {
	c := m.reader.Capture()
	var present *capture.Event
	for {
		e, err := m.next(c, present == nil)
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		end := err != nil
		to := e.At
		if end {
			to = c.End + 1
		}
		m.state(c, present, to)
		if end {
			return nil
		}
		c.Discard(e.At.Add(-lookBack))
		if present == nil {
			c.Thin()
		}
		present = &e
		m.events = true
	}
}

// part is how many rows before the first event are read at a time.
const part = 250_000

// next reads on to the next event. Before the first one, of which only the states
// must be known, what has been read is measured and discarded in parts.
func (m *captureMeasurer) next(c *capture.Capture, first bool) (capture.Event, error) {
	if !first {
		return m.reader.Next()
	}
	for {
		e, found, err := m.reader.Advance(part)
		if err != nil || found {
			return e, err
		}
		m.meter.Begin(c, c.End+1)
		c.Discard(c.End.Add(-lookBack))
	}
}

// state measures from an event to the next; before the first one there is only a
// state to know.
func (m *captureMeasurer) state(c *capture.Capture, e *capture.Event, to capture.Instant) {
	if e == nil {
		m.meter.Begin(c, to)
		return
	}
	if m.seq != nil && len(m.seq.Steps) > 0 {
		m.meter.SetCycle(m.states/len(m.seq.Steps) + 1)
	}
	m.meter.State(c, *e, to)
	m.states++
	m.seen[e.Name] = true
	r := m.meter.Take()
	m.result.Measurements = append(m.result.Measurements, r.Measurements...)
	m.result.Symptoms = append(m.result.Symptoms, r.Symptoms...)
	if m.drawer != nil {
		m.drawer.state(c, e, m.result.Measurements)
	}
}

// cycles is how many cycles the capture holds.
func (m *captureMeasurer) cycles() int {
	if m.seq == nil || len(m.seq.Steps) == 0 {
		return min(1, m.states)
	}
	return (m.states + len(m.seq.Steps) - 1) / len(m.seq.Steps)
}

// unseen names the sequence's events that the capture does not have.
func (m *captureMeasurer) unseen() []string {
	var names []string
	for _, step := range m.plan.Steps {
		if !m.seen[step] && !slices.Contains(names, step) {
			names = append(names, step)
		}
	}
	return names
}

// unshown says what of the sequence the capture does not show, so that what is demanded
// there has not been seen; empty where it shows all.
func (m *captureMeasurer) unshown() string {
	missing := m.unseen()
	if m.seq == nil || len(missing) == 0 {
		return ""
	}
	return "the capture has no " + strings.Join(missing, ", no ") + ": what the sequence expects there has not been seen"
}

// limited reports whether a figure was held against a limit.
func (m *captureMeasurer) limited(signal string, q analyze.Quantity) bool {
	return slices.ContainsFunc(m.result.Measurements, func(x analyze.Measurement) bool {
		return x.Signal == signal && x.Quantity == q && !x.Limit.None()
	})
}

// record makes the capture's record.
func (m *captureMeasurer) record() *report.Record {
	if !m.events {
		r := m.meter.Take()
		m.result.Measurements = r.Measurements
	}
	why := m.unshown()
	r := &report.Record{Cycles: m.cycles(), Complete: why == "", Reason: why, Verdict: analyze.RunVerdict(why == "", m.result.Verdict()),
		Measurements: func(yield func(analyze.Measurement, error) bool) {
			for i := range m.result.Measurements {
				if !yield(m.result.Measurements[i], nil) {
					return
				}
			}
		},
		Counts: m.reader.Capture().Counts, Plan: m.plan, Signals: signals(m.plan), Steps: m.plan.Steps,
	}
	if m.drawer != nil {
		r.Drawn = m.drawer.diagrams()
	}
	of := m.reader.Origin()
	r.Simulated, r.Faults = of.Simulated, of.Faults
	var symptoms diagnose.Gathering
	evidence := cause.New(m.plan)
	for _, s := range m.result.Symptoms {
		symptoms.Add(s)
		evidence.Symptom(s)
	}
	if !report.IsSealed(of.Faults) {
		// Its measurements are in memory and read without an error.
		r.Findings, _ = findings(r, &symptoms, m.plan)
		_ = addEvidence(r, evidence)
	}
	if m.seq != nil {
		r.Sequence, r.About = m.seq.Name, m.seq.About
	}
	if text := unjudged(m.plan, m.limited); r.Verdict == analyze.Pass && text != "" {
		r.Cautions = append(r.Cautions, text)
	}
	if !m.events {
		r.Cautions = append(r.Cautions, "the capture names no event: only the levels are measured")
	}
	if len(m.reader.Capture().Traces) > 0 {
		r.Cautions = append(r.Cautions, "the uncertainties hold what the samples show; the accuracy of the instrument that took them is not known and comes on top")
	}
	if m.reader.Capture().Kept != nil {
		r.Cautions = append(r.Cautions, "samples were left out of the capture on purpose: levels, ripple and hold are those of what was kept")
	}
	if text := m.unlikeMeans(); text != "" {
		r.Cautions = append(r.Cautions, text)
	}
	for _, t := range m.reader.Capture().Tracks {
		if len(t.Edges) > 0 || t.Known {
			r.Cautions = append(r.Cautions, ShortestBounce(t.Stamp))
			break
		}
	}
	for _, t := range m.reader.Capture().Traces {
		if t.Missing > 0 {
			r.Cautions = append(r.Cautions, fmt.Sprintf("%s: missing %s", t.Signal, words.Count(t.Missing, "sample", "samples")))
		}
	}
	return r
}

// improbable is how probable, at most, what means show must be for it to be said that the
// samples are none: one capture of means in 10,000 is then wrongly doubted.
const improbable = 1e-4

// unlikeMeans says that the samples do not look like the means that they are said to be;
// nothing where they may be.
func (m *captureMeasurer) unlikeMeans() string {
	a := m.meter.Averaging()
	if a.Probability() > improbable {
		return ""
	}
	time := unit.Time.Format(m.reader.Capture().Traces[0].Converter.Span.Seconds()) // all have one
	text := fmt.Sprintf("--averaged %s does not fit the samples: no sample lies between the states in %d of %s, which means over that time show less than once in 10,000 captures",
		time, a.Unseen, words.Count(a.Steps, "step", "steps"))
	if a.Sharp > 0 {
		text = fmt.Sprintf("--averaged %s does not fit the samples: %d of %s happened faster than means over that time can change",
			time, a.Sharp, words.Count(a.Steps, "step", "steps"))
	}
	return text + ". If each voltage is the value at its instant, leave --averaged out"
}
