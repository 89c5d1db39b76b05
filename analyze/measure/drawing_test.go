package measure_test

import (
	"math"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
)

// drawing is a capture drawn by hand. Times are in seconds from its start.
type drawing struct{ *capture.Capture }

func draw(length float64) drawing {
	return drawing{&capture.Capture{End: capture.FromSeconds(length)}}
}

type hole struct{ from, to float64 }

// output adds an output sampled at a rate, but not in the holes.
func (d drawing) output(signal string, rate float64, v func(t float64) float64, holes ...hole) drawing {
	tr := capture.NewTrace(signal, capture.Converter{})
	for i := 0; ; i++ {
		t := float64(i) / rate
		if capture.FromSeconds(t) > d.End {
			break
		}
		if !within(t, holes) {
			tr.Append(capture.FromSeconds(t), v(t))
		}
	}
	d.Traces = append(d.Traces, tr)
	return d
}

func within(t float64, holes []hole) bool {
	for _, h := range holes {
		if t > h.from && t < h.to {
			return true
		}
	}
	return false
}

// event adds an event.
func (d drawing) event(name string, at float64) drawing {
	d.Events = append(d.Events, capture.Event{Name: name, At: capture.FromSeconds(at), Timed: "file"})
	return d
}

// contact adds a contact that is closed or not at the start and changes at the
// times given.
func (d drawing) contact(signal string, closed bool, at ...float64) drawing {
	t := &capture.Track{Signal: signal, Known: true, Initial: closed}
	for _, s := range at {
		closed = !closed
		t.Edges = append(t.Edges, capture.Edge{At: capture.FromSeconds(s), Closed: closed})
	}
	d.Tracks = append(d.Tracks, t)
	return d
}

// levels is an output that has each level from its time on: time, level, time, level.
func levels(first float64, changes ...float64) func(float64) float64 {
	return func(t float64) float64 {
		v := first
		for i := 0; i < len(changes); i += 2 {
			if t >= changes[i]-1e-9 { // instants are whole nanoseconds
				v = changes[i+1]
			}
		}
		return v
	}
}

func plus(f, g func(float64) float64) func(float64) float64 {
	return func(t float64) float64 { return f(t) + g(t) }
}

// hum is mains hum of the frequency in hertz and volts peak to peak.
func hum(frequency, volts float64) func(float64) float64 {
	return func(t float64) float64 { return volts / 2 * math.Sin(2*math.Pi*frequency*t) }
}

func atMost(v float64) analyze.Limit  { return analyze.Limit{Lower: math.NaN(), Upper: v} }
func atLeast(v float64) analyze.Limit { return analyze.Limit{Lower: v, Upper: math.NaN()} }

// measured measures the drawing as one cycle and adds the findings.
func measured(t testing.TB, plan *analyze.Plan, d drawing) (analyze.Result, string) {
	t.Helper()
	r, err := diagnose.Examine(plan, d.Capture)
	if err != nil {
		t.Fatal(err)
	}
	wellFormed(t, r)
	var texts []string
	for _, f := range diagnose.Findings(plan, r.Symptoms, 1) {
		texts = append(texts, f.Text)
		if strings.Contains(f.Text, "NaN") || strings.Contains(f.Text, "Inf") || strings.Contains(f.Text, "?") {
			t.Errorf("a finding without its figure: %s", f.Text)
		}
	}
	return r, strings.Join(texts, "\n")
}

// wellFormed checks what every result must keep: a value that is a number has no
// undefined uncertainty where it has a budget, one that is missing has a reason and
// does not pass, and nothing is infinite but degrees of freedom.
// failing is a test, or a property of one.
type failing interface {
	Helper()
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}

func wellFormed(t failing, r analyze.Result) {
	t.Helper()
	for _, x := range r.Measurements {
		where := x.Event + " " + x.Signal + " " + string(x.Quantity)
		switch {
		case math.IsInf(x.Value, 0) || math.IsInf(x.Expanded, 0) || math.IsInf(x.Standard, 0):
			t.Errorf("%s: infinite: %g ± %g", where, x.Value, x.Expanded)
		case math.IsNaN(x.Value) && diagnose.Reason(&x) == "":
			t.Errorf("%s: missing without a reason", where)
		case math.IsNaN(x.Value) && x.Verdict == analyze.Pass:
			t.Errorf("%s: missing and passed", where)
		case !math.IsNaN(x.Value) && len(x.Budget) > 0 && math.IsNaN(x.Expanded):
			t.Errorf("%s: a budget and no uncertainty: %+v", where, x.Budget)
		case x.Verdict == analyze.Undecided && x.Conformance > 0.976:
			t.Errorf("%s: undecided (%s), and meets its limit with a probability of %g", where, diagnose.Reason(&x), x.Conformance)
		case x.Verdict == analyze.Undecided && diagnose.Reason(&x) == "":
			t.Errorf("%s: undecided without a reason", where)
		}
	}
}

// rowsOf returns the rows of an event, signal and quantity.
func rowsOf(r analyze.Result, event, signal string, q analyze.Quantity) []analyze.Measurement {
	var rows []analyze.Measurement
	for _, x := range r.Measurements {
		if x.Event == event && x.Signal == signal && x.Quantity == q {
			rows = append(rows, x)
		}
	}
	return rows
}

// figure is what a test expects of one row.
type figure struct {
	event, signal string
	q             analyze.Quantity
	value, tol    float64 // a NaN value: missing
	verdict       analyze.Verdict
}

// check compares the first row of the figure's kind with it.
func (f figure) check(t *testing.T, r analyze.Result) {
	t.Helper()
	rows := rowsOf(r, f.event, f.signal, f.q)
	if len(rows) == 0 {
		t.Errorf("%s %s %s: no row", f.event, f.signal, f.q)
		return
	}
	x := rows[0]
	missing := math.IsNaN(f.value) && math.IsNaN(x.Value)
	if !missing && !(math.Abs(x.Value-f.value) <= f.tol) || x.Verdict != f.verdict {
		t.Errorf("%s %s %s: %g %q (%s), want %g within %g, %q", f.event, f.signal, f.q, x.Value, x.Verdict, diagnose.Reason(&x), f.value, f.tol, f.verdict)
	}
}

// says checks the findings: each text expected is there, and there are no more
// findings than texts.
func says(t *testing.T, findings string, want ...string) {
	t.Helper()
	got := 0
	if findings != "" {
		got = strings.Count(findings, "\n") + 1
	}
	for _, w := range want {
		if !strings.Contains(findings, w) {
			t.Errorf("no finding says %q:\n%s", w, findings)
		}
	}
	if got != len(want) {
		t.Errorf("%d findings, want %d:\n%s", got, len(want), findings)
	}
}
