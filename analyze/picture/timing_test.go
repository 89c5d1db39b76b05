package picture_test

import (
	"bytes"
	"math"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/picture"
	"makebreak/rig/capture"
)

// switched is an output that goes high 140 ms after an event, and its relay, which operates in
// 8 ms with one bounce.
func switched() (*capture.Capture, *analyze.Plan, []analyze.Measurement) {
	const ms = time.Millisecond
	at := func(d time.Duration) capture.Instant { return capture.Instant(100 * ms).Add(d) }
	out := capture.NewTrace("OUT3", capture.Converter{})
	for t := -100 * ms; t < 400*ms; t += ms {
		v := 0.5
		if t >= 140*ms {
			v = 13
		}
		out.Append(at(t), v)
	}
	c := &capture.Capture{End: at(400 * ms), Traces: []*capture.Trace{out},
		Events: []capture.Event{{Name: "arm-away", At: at(0)}},
		Tracks: []*capture.Track{
			{Signal: "K1_NO", Known: true, Edges: []capture.Edge{{At: at(148 * ms), Closed: true}, {At: at(149 * ms)}, {At: at(150 * ms), Closed: true}}},
			{Signal: "K1_NC", Known: true, Initial: true, Edges: []capture.Edge{{At: at(145 * ms)}}},
		}}
	p := &analyze.Plan{Steps: []string{"arm-away"},
		Outputs: []analyze.OutputPlan{{Signal: "OUT3", Relay: "K1", Expect: map[string]analyze.Expectation{"arm-away": {Demand: analyze.High}},
			Limits: analyze.Limits{analyze.HighLevel: {Lower: 12, Upper: 14.5}}}},
		Relays: []analyze.RelayPlan{{Signal: "K1", Make: "K1_NO", Break: "K1_NC"}}}
	figure := func(signal string, q analyze.Quantity, value float64, v analyze.Verdict, l analyze.Limit) analyze.Measurement {
		return analyze.Measurement{Cycle: 1, Event: "arm-away", Signal: signal, Quantity: q, Value: value, Expanded: value / 1000, Limit: l, Verdict: v}
	}
	max := func(x float64) analyze.Limit { return analyze.Limit{Lower: math.NaN(), Upper: x} }
	return c, p, []analyze.Measurement{
		figure("OUT3", analyze.HighLevel, 13, analyze.Pass, analyze.Limit{Lower: 12, Upper: 14.5}),
		figure("OUT3", analyze.LowLevel, 0.5, analyze.NoVerdict, analyze.NoLimit()),
		figure("OUT3", analyze.SwitchingDelay, 0.14, analyze.Pass, max(0.3)),
		figure("K1", analyze.OperateTime, 0.008, analyze.Fail, max(0.005)),
		figure("K1", analyze.TransferTime, 0.003, analyze.Pass, analyze.Limit{Lower: 0, Upper: math.NaN()}),
		figure("K1_NO", analyze.BounceTime, 0.002, analyze.Pass, max(0.005)),
	}
}

func TestTiming_Figures(t *testing.T) {
	t.Parallel()
	c, p, figures := switched()
	for _, name := range []string{"OUT3", "K1", "K1_NO"} {
		d, err := picture.NewTiming(picture.TimingOf{Capture: c, Plan: p, Figures: figures, Signal: name, Event: "arm-away", Cycle: 1})
		if err != nil {
			t.Fatal(err)
		}
		if d.Signal != "OUT3" || d.Verdict != analyze.Fail || len(d.Enlarged) != 1 || len(d.Main.Lanes) != 3 {
			t.Errorf("%s: %s %s, %d places enlarged, %d lanes", name, d.Signal, d.Verdict, len(d.Enlarged), len(d.Main.Lanes))
		}
		drawn := map[analyze.Quantity]float64{}
		for _, x := range append(d.Main.Dimensions, d.Enlarged[0].Dimensions...) {
			drawn[x.Quantity] = math.Round(1e3 * x.To)
		}
		for q, to := range map[analyze.Quantity]float64{analyze.SwitchingDelay: 140, analyze.OperateTime: 148, analyze.TransferTime: 148, analyze.BounceTime: 150} {
			if drawn[q] != to {
				t.Errorf("%s ends at %g ms, want %g", q, drawn[q], to)
			}
		}
		var b, again bytes.Buffer
		if err := d.SVG(&b); err != nil {
			t.Fatal(err)
		}
		if _ = d.SVG(&again); b.String() != again.String() {
			t.Error("two drawings differ")
		}
		for _, want := range []string{"OUT3 at arm-away, cycle 1: fail", "operate time 8.0000 ± 0.0080 ms: fail, max 5 ms", "min 12 V", "max 300 ms", "closed", "open"} {
			if !strings.Contains(b.String(), want) {
				t.Errorf("the drawing does not say %q", want)
			}
		}
	}
}

func TestTiming_Unknown(t *testing.T) {
	t.Parallel()
	c, p, figures := switched()
	for _, of := range []picture.TimingOf{{Signal: "OUT9", Event: "arm-away"}, {Signal: "OUT3", Event: "disarm"}} {
		of.Capture, of.Plan, of.Figures = c, p, figures
		if _, err := picture.NewTiming(of); err == nil || !strings.Contains(err.Error(), "use one of: ") {
			t.Errorf("%s at %s: %v", of.Signal, of.Event, err)
		}
	}
}

// The pictures themselves, to be looked at.
func TestTiming_Golden(t *testing.T) {
	t.Parallel()
	if runtime.GOARCH != "amd64" {
		t.Skip("fused multiply-adds move the last digits")
	}
	for _, s := range picture.Stories() {
		d, err := picture.NewTiming(s.Of())
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := d.SVG(&b); err != nil {
			t.Fatal(err)
		}
		texts(t, b.String())
		golden(t, "timing-"+s.Name+".svg", b.String())
	}
}

// What a stranger must read off a picture: what was expected, and what is wrong.
func TestTiming_Says(t *testing.T) {
	t.Parallel()
	say := map[string][]string{
		"healthy":     {"OUT3 at arm-away, cycle 1: pass", "Expected: high within 500 ms.", "max 500 ms", "min 12 V", "50 %", "open", "closed"},
		"stuck":       {"OUT3 at arm-away, cycle 1: fail", "did not go high"},
		"late":        {"max 500 ms"},
		"welded":      {"OUT3 at disarm, cycle 1: fail", "did not close"},
		"swapped":     {"was closed before"},
		"pulse":       {"Expected: a pulse of 2 s.", "max 1 V"},
		"exit-delay":  {"Expected: high after 30 s.", "min 28.5 s", "max 31.5 s", "samples left out", "50 %"},
		"moved":       {"Expected: does not move."},
		"lost-edges":  {"?"},
		"ramp":        {"max 9 V"},
		"early-fall":  {"A", "B"},
		"long-bounce": {"50 %"},
		"weak":        {"min 12 V"},
	}
	part := map[string]string{
		"late": "switching delay 743.", "weak": ": fail", "long-bounce": "bounce 9.600 ± 0.028 ms: fail", "early-fall": "time out of state ", "moved": "time out of state ", "ramp": "pull in voltage ", "pulse": "pulse duration 2.0",
	}
	for _, s := range picture.Stories() {
		d, err := picture.NewTiming(s.Of())
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		_ = d.Inline(&b)
		all := texts(t, b.String())
		for _, want := range say[s.Name] {
			if !slices.Contains(all, want) {
				t.Errorf("%s: the picture does not say %q: %q", s.Name, want, all)
			}
		}
		if want := part[s.Name]; !strings.Contains(strings.Join(all, "\n"), want) {
			t.Errorf("%s: the picture does not say %q: %q", s.Name, want, all)
		}
	}
}

// Two runs lie over each other, and the picture says which lies behind.
func TestTiming_Behind(t *testing.T) {
	t.Parallel()
	stories := picture.Stories()
	of, late := stories[0].Of(), stories[3].Of()
	of.Behind = []*capture.Capture{late.Capture}
	for words, want := range map[string]string{"": "Grey: 1 other cycle.", "run 2026-01-01.1": "Grey: run 2026-01-01.1."} {
		of.BehindWords = words
		d, err := picture.NewTiming(of)
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		_ = d.Inline(&b)
		if !slices.Contains(texts(t, b.String()), want) || len(d.Main.Lanes[0].Behind) < 500 {
			t.Errorf("%q is not said, or nothing lies behind: %d columns", want, len(d.Main.Lanes[0].Behind))
		}
	}
}
