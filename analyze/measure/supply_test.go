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

// rampPlan has a supply that rises and falls slowly, and one that is set at once.
func rampPlan() *analyze.Plan {
	p := relayPlan()
	p.Steps = []string{"rise", "fall", "dip"}
	p.Outputs[0].Expect = nil
	p.Moves = map[string]analyze.Move{
		"rise": {From: 0, To: 13.8, Over: 13800 * time.Millisecond},
		"fall": {From: 13.8, To: 0, Over: 13800 * time.Millisecond},
		"dip":  {To: 10.5},
	}
	return p
}

// ramp is 1 V/s up from 1 s on and, after 1 s of rest, down again.
func ramp(t float64) float64 {
	switch {
	case t < 1:
		return 0
	case t < 14.8:
		return t - 1
	case t < 15.8:
		return 13.8
	}
	return math.Max(0, 13.8-(t-15.8))
}

// A relay with the figures of the 12 V relay of MIL-R-5757's pick-up and drop-out
// test as makers give them (operates at or below 75 % of 12 V, releases at or above
// 10 %): pulled in at 6.80 V, the contact 6 ms later, let go at 2.20 V, 4 ms later.
func TestSupply_Ramp(t *testing.T) {
	d := draw(31).output("OUT1", 860, ramp).event("rise", 1).event("fall", 15.8).
		contact("K1_NO", false, 7.806, 27.401).contact("K1_NC", true, 7.803, 27.404)
	r, findings := measured(t, rampPlan(), d)
	for _, f := range []figure{
		// The coil's voltage was reached within the limit of the operate time, 15 ms at
		// 1 V/s: half of that, and a sample to both sides.
		{"rise", "K1", analyze.PullInVoltage, 6.80, 9e-3, analyze.Pass},
		{"fall", "K1", analyze.DropOutVoltage, 2.20, 6.5e-3, analyze.Pass},
	} {
		f.check(t, r)
		x := rowsOf(r, f.event, f.signal, f.q)[0]
		if math.Abs(x.Value-f.value) > x.Expanded {
			t.Errorf("%s: %g ± %g does not hold %g", f.q, x.Value, x.Expanded, f.value)
		}
	}
	for _, x := range r.Measurements {
		if x.Event != "" && x.Quantity != analyze.PullInVoltage && x.Quantity != analyze.DropOutVoltage {
			t.Errorf("a ramp has no %s of %s", x.Quantity, x.Signal)
		}
	}
	says(t, findings)
}

func TestSupply_RampJudged(t *testing.T) {
	for _, c := range []struct {
		name     string
		no, nc   []float64
		event    string
		quantity analyze.Quantity
		verdict  analyze.Verdict
		reason   string
		says     string
	}{
		{"pulls in too high", []float64{10.806}, []float64{10.803}, "rise", analyze.PullInVoltage, analyze.Fail, "", "pulls in only at 9.80 V; it must operate at 9 V"},
		{"on the limit", []float64{10.006}, []float64{10.003}, "rise", analyze.PullInVoltage, analyze.Undecided, "a ramp", "cannot be decided"},
		{"never pulls in", nil, nil, "rise", analyze.PullInVoltage, analyze.Fail, "K1_NO did not close, although the supply went to 13.8 V", "Relay K1 never moves"},
		{"lets go too low", []float64{7.806, 29.001}, []float64{7.803, 29.004}, "fall", analyze.DropOutVoltage, analyze.Fail, "", "releases only at 0.601 V; it must release at 1.2 V"},
		{"never lets go", []float64{7.806}, []float64{7.803}, "fall", analyze.DropOutVoltage, analyze.Fail, "K1_NC did not close, although the supply went to 0 V", "welded"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := draw(31).output("OUT1", 860, ramp).event("rise", 1).event("fall", 15.8).
				contact("K1_NO", false, c.no...).contact("K1_NC", true, c.nc...)
			r, findings := measured(t, rampPlan(), d)
			rows := rowsOf(r, c.event, "K1", c.quantity)
			if len(rows) != 1 || rows[0].Verdict != c.verdict || !strings.Contains(diagnose.Reason(&rows[0]), c.reason) {
				t.Errorf("%+v, want one %s with reason %q", rows, c.verdict, c.reason)
			}
			if !strings.Contains(findings, c.says) {
				t.Errorf("findings %q do not say %q", findings, c.says)
			}
		})
	}
}

// A relay that is in already shows no pull-in voltage, and one contact alone does.
func TestSupply_RampContacts(t *testing.T) {
	d := draw(31).output("OUT1", 860, ramp).event("rise", 1).contact("K1_NO", true).contact("K1_NC", false)
	r, _ := measured(t, rampPlan(), d)
	x := rowsOf(r, "rise", "K1", analyze.PullInVoltage)
	if len(x) != 1 || x[0].Verdict != analyze.Undecided || diagnose.Reason(&x[0]) != "K1_NO was already closed" {
		t.Errorf("in before the ramp: %+v", x)
	}
	plan := rampPlan()
	plan.Relays[0].Make = ""
	d = draw(31).output("OUT1", 860, ramp).event("rise", 1).event("fall", 15.8).contact("K1_NC", true, 7.803, 27.404)
	r, _ = measured(t, plan, d)
	figure{"rise", "K1", analyze.PullInVoltage, 6.80, 9e-3, analyze.Pass}.check(t, r)
	figure{"fall", "K1", analyze.DropOutVoltage, 2.20, 6.5e-3, analyze.Pass}.check(t, r)
}

// A supply that is set at once takes every output's level with it; the relays must
// keep their contacts.
func TestSupply_SetAtOnce(t *testing.T) {
	plan := rampPlan()
	plan.OthersUnmoved = true
	still := draw(4).output("OUT1", 860, levels(13.5, 1, 10.2)).output("OUT2", 860, levels(13.5, 1, 10.2)).
		event("dip", 1).contact("K1_NO", true).contact("K1_NC", false)
	r, findings := measured(t, plan, still)
	says(t, findings)
	if v := r.Verdict(); v == analyze.Fail || v == analyze.Undecided {
		t.Errorf("a supply that was set: %s: %+v", v, r)
	}
	moved := draw(4).output("OUT1", 860, levels(13.5, 1, 10.2)).output("OUT2", 860, levels(13.5, 1, 10.2)).
		event("dip", 1).contact("K1_NO", true, 1.01).contact("K1_NC", false, 1.012)
	_, findings = measured(t, plan, moved)
	says(t, findings, "Relay K1 changed over at dip, where only the supply was set")
}

// After a move, the next event starts from the level that the supply left: here an
// output that is on at 10.2 V and then switched off.
func TestSupply_LevelAfter(t *testing.T) {
	plan := rampPlan()
	plan.Steps = []string{"dip", "off"}
	plan.Outputs[0].Expect = map[string]analyze.Expectation{"off": {Demand: analyze.Low}}
	d := draw(4).output("OUT1", 860, levels(13.5, 1, 10.2, 2.1, 0.6)).event("dip", 1).event("off", 2).
		contact("K1_NO", true, 2.104).contact("K1_NC", false, 2.106)
	r, findings := measured(t, plan, d)
	figure{"off", "OUT1", analyze.SwitchingDelay, 0.1, 1e-3, analyze.NoVerdict}.check(t, r)
	figure{"off", "K1", analyze.ReleaseTime, 6e-3, 1e-3, analyze.Pass}.check(t, r)
	says(t, findings)
}

// A ramp that does not surely reach the limit shows nothing against the relay: its end
// is a bound. The converter's gain is known to ± 1 % here.
func TestSupply_RampTooShort(t *testing.T) {
	for _, c := range []struct {
		name    string
		from    float64 // of the ramp, in seconds of the drawing
		end     float64 // volts
		verdict analyze.Verdict
		reason  string
	}{
		{"up, far from it", 1, 4, analyze.Undecided, "K1_NO did not close, although the supply went to 13.8 V; the coil came to 4.000 V ± 0.038 V only: it changes over above that. A ramp that ends well above 9 V would show whether it must"},
		{"up, beyond it by less than U", 1, 9.05, analyze.Undecided, "the coil came to 9.050 V ± 0.086 V only: it changes over above that."},
		{"up, surely beyond it", 1, 9.2, analyze.Fail, "K1_NO did not close, although the supply went to 13.8 V"},
		{"down, far from it", 15.8, 3, analyze.Undecided, "K1_NC did not close, although the supply went to 0 V; the coil came to 3.000 V ± 0.029 V only: it changes over below that. A ramp that ends well below 1.2 V would show whether it must"},
		{"down, surely beyond it", 15.8, 1.1, analyze.Fail, "K1_NC did not close, although the supply went to 0 V"},
	} {
		t.Run(c.name, func(t *testing.T) {
			event, q, out, bounded := "rise", analyze.PullInVoltage, false, func(s float64) float64 { return math.Min(c.end, ramp(s)) }
			if c.from > 15 {
				event, q, out, bounded = "fall", analyze.DropOutVoltage, true, func(s float64) float64 { return math.Max(c.end, ramp(s)) }
			}
			d := draw(31).output("OUT1", 860, bounded).event(event, c.from).contact("K1_NO", out).contact("K1_NC", !out)
			d.Traces[0].Converter.Doubts = []capture.Doubt{{Source: capture.ADCGain, Distribution: capture.Rectangular, Relative: 0.01}}
			r, findings := measured(t, rampPlan(), d)
			x := rowsOf(r, event, "K1", q)
			if len(x) != 1 || x[0].Verdict != c.verdict || !strings.Contains(diagnose.Reason(&x[0]), c.reason) {
				t.Errorf("%s: %s", x[0].Verdict, diagnose.Reason(&x[0]))
			}
			if c.verdict == analyze.Undecided {
				says(t, findings)
			}
		})
	}
}

// Without a sample of the coil on both sides of the change-over, its voltage then is
// not known, however far a ramp had come before.
func TestSupply_RampUnsampled(t *testing.T) {
	d := draw(14).output("OUT1", 860, ramp, hole{7, 20}).event("rise", 1).contact("K1_NO", false, 7.806).contact("K1_NC", true, 7.803)
	r, _ := measured(t, rampPlan(), d)
	x := rowsOf(r, "rise", "K1", analyze.PullInVoltage)
	if len(x) != 1 || x[0].Verdict != analyze.Undecided || diagnose.Reason(&x[0]) != "no samples of OUT1 around the change-over" {
		t.Errorf("%+v", x)
	}
}
