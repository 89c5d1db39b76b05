package measure_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
)

// unsupplied is a cycle in which the supply sags to 1 V at 2.5 s, so that the relay lets
// go, and is set again at 3.2 s.
func unsupplied(spans ...capture.Span) drawing {
	d := draw(7).output("OUT1", 860, levels(0.5, 1.1, 13, 2.5, 1, 3.2, 13, 5.1, 0.5)).event("on", 1).event("off", 5).
		contact("K1_NO", false, 1.108, 2.504, 3.208, 5.104).contact("K1_NC", true, 1.105, 2.507, 3.205, 5.107)
	d.Unsupplied = spans
	return d
}

func seconds(from, to float64) capture.Span {
	return capture.Span{From: capture.FromSeconds(from), To: capture.FromSeconds(to)}
}

func unsuppliedPlan() *analyze.Plan {
	p := relayPlan()
	p.Outputs[0].Limits = analyze.Limits{analyze.HighLevel: atLeast(12), analyze.LowLevel: atMost(1), analyze.Hold: atMost(0)}
	return p
}

// What a unit did while it may not have been supplied is not held against it, nor for it,
// until the cycle's end; what came before stands.
func TestUnsupplied(t *testing.T) {
	for _, c := range []struct {
		name    string
		spans   []capture.Span
		on, off bool // its figures are trusted
		says    []string
	}{
		{"not told of it", nil, true, true, []string{"left its state", "Relay K1"}},
		{"in the first state", []capture.Span{seconds(2.4, 3.3)}, false, false, []string{"The supply's converter had lost its setting at on, off"}},
		{"since before the first event", []capture.Span{seconds(0.9, 3.3)}, false, false, []string{"lost its setting at on, off"}},
		{"twice", []capture.Span{seconds(2.4, 3.3), seconds(6, 6.2)}, false, false, []string{"lost its setting at on, off"}},
		{"in the second state", []capture.Span{seconds(4.9995, 5.3)}, true, false, []string{"lost its setting at off", "left its state", "Relay K1"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, findings := measured(t, unsuppliedPlan(), unsupplied(c.spans...))
			trusted := map[string]bool{"on": c.on, "off": c.off}
			for _, x := range r.Measurements {
				lost := math.IsNaN(x.Value) && diagnose.Reason(&x) == "the supply's converter had lost its setting"
				if x.Event != "" && lost == trusted[x.Event] {
					t.Errorf("%s %s %s: %g, %s", x.Event, x.Signal, x.Quantity, x.Value, diagnose.Reason(&x))
				}
				if want := x.Limit.None(); lost && (x.Verdict == analyze.NoVerdict) != want || lost && !want && x.Verdict != analyze.Undecided {
					t.Errorf("%s %s %s: %q", x.Event, x.Signal, x.Quantity, x.Verdict)
				}
			}
			says(t, findings, c.says...)
			if want := analyze.Undecided; !c.on && r.Verdict() != want {
				t.Errorf("verdict %s, want %s", r.Verdict(), want)
			}
		})
	}
}

// The level before the first event is not reported where it is not trusted.
func TestUnsupplied_Baseline(t *testing.T) {
	r, _ := measured(t, unsuppliedPlan(), unsupplied(seconds(0.5, 0.8)))
	if x := rowsOf(r, "", "OUT1", analyze.LowLevel); len(x) != 1 || !math.IsNaN(x[0].Value) || !strings.Contains(diagnose.Reason(&x[0]), "lost its setting") {
		t.Errorf("%+v", x)
	}
}

// The next cycle is measured as ever: where the outputs stand is known from when the unit
// was supplied again, to the end of the cycle.
func TestUnsupplied_NextCycle(t *testing.T) {
	for _, span := range []capture.Span{seconds(2.4, 3.3), seconds(5.5, 6.9)} {
		first, next := unsupplied(span), draw(3).output("OUT1", 860, levels(0.5, 1.1, 13, 2.1, 0.5)).event("on", 1).event("off", 2).
			contact("K1_NO", false, 1.108, 2.104).contact("K1_NC", true, 1.105, 2.107)
		next.Shift(7 * time.Second)
		m, err := diagnose.NewExaminer(unsuppliedPlan(), first.Capture)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range []drawing{first, next} {
			_ = m.Take()
			m.State(d.Capture, d.Events[0], d.Events[1].At)
			m.State(d.Capture, d.Events[1], d.End)
		}
		r := m.Take()
		if r.Verdict() != analyze.Pass || len(r.Symptoms) > 0 {
			t.Errorf("verdict %s, %+v", r.Verdict(), r.Symptoms)
		}
		for _, event := range []string{"on", "off"} {
			figure{event, "OUT1", analyze.SwitchingDelay, 0.1, 1e-3, analyze.NoVerdict}.check(t, r)
		}
	}
}

// An output that must keep its state is held to where it stood once the unit was supplied
// again, and not to where it stood for most of the state before.
func TestUnsupplied_Unmoved(t *testing.T) {
	p := unsuppliedPlan()
	p.Relays = nil
	first, next := draw(7).output("OUT1", 860, levels(0.5, 1.1, 13, 1.5, 8.25, 6.5, 13)).event("on", 1), draw(3).output("OUT1", 860, levels(13)).event("rest", 1)
	first.Unsupplied = []capture.Span{seconds(1.4, 6.6)}
	next.Shift(7 * time.Second)
	m, err := diagnose.NewExaminer(p, first.Capture)
	if err != nil {
		t.Fatal(err)
	}
	m.State(first.Capture, first.Events[0], first.End)
	_ = m.Take()
	m.State(next.Capture, next.Events[0], next.End)
	r := m.Take()
	figure{"rest", "OUT1", analyze.Hold, 0, 0, analyze.Pass}.check(t, r)
	if len(r.Symptoms) > 0 {
		t.Errorf("%+v", r.Symptoms)
	}
}
