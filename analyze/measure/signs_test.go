package measure_test

import (
	"math"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/measure"
)

// Each quantity of one drawn capture, worked by hand: an output that goes from 0.6 V to
// 13.5 V 100 ms after its event and back 50 ms after the next, with a relay whose make contact
// closes 12 ms after that, bounces twice within 1 ms, and opens again.
func TestQuantities_WorkedByHand(t *testing.T) {
	nan := math.NaN()
	d := draw(11).output("OUT1", 860, levels(0.6, 1.1, 13.5, 3.05, 0.6)).event("on", 1).event("off", 3).
		contact("K1_NO", false, 1.112, 1.1125, 1.113, 3.054).contact("K1_NC", true, 1.110, 3.057, 3.0575, 3.0579)
	plan := &analyze.Plan{Steps: []string{"on", "off"}, Outputs: []analyze.OutputPlan{{Signal: "OUT1", Relay: "K1",
		Expect: map[string]analyze.Expectation{"on": {Demand: analyze.High}, "off": {Demand: analyze.Low}}}},
		Relays: []analyze.RelayPlan{{Signal: "K1", Make: "K1_NO", Break: "K1_NC", MustOperate: 9, MustRelease: 1.2}}}
	r, findings := measured(t, plan, d)
	for _, f := range []figure{
		{"on", "OUT1", analyze.HighLevel, 13.5, 2e-3, analyze.NoVerdict},
		{"off", "OUT1", analyze.LowLevel, 0.6, 2e-3, analyze.NoVerdict},
		{"on", "OUT1", analyze.SwitchingDelay, 0.100, 0.7e-3, analyze.NoVerdict},
		{"off", "OUT1", analyze.SwitchingDelay, 0.050, 0.7e-3, analyze.NoVerdict},
		{"on", "OUT1", analyze.Hold, 0, 0, analyze.Pass},
		{"on", "K1", analyze.OperateTime, 0.012, 0.7e-3, analyze.NoVerdict},
		{"off", "K1", analyze.ReleaseTime, 0.007, 0.7e-3, analyze.NoVerdict},
		{"on", "K1", analyze.TransferTime, 0.002, 1e-9, analyze.NoVerdict},
		{"off", "K1", analyze.TransferTime, 0.003, 1e-9, analyze.NoVerdict},
		{"on", "K1_NO", analyze.BounceTime, 0.001, 1e-9, analyze.NoVerdict},
		{"on", "K1_NO", analyze.BounceCount, 1, 0, analyze.NoVerdict},
		{"off", "K1_NC", analyze.BounceTime, 0.0009, 1e-9, analyze.NoVerdict},
		{"off", "K1_NC", analyze.BounceCount, 1, 0, analyze.NoVerdict},
		{"on", "K1", analyze.PullInMargin, 13.5 - 9, 2e-3, analyze.NoVerdict},
		{"off", "K1", analyze.DropOutMargin, 1.2 - 0.6, 2e-3, analyze.NoVerdict},
	} {
		f.check(t, r)
	}
	says(t, findings)

	// Limits on either side of each figure: it passes between them, and fails outside. Far
	// enough away for its uncertainty not to matter.
	for _, x := range r.Measurements {
		if math.IsNaN(x.Value) || x.Bound() != analyze.NoBound || x.Event == "" {
			continue
		}
		far := 1.0
		if x.Expanded > 0.1 {
			far = 10 * x.Expanded
		}
		for _, c := range []struct {
			lower, upper float64
			want         analyze.Verdict
		}{
			{x.Value - far, x.Value + far, analyze.Pass}, {x.Value + far, nan, analyze.Fail}, {nan, x.Value - far, analyze.Fail},
			{nan, x.Value + far, analyze.Pass}, {x.Value - far, nan, analyze.Pass},
		} {
			y := x
			y.Limit, y.Verdict = analyze.Limit{Lower: c.lower, Upper: c.upper}, analyze.NoVerdict
			measure.Judge(&y, analyze.Guarded)
			if y.Verdict != c.want {
				t.Errorf("%s of %s, %g in %v: %s, want %s", x.Quantity, x.Signal, x.Value, y.Limit, y.Verdict, c.want)
			}
		}
	}
}
