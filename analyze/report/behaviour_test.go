package report

import (
	"math"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/behaviour"
	"makebreak/rig/capture"
)

func TestExpected(t *testing.T) {
	t.Parallel()
	for want, c := range map[string]behaviour.Cell{
		"high":                  {Expect: analyze.Expectation{Demand: analyze.High}},
		"low after 30 s ± 5 %":  {Expect: analyze.Expectation{Demand: analyze.Low, After: 30 * time.Second, Within: 0.05}},
		"high after 30 s":       {Expect: analyze.Expectation{Demand: analyze.High, After: 30 * time.Second}},
		"high for 2 s ± 12.5 %": {Expect: analyze.Expectation{Demand: analyze.Pulse, After: 2 * time.Second, Within: 0.125}},
		"low after 30 s ± 7 %":  {Expect: analyze.Expectation{Demand: analyze.Low, After: 30 * time.Second, Within: 0.07}},
		"must not move":         {Expect: analyze.Expectation{Demand: analyze.Unmoved}},
		"anything":              {},
		"follows the supply":    {Expect: analyze.Expectation{Demand: analyze.High}, Supply: true},
	} {
		if got := Expected(&c); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// What is seen is told from the figures of all cycles, the gravest first.
func TestSeen(t *testing.T) {
	t.Parallel()
	plan := &analyze.Plan{Steps: []string{"on"}, OthersUnmoved: true, Outputs: []analyze.OutputPlan{
		{Signal: "OUT1", Expect: map[string]analyze.Expectation{"on": {Demand: analyze.High}}},
		{Signal: "OUT2", Expect: map[string]analyze.Expectation{"on": {Demand: analyze.Pulse, After: 2 * time.Second}}}}}
	upper := func(x float64) analyze.Limit { return analyze.Limit{Lower: nan, Upper: x} }
	m := func(signal string, q analyze.Quantity, value, limit float64, v analyze.Verdict, doubts ...analyze.DoubtCode) analyze.Measurement {
		x := analyze.Measurement{Event: "on", Signal: signal, Quantity: q, Value: value, Expanded: nan, Limit: upper(limit), Verdict: v}
		for _, code := range doubts {
			x.Doubts = append(x.Doubts, analyze.Doubt{Code: code, Value: nan})
		}
		return x
	}
	const pass, fail, undecided = analyze.Pass, analyze.Fail, analyze.Undecided
	for _, c := range []struct {
		want string
		all  []analyze.Measurement
	}{
		{"went high after 140 … 160 ms", []analyze.Measurement{m("OUT1", analyze.SwitchingDelay, 0.14, 0.5, pass), m("OUT1", analyze.Hold, 0, 0, pass), m("OUT1", analyze.SwitchingDelay, 0.16, 0.5, pass)}},
		{"went high after 740 ms; max 500 ms", []analyze.Measurement{m("OUT1", analyze.SwitchingDelay, 0.74, 0.5, fail)}},
		{"did not go high", []analyze.Measurement{m("OUT1", analyze.SwitchingDelay, nan, 0.5, fail, analyze.DidNotGoHigh), m("OUT1", analyze.Hold, nan, 0, undecided, analyze.DidNotGoHigh)}},
		{"did not go high in 1 of 2; went high after 140 ms in 1 of 2", []analyze.Measurement{m("OUT1", analyze.SwitchingDelay, nan, 0.5, fail, analyze.DidNotGoHigh), m("OUT1", analyze.SwitchingDelay, 0.14, 0.5, pass)}},
		{"was high already", []analyze.Measurement{m("OUT1", analyze.SwitchingDelay, nan, 0.5, undecided, analyze.AlreadyHigh)}},
		{"not known (no samples)", []analyze.Measurement{m("OUT1", analyze.SwitchingDelay, nan, 0.5, undecided, analyze.NoSamples)}},
		{"out of its state for 2.5 s; went high after 140 ms", []analyze.Measurement{m("OUT1", analyze.SwitchingDelay, 0.14, 0.5, pass), m("OUT1", analyze.Hold, 2.5, 0, fail)}},
		{"went high after 140 ms; ripple 900 mV: max 500 mV", []analyze.Measurement{m("OUT1", analyze.SwitchingDelay, 0.14, 0.5, pass), m("OUT1", analyze.Ripple, 0.9, 0.5, fail)}},
		{"stayed high", []analyze.Measurement{m("OUT1", analyze.Hold, 0, 0, pass)}},
		{"high for 2 s", []analyze.Measurement{m("OUT2", analyze.SwitchingDelay, 0.14, 0.5, pass), m("OUT2", analyze.PulseDuration, 2, 2.1, pass)}},
		{"did not pulse", []analyze.Measurement{m("OUT2", analyze.PulseDuration, nan, 2.1, fail, analyze.DidNotPulse)}},
		{"did not move", []analyze.Measurement{m("OUT9", analyze.Hold, 0, 0, pass), m("OUT9", analyze.Hold, 0, 0, pass)}},
		{"moved for up to 2.5 s in 1 of 2", []analyze.Measurement{m("OUT9", analyze.Hold, 2.5, 0, fail), m("OUT9", analyze.Hold, 0, 0, pass)}},
		{"not known (no samples)", []analyze.Measurement{m("OUT9", analyze.Hold, nan, 0, undecided, analyze.NoSamples)}},
	} {
		b := behaviour.New(plan)
		for i := range c.all {
			x := c.all[i]
			x.Cycle = i + 1
			b.Add(&x)
		}
		for _, o := range b.Table().Outputs {
			if got := Seen(&o.Cells[0]); o.Signal == c.all[0].Signal && got != c.want {
				t.Errorf("%s: %q, want %q", o.Signal, got, c.want)
			}
		}
	}
	if got := Seen(&behaviour.New(plan).Table().Outputs[0].Cells[0]); got != "not looked at" {
		t.Errorf("without figures: %q", got)
	}
}

// Of what passed the cycle that took most of a limit is drawn, of what did not the first.
func TestChooser(t *testing.T) {
	t.Parallel()
	high, low := analyze.Expectation{Demand: analyze.High}, analyze.Expectation{Demand: analyze.Low}
	plan := &analyze.Plan{Steps: []string{"away", "off", "stay"},
		Outputs: []analyze.OutputPlan{{Signal: "OUT1", Relay: "K1", Expect: map[string]analyze.Expectation{"away": high, "stay": high, "off": low}}, {Signal: "OUT2"}},
		Relays:  []analyze.RelayPlan{{Signal: "K1", Make: "K1_NO", Break: "K1_NC"}}}
	r := &Record{Plan: plan, Captures: []analyze.Cycles{{First: 1, Last: 4}}, CaptureOf: noCaptures}
	m := func(cycle int, event, signal string, value float64, v analyze.Verdict) analyze.Measurement {
		return analyze.Measurement{Cycle: cycle, Event: event, Signal: signal, Quantity: analyze.SwitchingDelay, Value: value, Limit: analyze.Limit{Lower: nan, Upper: 1}, Verdict: v}
	}
	c := newChooser(r)
	for _, x := range []analyze.Measurement{
		m(1, "away", "OUT1", 0.2, analyze.Pass), m(2, "away", "OUT1", 0.5, analyze.Pass), m(3, "away", "OUT1", 0.3, analyze.Pass),
		m(5, "away", "OUT1", 0.9, analyze.Pass),  // no capture is kept
		m(1, "away", "OUT2", 0.9, analyze.Pass),  // nothing is demanded
		m(2, "stay", "K1_NO", 0.4, analyze.Pass), // of the relay behind
		m(2, "off", "OUT1", 0.1, analyze.Pass), m(3, "off", "OUT1", 1.5, analyze.Fail), m(4, "off", "OUT1", 2.5, analyze.Fail),
	} {
		c.add(&x)
	}
	var got []string
	for _, x := range c.drawn() {
		got = append(got, x.output+" "+x.event+" "+itoa(x.cycle))
	}
	// Of the two rises the worse; the fall did not pass.
	if want := "OUT1 away 2, OUT1 off 3"; strings.Join(got, ", ") != want {
		t.Errorf("%q, want %q", got, want)
	}
	c = newChooser(r)
	for _, x := range []analyze.Measurement{
		astray(1, "away", "OUT2", 0, analyze.Pass), astray(2, "away", "OUT2", 0.3, analyze.Fail), astray(3, "off", "OUT2", 0.4, analyze.Fail), // one diagram of an output
		astray(2, "stay", "OUT7", 0.2, analyze.Fail),                                               // of one that the plan does not name
		astray(2, "away", "OUT1", 0.5, analyze.Fail), astray(5, "away", "OUT8", 0.5, analyze.Fail), // it may move there; no capture is kept
	} {
		c.add(&x)
	}
	got = nil
	for _, x := range c.drawn() {
		got = append(got, x.output+" "+x.event+" "+itoa(x.cycle))
	}
	if want := "OUT1 away 2, OUT2 away 2, OUT7 stay 2"; strings.Join(got, ", ") != want {
		t.Errorf("%q, want %q", got, want)
	}
	if !math.IsNaN(strainOf(&analyze.Measurement{Value: 3, Limit: analyze.NoLimit()})) {
		t.Error("a figure without a limit takes a share of it")
	}
}

// astray is a time out of state.
func astray(cycle int, event, signal string, seconds float64, v analyze.Verdict) analyze.Measurement {
	return analyze.Measurement{Cycle: cycle, Event: event, Signal: signal, Quantity: analyze.Hold, Value: seconds, Limit: analyze.Limit{Lower: nan, Upper: 0}, Verdict: v}
}

// What stands in a style sheet ends neither its string nor the sheet.
func TestStyleString(t *testing.T) {
	t.Parallel()
	if got, want := string(styleString(`Run a-1: "x"</style>\`)), `"Run a\2d 1\3a  \22 x\22 \3c \2f style\3e \5c "`; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

func noCaptures(int) (*capture.Capture, error) { return nil, nil }
