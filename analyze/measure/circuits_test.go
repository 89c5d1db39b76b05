package measure_test

import (
	"testing"

	"makebreak/analyze"
)

// twoOutputs demands that OUT1, with a relay behind it, goes high at on and low at off, and
// that nothing else moves.
func twoOutputs() *analyze.Plan {
	p := relayPlan()
	p.OthersUnmoved = true
	p.Outputs[0].Limits = analyze.Limits{analyze.HighLevel: {Lower: 11, Upper: 14.5}, analyze.LowLevel: atMost(1)}
	return p
}

// Findings on circuits with one fault, drawn from levels that are worked out by hand beside
// them.
func TestCircuits(t *testing.T) {
	// A switch of 6 ohm to 13.4 V, a coil of 320 ohm, a leakage of 5.6 kohm across the switch:
	// 13.15 V on, 13.4 · 320/5920 = 0.724 V off. OUT2 alone, with a load of 1 kohm: 13.32 V,
	// and 2.03 V off.
	good := levels(0.724, 1.1, 13.15, 4.1, 0.724)
	relay := func(d drawing) drawing {
		return d.contact("K1_NO", false, 1.106, 4.103).contact("K1_NC", true, 1.104, 4.106)
	}
	for _, tc := range []struct {
		name, meaning string
		plan          func(*analyze.Plan)
		d             drawing
		verdict       analyze.Verdict
		says          []string
	}{
		{name: "good", meaning: "nothing is said", d: relay(draw(7).output("OUT1", 860, good).output("OUT2", 400, levels(0.3))), verdict: analyze.Pass},
		// 0.8 ohm between the terminals: both loads on one switch, 13.4 · 242.4/248.4 = 13.08 V;
		// OUT2 gets 0.8 ohm less. Off, both leakages (2.8 kohm) into 242.4 ohm: 1.067 V.
		{name: "two outputs joined", meaning: "a short between them, and neither an address first nor leakage",
			d:       relay(draw(7).output("OUT1", 860, levels(1.067, 1.1, 13.08, 4.1, 1.067)).output("OUT2", 390, levels(1.066, 1.1, 13.07, 4.1, 1.066))),
			verdict: analyze.Fail, says: []string{"OUT2 moves together with OUT1 at on, off, at the same time and between the same levels, and should not have moved. Check for a short between their wires or terminals"}},
		{name: "two outputs joined, both named", meaning: "the same of one that is expected low",
			plan: func(p *analyze.Plan) {
				p.Outputs = append(p.Outputs, analyze.OutputPlan{Signal: "OUT2", Expect: map[string]analyze.Expectation{"on": goLow, "off": goLow}})
			},
			d:       relay(draw(7).output("OUT1", 860, good).output("OUT2", 390, levels(0.73, 1.1, 13.14, 4.1, 0.73))),
			verdict: analyze.Fail, says: []string{"OUT2 moves together with OUT1 at on"}},
		{name: "two programmed to one address", meaning: "each has its own load and level: an address",
			d:       relay(draw(7).output("OUT1", 860, good).output("OUT2", 390, levels(2.03, 1.1, 13.32, 4.1, 2.03))),
			verdict: analyze.Fail, says: []string{"OUT2 moved at on, off and should have kept its state. Check whether another output is programmed to its address"}},
		{name: "one that moves later", meaning: "an address, too: what is joined moves at once",
			d:       relay(draw(7).output("OUT1", 860, good).output("OUT2", 390, levels(0.724, 1.15, 13.15, 4.15, 0.724))),
			verdict: analyze.Fail, says: []string{"OUT2 moved at on, off and should have kept its state"}},
		// Without the coil only the rig's divider of 49 kohm loads the output: 13.4 V on, and off
		// the leakage of 150 kohm lifts it to 13.4 · 49/199 = 3.30 V.
		{name: "open coil", meaning: "the relay does not move; that the output floats up when off follows",
			d:       draw(7).output("OUT1", 860, levels(3.30, 1.1, 13.4, 4.1, 3.30)).output("OUT2", 400, levels(0.3)).contact("K1_NO", false).contact("K1_NC", true),
			verdict: analyze.Fail, says: []string{"Relay K1 never moves although OUT1 does"}},
		// A leakage of 5.6 kohm: 13.4 · 49/54.6 = 12.03 V off.
		{name: "open coil and a switch that leaks much", meaning: "the output cannot fall without its load: the load first",
			d:       draw(7).output("OUT1", 860, levels(12.03, 1.1, 13.4, 4.1, 12.03)).output("OUT2", 400, levels(0.3)).contact("K1_NO", false).contact("K1_NC", true),
			verdict: analyze.Fail, says: []string{"OUT1 did not go low at off: it stays at 12.0 V, and no other output moved instead. Check the output's programming and whether its load is connected"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Log("sensibly: " + tc.meaning)
			plan := twoOutputs()
			if tc.plan != nil {
				tc.plan(plan)
			}
			r, findings := measured(t, plan, tc.d.event("on", 1).event("off", 4))
			if got := r.Verdict(); got != tc.verdict {
				t.Errorf("verdict %q, want %q", got, tc.verdict)
			}
			says(t, findings, tc.says...)
		})
	}
}
