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

// relayPlan demands an output that goes high at on and low at off, with a
// change-over relay behind it.
func relayPlan() *analyze.Plan {
	return &analyze.Plan{
		Steps: []string{"on", "off"},
		Outputs: []analyze.OutputPlan{{Signal: "OUT1", Relay: "K1",
			Expect: map[string]analyze.Expectation{"on": {Demand: analyze.High}, "off": {Demand: analyze.Low}}}},
		Relays: []analyze.RelayPlan{{Signal: "K1", Make: "K1_NO", Break: "K1_NC", MustOperate: 9, MustRelease: 1.2,
			Limits: analyze.Limits{
				analyze.OperateTime: atMost(15e-3), analyze.ReleaseTime: atMost(10e-3),
				analyze.BounceTime: atMost(5e-3), analyze.TransferTime: atLeast(0),
			}}},
	}
}

// The terms of MIL-R-5757 (glossary and 4.6.8) on a hand-drawn operation: operate
// time from the coil's step to the first closing, bounce not counted; bounce time
// from the first make to the end of uncontrolled make and break; and transfer time
// as break to make without bounce (common practice, no source). In µs: coil 0, break
// contact opens 4200, make contact closes 6000, opens 6105, closes 6113, opens 6400,
// closes 6650, opens 7900, closes 7925.
//
// That standard counts a bounce only where it lasts 10 µs, so 2 of these 3 (the one of
// 8 µs not); here every edge that a line reports counts, and all 3 do.
func TestRelay_Terms(t *testing.T) {
	const on = 0.5
	us := func(x ...float64) []float64 {
		for i := range x {
			x[i] = on + x[i]*1e-6
		}
		return x
	}
	d := draw(1).output("OUT1", 100e3, levels(0, on, 12)).
		contact("K1_NO", false, us(6000, 6105, 6113, 6400, 6650, 7900, 7925)...).
		contact("K1_NC", true, us(4200)...).event("on", on)
	r, findings := measured(t, relayPlan(), d)
	const edge = 1e-9
	for _, f := range []figure{
		// The coil's step lies between two samples 10 µs apart.
		{"on", "K1", analyze.OperateTime, 6000e-6, 5e-6 + edge, analyze.Pass},
		{"on", "K1", analyze.TransferTime, 1800e-6, edge, analyze.Pass},
		{"on", "K1_NO", analyze.BounceTime, 1925e-6, edge, analyze.Pass},
		{"on", "K1_NO", analyze.BounceCount, 3, 0, analyze.NoVerdict},
	} {
		f.check(t, r)
	}
	if rows := rowsOf(r, "on", "K1_NC", analyze.BounceTime); len(rows) != 0 {
		t.Errorf("a contact that opens once has a bounce: %+v", rows)
	}
	says(t, findings)
}

// A break contact that bounces open as it opens: transfer counts from its last
// opening, and its own bounce is reported. Two edges of bounce are one extra opening.
func TestRelay_BreakBounces(t *testing.T) {
	d := draw(2).output("OUT1", 1e3, levels(0, 0.5, 12)).
		contact("K1_NO", false, 0.506).contact("K1_NC", true, 0.503, 0.5035, 0.5040).event("on", 0.5)
	r, _ := measured(t, relayPlan(), d)
	figure{"on", "K1", analyze.TransferTime, 2e-3, 1e-9, analyze.Pass}.check(t, r)
	figure{"on", "K1_NC", analyze.BounceTime, 1e-3, 1e-9, analyze.Pass}.check(t, r)
	figure{"on", "K1_NC", analyze.BounceCount, 1, 0, analyze.NoVerdict}.check(t, r)
}

// every toggles from a time on, up to another.
func every(from, step, to float64) []float64 {
	var at []float64
	for t := from; t < to; t += step {
		at = append(at, t)
	}
	return at
}

// Contacts that do what relays should not. The output is up from 1.05 to 3.05 s; a
// good relay operates and releases some milliseconds later.
func TestRelay_Pathological(t *testing.T) {
	nan := math.NaN()
	good := func(d drawing) drawing {
		return d.contact("K1_NO", false, 1.056, 3.053).contact("K1_NC", true, 1.054, 3.055)
	}
	for _, tc := range []struct {
		name    string
		meaning string // of sensibly
		draw    func(d drawing) drawing
		change  func(p *analyze.Plan)
		figures []figure
		verdict analyze.Verdict
		says    []string
	}{
		{name: "good", meaning: "times from the crossing, which lies half a sample before 1.05 s; nothing to say",
			draw: good, verdict: analyze.Pass,
			figures: []figure{{"on", "K1", analyze.OperateTime, 6.5e-3, 1e-6, analyze.Pass}, {"off", "K1", analyze.ReleaseTime, 5.5e-3, 1e-6, analyze.Pass},
				{"on", "K1", analyze.TransferTime, 2e-3, 1e-9, analyze.Pass}, {"off", "K1", analyze.TransferTime, 2e-3, 1e-9, analyze.Pass},
				{"on", "K1_NO", analyze.BounceTime, 0, 0, analyze.Pass}, {"off", "K1_NC", analyze.BounceTime, 0, 0, analyze.Pass}}},
		{name: "sooner than the output", meaning: "a coil that rises over 0.8 s pulls in on its way: no operate time, rather than a good one below nothing",
			draw: func(d drawing) drawing {
				d.Traces = nil
				d = d.output("OUT1", 1000, func(t float64) float64 {
					if t > 3.05 {
						return 0.1
					}
					return math.Max(0.1, math.Min(12.6, 0.1+(t-1.05)*12.5/0.8))
				})
				return d.contact("K1_NO", false, 1.256, 3.053).contact("K1_NC", true, 1.254, 3.055)
			}, verdict: analyze.Undecided,
			figures: []figure{{"on", "K1", analyze.OperateTime, -0.194, 1e-3, analyze.Undecided}, {"off", "K1", analyze.ReleaseTime, 5e-3, 1e-3, analyze.Pass}},
			says:    []string{"Operate time of K1 cannot be decided at on. The reason stands with each figure"}},
		{name: "never settles", meaning: "bounce of the whole state, at least; it operated; unsteady contact, said once",
			draw: func(d drawing) drawing {
				return d.contact("K1_NO", false, append(every(1.056, 5e-3, 3), 3.053)...).contact("K1_NC", true, 1.054, 3.055)
			}, verdict: analyze.Fail,
			figures: []figure{{"on", "K1", analyze.OperateTime, 6.5e-3, 1e-6, analyze.Pass}, {"on", "K1_NO", analyze.BounceTime, 1.94, 0.01, analyze.Fail}},
			says:    []string{"K1_NO does not close steadily"}},
		{name: "negative transfer", meaning: "both were closed at once for 1.5 ms: a negative time, and an overlap",
			draw: func(d drawing) drawing {
				return d.contact("K1_NO", false, 1.0545, 3.055).contact("K1_NC", true, 1.056, 3.0535)
			}, verdict: analyze.Fail,
			figures: []figure{{"on", "K1", analyze.TransferTime, -1.5e-3, 1e-9, analyze.Fail}, {"off", "K1", analyze.TransferTime, -1.5e-3, 1e-9, analyze.Fail}},
			says:    []string{"Both contacts of K1 were closed at once"}},
		{name: "opens again after 200 ms", meaning: "the bounce is that of the closing, at least; what comes 200 ms later is an unsteady contact, and no pass",
			draw: func(d drawing) drawing {
				return d.contact("K1_NO", false, 1.056, 1.256, 1.3, 3.053).contact("K1_NC", true, 1.054, 3.055)
			}, verdict: analyze.Fail,
			figures: []figure{{"on", "K1_NO", analyze.BounceTime, 0, 0, analyze.Undecided}, {"on", "K1", analyze.OperateTime, 6.5e-3, 1e-6, analyze.Pass}},
			says:    []string{"K1_NO does not close steadily"}},
		{name: "make contact only", meaning: "no transfer time, no release time and why, no verdict on what is not wired",
			draw:   func(d drawing) drawing { return d.contact("K1_NO", false, 1.056, 3.053) },
			change: func(p *analyze.Plan) { p.Relays[0].Break = ""; delete(p.Relays[0].Limits, analyze.ReleaseTime) },
			figures: []figure{{"on", "K1", analyze.OperateTime, 6.5e-3, 1e-6, analyze.Pass},
				{"off", "K1", analyze.ReleaseTime, nan, 0, analyze.NoVerdict}},
			verdict: analyze.Pass},
		{name: "break contact only", meaning: "as a make contact, the other way round",
			draw:    func(d drawing) drawing { return d.contact("K1_NC", true, 1.054, 3.055) },
			change:  func(p *analyze.Plan) { p.Relays[0].Make = ""; delete(p.Relays[0].Limits, analyze.OperateTime) },
			figures: []figure{{"off", "K1", analyze.ReleaseTime, 5.5e-3, 1e-6, analyze.Pass}, {"on", "K1", analyze.OperateTime, nan, 0, analyze.NoVerdict}},
			verdict: analyze.Pass},
		{name: "edges lost", meaning: "a contact that seems not to have closed may have; undecided, and said",
			draw: func(d drawing) drawing {
				d = d.contact("K1_NO", false).contact("K1_NC", true, 1.054, 3.055)
				d.Tracks[0].Losses = []capture.Loss{{Span: capture.Span{From: d.Start, To: d.End}, Edges: 2}}
				return d
			},
			figures: []figure{{"on", "K1", analyze.OperateTime, nan, 0, analyze.Undecided}},
			verdict: analyze.Undecided, says: []string{"Edges of relay K1 were lost"}},
		{name: "edges before the first event", meaning: "they belong to no event and give only the state",
			draw: func(d drawing) drawing {
				return d.contact("K1_NO", true, 0.2, 0.3, 0.4, 1.056, 3.053).contact("K1_NC", false, 0.21, 0.31, 0.41, 1.054, 3.055)
			}, verdict: analyze.Pass,
			figures: []figure{{"on", "K1_NO", analyze.BounceTime, 0, 0, analyze.Pass}, {"on", "K1", analyze.TransferTime, 2e-3, 1e-9, analyze.Pass}}},
		{name: "state not known before the first edge", meaning: "the edge says it",
			draw: func(d drawing) drawing {
				d = good(d)
				for _, t := range d.Tracks {
					t.Known, t.Initial = false, false
				}
				return d
			}, verdict: analyze.Pass,
			figures: []figure{{"on", "K1", analyze.TransferTime, 2e-3, 1e-9, analyze.Pass}}},
		{name: "already closed", meaning: "no operate time, since nothing closed; the contact is welded",
			draw: func(d drawing) drawing { return d.contact("K1_NO", true).contact("K1_NC", true, 1.054, 3.055) },
			figures: []figure{{"on", "K1", analyze.OperateTime, nan, 0, analyze.Fail},
				{"on", "K1", analyze.TransferTime, nan, 0, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"K1_NO is welded"}},
		{name: "break contact opens and closes again", meaning: "it did not open: there is no transfer to time",
			draw: func(d drawing) drawing {
				return d.contact("K1_NO", false, 1.056, 3.053).contact("K1_NC", true, 1.054, 1.0545)
			},
			figures: []figure{{"on", "K1", analyze.TransferTime, nan, 0, analyze.Fail}},
			verdict: analyze.Fail},
		{name: "swapped", meaning: "make and break changed roles: one finding",
			draw: func(d drawing) drawing {
				return d.contact("K1_NO", true, 1.054, 3.055).contact("K1_NC", false, 1.056, 3.053)
			}, verdict: analyze.Fail, says: []string{"NO and NC of K1 are swapped"}},
		{name: "swapped, one contact wired", meaning: "seen from one contact as well",
			draw:    func(d drawing) drawing { return d.contact("K1_NO", true, 1.054, 3.055) },
			change:  func(p *analyze.Plan) { p.Relays[0].Break = ""; p.Relays[0].Limits = nil },
			verdict: analyze.Fail, says: []string{"NO and NC of K1 are swapped"}},
		{name: "never moves", meaning: "the relay, not its contacts",
			draw:    func(d drawing) drawing { return d.contact("K1_NO", false).contact("K1_NC", true) },
			figures: []figure{{"on", "K1", analyze.OperateTime, nan, 0, analyze.Fail}},
			verdict: analyze.Fail, says: []string{"Relay K1 never moves although OUT1 does"}},
		{name: "both chatter", meaning: "one finding for the relay",
			draw: func(d drawing) drawing {
				return d.contact("K1_NO", false, append(every(1.056, 4e-3, 2.9), 3.053)...).contact("K1_NC", true, append(every(1.054, 4e-3, 2.9), 3.055)...)
			}, verdict: analyze.Fail, says: []string{"Relay K1 chatters"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Log("sensibly: " + tc.meaning)
			plan := relayPlan()
			if tc.change != nil {
				tc.change(plan)
			}
			d := tc.draw(draw(5).output("OUT1", 1e3, levels(0, 1.05, 12, 3.05, 0))).event("on", 1).event("off", 3)
			r, findings := measured(t, plan, d)
			for _, f := range tc.figures {
				f.check(t, r)
			}
			if got := r.Verdict(); got != tc.verdict {
				t.Errorf("verdict %q, want %q", got, tc.verdict)
			}
			says(t, findings, tc.says...)
		})
	}
}

// A state that ends while a contact may still bounce: what was seen is no pass. And
// one that ends before the relay could move is no failure, nor is a relay that moves
// right after the next event for no reason.
func TestRelay_CutShort(t *testing.T) {
	plan := relayPlan()
	plan.Outputs[0].Expect["stay"] = analyze.Expectation{Demand: analyze.High}
	out := levels(0, 1.05, 12)
	t.Run("bouncing", func(t *testing.T) {
		d := draw(3).output("OUT1", 1e3, out).contact("K1_NO", false, 1.056, 1.057, 1.058).contact("K1_NC", true, 1.054).
			event("on", 1).event("stay", 1.06)
		r, findings := measured(t, plan, d)
		figure{"on", "K1_NO", analyze.BounceTime, 2e-3, 1e-9, analyze.Undecided}.check(t, r)
		says(t, findings, "Bounce time of K1_NO cannot be decided")
	})
	t.Run("before it moves", func(t *testing.T) {
		d := draw(3).output("OUT1", 1e3, out).contact("K1_NO", false, 1.056).contact("K1_NC", true, 1.054).
			event("on", 1).event("stay", 1.0535)
		r, findings := measured(t, plan, d)
		figure{"on", "K1", analyze.OperateTime, math.NaN(), 0, analyze.Undecided}.check(t, r)
		if r.Verdict() != analyze.Undecided {
			t.Errorf("verdict %q", r.Verdict())
		}
		says(t, findings, "K1 was watched for only 3.50 ms")
	})
	t.Run("before it moves, without limits", func(t *testing.T) {
		free := relayPlan()
		free.Outputs[0].Limits, free.Relays[0].Limits = nil, nil
		free.Outputs[0].Expect["stay"] = analyze.Expectation{Demand: analyze.High}
		d := draw(3).output("OUT1", 1e3, out).contact("K1_NO", false).contact("K1_NC", true).event("on", 1).event("stay", 1.0535)
		r, findings := measured(t, free, d)
		if r.Verdict() != analyze.Undecided {
			t.Errorf("verdict %q of a relay that never moved", r.Verdict())
		}
		says(t, findings, "K1 was watched for only 3.50 ms at on")
	})
}

// A pulse tells its relay two things: both its times are measured, and a relay that
// follows a pulse does not chatter.
func TestRelay_Pulse(t *testing.T) {
	plan := relayPlan()
	plan.Outputs[0].Expect["on"] = analyze.Expectation{Demand: analyze.Pulse, After: 500 * time.Millisecond, Within: 0.1}
	for _, length := range []float64{0.5, 0.08} {
		plan.Outputs[0].Expect["on"] = analyze.Expectation{Demand: analyze.Pulse, After: time.Duration(length * 1e9), Within: 0.1}
		d := draw(4).output("OUT1", 1e3, levels(0, 1.05, 12, 1.05+length, 0)).
			contact("K1_NO", false, 1.056, 1.0565, 1.057, 1.053+length).contact("K1_NC", true, 1.054, 1.055+length).event("on", 1)
		r, findings := measured(t, plan, d)
		for _, f := range []figure{
			{"on", "K1", analyze.OperateTime, 6.5e-3, 1e-6, analyze.Pass},
			{"on", "K1", analyze.ReleaseTime, 5.5e-3, 1e-6, analyze.Pass},
			{"on", "K1_NO", analyze.BounceTime, 1e-3, 1e-9, analyze.Pass},
			{"on", "OUT1", analyze.PulseDuration, length, 1e-6, analyze.Pass},
		} {
			f.check(t, r)
		}
		says(t, findings)
	}
}

// A sample is a mean over its conversion, and its stamp the end of that: a pulse may end, and the
// contacts follow, before the stamp of the last sample that shows it.
func TestRelay_PulseEndsInConversion(t *testing.T) {
	const span, rise, fall = 0.004, 1.05, 1.5995
	plan := relayPlan()
	plan.Outputs[0].Expect["on"] = analyze.Expectation{Demand: analyze.Pulse, After: 550 * time.Millisecond, Within: 0.1}
	plan.Relays[0].Limits[analyze.OperateTime] = atMost(40e-3) // samples are far apart
	mean := func(at float64) float64 {
		return 12 * math.Max(0, math.Min(at, fall)-math.Max(at-span, rise)) / span
	}
	d := draw(4).output("OUT1", 62.5, mean). // a sample at 1.6 s
							contact("K1_NO", false, 1.056, fall+3e-4).contact("K1_NC", true, 1.054, fall+2e-3).event("on", 1)
	d.Traces[0].Converter.Span = time.Duration(span * 1e9)
	_, findings := measured(t, plan, d)
	if strings.Contains(findings, "K1") {
		t.Errorf("of a relay that follows a pulse: %s", findings)
	}
}

// A relay behind an output that pulses is judged at each edge, and the worst is shown.
func TestRelay_Train(t *testing.T) {
	plan := relayPlan()
	plan.Outputs[0].Expect["on"] = analyze.Expectation{Demand: analyze.Train, Within: 0.1, Pulses: 2, On: 100 * time.Millisecond, Off: 100 * time.Millisecond}
	slow := func(second float64) drawing {
		return draw(4).output("OUT1", 1e3, levels(0, 1.05, 12, 1.15, 0, 1.25, 12, 1.35, 0)).
			contact("K1_NO", false, 1.056, 1.0565, 1.057, 1.153, 1.25+second, 1.353).contact("K1_NC", true, 1.054, 1.1555, 1.254, 1.3575).event("on", 1)
	}
	r, findings := measured(t, plan, slow(0.008))
	for _, f := range []figure{
		{"on", "OUT1", analyze.PulseCount, 2, 0, analyze.Pass},
		{"on", "K1", analyze.OperateTime, 8.5e-3, 1e-6, analyze.Pass},
		{"on", "K1", analyze.ReleaseTime, 8e-3, 1e-6, analyze.Pass},
		{"on", "K1_NO", analyze.BounceTime, 1e-3, 1e-9, analyze.Pass},
	} {
		f.check(t, r)
		if n := len(rowsOf(r, f.event, f.signal, f.q)); n != 1 {
			t.Errorf("%s %s: %d rows, want the worst alone", f.signal, f.q, n)
		}
	}
	says(t, findings)
	r, findings = measured(t, plan, slow(0.03))
	figure{"on", "K1", analyze.OperateTime, 30.5e-3, 1e-6, analyze.Fail}.check(t, r)
	says(t, findings, "K1 operates slowly")
	r, findings = measured(t, plan, draw(4).output("OUT1", 1e3, levels(0, 1.05, 12, 1.15, 0, 1.25, 12, 1.35, 0)).
		contact("K1_NO", false, 1.056, 1.153).contact("K1_NC", true, 1.054, 1.1555).event("on", 1))
	if r.Verdict() != analyze.Fail {
		t.Errorf("verdict %q of a relay that missed a pulse: %v", r.Verdict(), findings)
	}
}

// A relay follows an output that may do anything and pulses, and one that goes on flashing where it
// may do anything: its figures are those of its single changes.
func TestRelay_FreeOutput(t *testing.T) {
	plan := relayPlan()
	plan.Outputs[0].Expect["on"] = analyze.Expectation{Demand: analyze.Any}
	r, findings := measured(t, plan, draw(4).output("OUT1", 1e3, levels(0, 1.05, 12, 1.09, 0)).
		contact("K1_NO", false, 1.056, 1.0565, 1.057, 1.093).contact("K1_NC", true, 1.054, 1.0955).event("on", 1))
	figure{"on", "K1_NO", analyze.BounceTime, 1e-3, 1e-9, analyze.Pass}.check(t, r)
	says(t, findings)

	plan.Steps = []string{"on", "more", "off"}
	plan.Outputs[0].Expect = map[string]analyze.Expectation{"on": flashing, "more": {Demand: analyze.Any}, "off": goLow}
	flashed, no, nc := []float64{}, []float64{}, []float64{}
	for at := 1.05; at < 5; at += 0.4 {
		on := 0.2
		if at > 4.6 {
			on = 0.04 // the event at 4.61 s ends it
		}
		flashed = append(flashed, at, 12, at+on, 0)
		no, nc = append(no, at+0.006, at+on+0.003), append(nc, at+0.004, at+on+0.0055)
	}
	r, findings = measured(t, plan, draw(7).output("OUT1", 1e3, levels(0, flashed...)).
		contact("K1_NO", false, no...).contact("K1_NC", true, nc...).event("on", 1).event("more", 2.9).event("off", 4.61))
	for _, f := range []figure{
		{"more", "K1", analyze.OperateTime, 6.5e-3, 1e-6, analyze.Pass},
		{"off", "K1", analyze.ReleaseTime, 6e-3, 1e-6, analyze.Pass},
	} {
		f.check(t, r)
	}
	if rows := rowsOf(r, "off", "K1_NO", analyze.BounceTime); len(rows) > 0 && rows[0].Value > 1e-3 {
		t.Errorf("K1_NO bounces for %g s at off, where it closed and opened once", rows[0].Value)
	}
	says(t, findings)

	// A pulse that the unit cut short was too brief for the samples. A relay that stays is another thing.
	plan.Steps = []string{"on", "off"}
	for _, c := range []struct {
		no, nc []float64
		want   []string
	}{
		{[]float64{3.206, 3.208}, []float64{3.204, 3.212}, nil},
		{[]float64{3.206}, []float64{3.204}, []string{"Relay K1 moved at off although its output OUT1 did not"}},
	} {
		_, findings = measured(t, plan, draw(5).output("OUT1", 1e3, levels(0, 1.05, 12, 1.25, 0, 1.45, 12, 1.65, 0, 1.85, 12, 2.05, 0, 2.25, 12, 2.45, 0, 2.65, 12, 2.85, 0)).
			contact("K1_NO", false, append([]float64{1.056, 1.253, 1.456, 1.653, 1.856, 2.053, 2.256, 2.453, 2.656, 2.853}, c.no...)...).
			contact("K1_NC", true, append([]float64{1.054, 1.2555, 1.454, 1.6555, 1.854, 2.0555, 2.254, 2.4555, 2.654, 2.8555}, c.nc...)...).event("on", 1).event("off", 3.05))
		says(t, findings, c.want...)
	}
}

// Each contact's own time stamps count in a time between the two.
func TestRelay_Stamps(t *testing.T) {
	d := draw(2).output("OUT1", 1e3, levels(0, 0.5, 12)).
		contact("K1_NO", false, 0.506).contact("K1_NC", true, 0.503).event("on", 0.5)
	d.Tracks[0].Stamp, d.Tracks[1].Stamp = 30e3, 40e3 // ns
	r, _ := measured(t, relayPlan(), d)
	x := rowsOf(r, "on", "K1", analyze.TransferTime)[0]
	if math.Abs(x.Standard-50e-6) > 1e-9 {
		t.Errorf("standard uncertainty %g s, want 50 µs from 30 and 40 µs", x.Standard)
	}
}

// A relay of which nobody said what drives it is measured by its contacts alone.
func TestRelay_NoOutput(t *testing.T) {
	d := draw(2).output("OUT1", 1e3, levels(0)).output("OUT2", 1e3, levels(0, 0.5, 12)).
		contact("K1_NO", false, 0.506).contact("K1_NC", true, 0.503).event("on", 0.5)
	r, err := diagnose.Examine(nil, d.Capture)
	if err != nil {
		t.Fatal(err)
	}
	figure{"on", "K1", analyze.TransferTime, 3e-3, 1e-9, analyze.NoVerdict}.check(t, r)
	figure{"on", "K1", analyze.OperateTime, math.NaN(), 0, analyze.NoVerdict}.check(t, r)
}

// A transfer that is shorter than wanted and not negative is no overlap: both contacts were
// open between.
func TestRelay_ShortTransfer(t *testing.T) {
	plan := relayPlan()
	plan.Relays[0].Limits[analyze.TransferTime] = atLeast(2e-3)
	d := draw(3).output("OUT1", 100e3, levels(0, 0.5, 12)).
		contact("K1_NO", false, 0.506).contact("K1_NC", true, 0.5042).event("on", 0.5)
	r, findings := measured(t, plan, d)
	figure{"on", "K1", analyze.TransferTime, 1.8e-3, 1e-9, analyze.Fail}.check(t, r)
	says(t, findings, "Transfer time of K1 is out of its limit: 1.80 ms, limit 2 ms.")
}

// A figure stands beside its limit with as many digits as show that it is beyond, and the
// limit with all that it was given.
func TestFindings_Digits(t *testing.T) {
	for _, c := range []struct {
		value, limit float64
		want         string
	}{
		{0.612, 0.5, "after 612 ms, limit 500 ms."},
		{0.1435, 0.1434, "after 143.5 ms, limit 143.4 ms."},
		{0.50004, 0.5, "after 500.04 ms, limit 500 ms."},
		{1.2345678, 1.2345, "after 1.235 s, limit 1.2345 s."},
	} {
		found := diagnose.Findings(relayPlan(), []analyze.Symptom{{Kind: analyze.SlowSwitching, Signal: "OUT1", Event: "on", Cycle: 1, Value: c.value, Limit: c.limit}}, 1)
		if len(found) != 1 || !strings.Contains(found[0].Text, c.want) {
			t.Errorf("%g beside %g: %v, want %q", c.value, c.limit, found, c.want)
		}
	}
}
