package diagnose

import (
	"math"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/rig/unit"
)

// seen is one symptom for each cycle and event given.
func seen(k analyze.Kind, signal, other string, value, limit float64, at ...any) (all []analyze.Symptom) {
	for i := 0; i < len(at); i += 2 {
		all = append(all, analyze.Symptom{Cycle: at[i].(int), Event: at[i+1].(string), Signal: signal, Kind: k, Other: other, Value: value, Limit: limit})
	}
	return all
}

func TestFindings_HowOften(t *testing.T) {
	plan := &analyze.Plan{Steps: []string{"arm", "disarm", "arm", "disarm"}}
	for _, c := range []struct {
		name   string
		plan   *analyze.Plan
		at     []any // cycle, event, ...
		cycles int
		want   string
	}{
		{"at each occurrence", plan, []any{1, "arm", 1, "arm", 2, "arm", 2, "arm"}, 2, ""},
		{"at one of two occurrences in a cycle", plan, []any{1, "arm", 2, "arm"}, 2, "in every cycle, at arm"},
		{"in one of two cycles", plan, []any{2, "arm", 2, "arm"}, 2, "in 1 of 2 cycles (cycle 2), at arm"},
		{"in all cycles but one", plan, []any{1, "arm", 1, "arm", 2, "arm", 2, "arm"}, 3, "in 2 of 3 cycles (cycles 1, 2), at arm"},
		{"no plan, each cycle", nil, []any{1, "arm", 2, "arm"}, 2, ""},
		{"no plan, not each cycle", nil, []any{1, "arm", 3, "arm"}, 3, "in 2 of 3 cycles (cycles 1, 3), at arm"},
		{"two events", plan, []any{1, "arm", 1, "disarm", 2, "disarm"}, 2, "in every cycle, at arm, disarm"},
		{"one of one cycle", plan, []any{1, "arm"}, 1, "in every cycle, at arm"},
		{"very many", nil, []any{1, "arm", 2, "arm", 3, "arm", 4, "arm", 5, "arm", 6, "arm", 9, "arm"}, 20, "in 7 of 20 cycles (cycles 1, 2, 3, 4, …, 9), at arm"},
		{"five of many", nil, []any{1, "arm", 2, "arm", 3, "arm", 4, "arm", 5, "arm"}, 20, "in 5 of 20 cycles (cycles 1, 2, 3, 4, 5), at arm"},
	} {
		found := Findings(c.plan, seen(analyze.Chattering, "K1", "", math.NaN(), math.NaN(), c.at...), c.cycles)
		if len(found) != 1 {
			t.Errorf("%s: %d findings", c.name, len(found))
			continue
		}
		_, often, _ := strings.Cut(found[0].Text, " Seen ")
		if often = strings.TrimSuffix(often, "."); often != c.want {
			t.Errorf("%s: seen %q, want %q", c.name, often, c.want)
		}
	}
}

// A figure and its limit are in one unit and never seem to be on the other side of it.
func TestFindings_Figures(t *testing.T) {
	for _, c := range []struct {
		kind          analyze.Kind
		signal, other string
		lowest        float64
		highest       float64
		limit         float64
		want          string
	}{
		{analyze.NearLimit, "OUT3", "ripple", 0.4919, 0.4931, 0.5, "Ripple of OUT3 cannot be decided: 492 to 493 mV is closer to the limit 500 mV than"},
		{analyze.LowWhenOn, "OUT3", "high_level", 11.9996, 11.9996, 12, "OUT3 is low when on: 11.9996 V, at least 12 V expected."},
		{analyze.HighWhenOff, "OUT3", "low_level", 1.0004, 1.2, 1, "OUT3 is too high when off: 1.0004 to 1.20 V, at most 1 V expected."},
		{analyze.SlowOperate, "K1", "operate_time", 0.0161, 0.0182, 0.015, "Relay K1 operates slowly: 16.1 to 18.2 ms, limit 15 ms."},
		{analyze.LongBounce, "K1_NO", "bounce_count", 5, 12, 3, "Contact K1_NO bounces too often: up to 12 times, limit 3."},
		{analyze.LongBounce, "K1_NO", "bounce_time", 0.0061, 0.0061, 0.005, "Contact K1_NO bounces too long: 6.10 ms, limit 5 ms."},
		{analyze.Overshoots, "OUT3", "", 17.2, 18.5, 13.5, "goes up to 18.5 V before it settles at 13.5 V."},
		{analyze.Undershoots, "OUT3", "", -9.5, -3, 0.6, "goes down to -9.5 V before it settles at 600 mV."},
		{analyze.MorePulses, "OUT3", "", 2, 4, math.NaN(), "OUT3 pulsed 2 to 4 times at arm, once expected."},
		{analyze.OffLimit, "K1", "transfer_time", 0.0021, 0.0021, 0.001, "Transfer time of K1 is out of its limit: 2.10 ms, limit 1 ms."},
		{analyze.Doubtful, "K1", "operate_time", 0.01, 0.01, math.NaN(), "Operate time of K1 cannot be decided at arm. The reason stands with each figure."},
	} {
		all := append(seen(c.kind, c.signal, c.other, c.lowest, c.limit, 1, "arm"), seen(c.kind, c.signal, c.other, c.highest, c.limit, 2, "arm")...)
		found := Findings(nil, all, 2)
		if len(found) != 1 || !strings.Contains(found[0].Text, c.want) || found[0].Verdict != c.kind.Verdict() {
			t.Errorf("%s: %+v\nwant %q", c.kind, found, c.want)
		}
	}
}

// Every kind of symptom has words, and every quantity's row names kinds that have.
func TestFindings_AllKindsHaveWords(t *testing.T) {
	for _, d := range analyze.Definitions() {
		for _, k := range []analyze.Kind{d.Above, d.Below} {
			if findingTexts[k] == nil {
				t.Errorf("%s: symptom %q has no words", d.Quantity, k)
			}
		}
	}
	for k := range findingTexts {
		found := Findings(&analyze.Plan{}, seen(k, "OUT3", "K1", 1, 2, 1, "arm"), 1)
		if len(found) != 1 || found[0].Text == "" || strings.Contains(found[0].Text, "%!") {
			t.Errorf("%s: %+v", k, found)
		}
	}
}

// The gravest comes first, then the most frequent; what one finding explains is not said again.
func TestFindings_OrderAndSilence(t *testing.T) {
	nan := math.NaN()
	plan := &analyze.Plan{Outputs: []analyze.OutputPlan{{Signal: "OUT3", Relay: "K1"}, {Signal: "OUT4"}}, Relays: []analyze.RelayPlan{{Signal: "K1", Make: "K1_NO"}}}
	for _, c := range []struct {
		name string
		all  [][]analyze.Symptom
		want []analyze.Kind
	}{
		{"gravest first", [][]analyze.Symptom{seen(analyze.NearLimit, "OUT4", "ripple", 1, 2, 1, "a", 2, "a"), seen(analyze.Rippling, "OUT3", "ripple", 1, 2, 1, "a")}, []analyze.Kind{analyze.Rippling, analyze.NearLimit}},
		{"most frequent first", [][]analyze.Symptom{seen(analyze.SlowRelease, "K1", "", 1, 2, 1, "a"), seen(analyze.SlowOperate, "K1", "", 1, 2, 1, "a", 2, "a")}, []analyze.Kind{analyze.SlowOperate, analyze.SlowRelease}},
		{"the one that moved instead", [][]analyze.Symptom{seen(analyze.MovedInstead, "OUT3", "OUT4", nan, nan, 1, "a"), seen(analyze.MovedUnasked, "OUT4", "", 1, nan, 1, "a")}, []analyze.Kind{analyze.MovedInstead}},
		{"another that moved", [][]analyze.Symptom{seen(analyze.MovedInstead, "OUT3", "OUT5", nan, nan, 1, "a"), seen(analyze.MovedUnasked, "OUT4", "", 1, nan, 1, "a")}, []analyze.Kind{analyze.MovedInstead, analyze.MovedUnasked}},
		{"a loose wire upsets the relay behind it", [][]analyze.Symptom{seen(analyze.LooseWire, "OUT3", "", 1, nan, 1, "a", 2, "a"), seen(analyze.SlowOperate, "K1", "", 1, 2, 1, "a")}, []analyze.Kind{analyze.LooseWire}},
		{"and no other", [][]analyze.Symptom{seen(analyze.LooseWire, "OUT4", "", 1, nan, 1, "a", 2, "a"), seen(analyze.SlowOperate, "K1", "", 1, 2, 1, "a")}, []analyze.Kind{analyze.LooseWire, analyze.SlowOperate}},
		{"held in, and high when off", [][]analyze.Symptom{seen(analyze.HeldIn, "K1", "OUT3", 2, 1, 1, "a"), seen(analyze.HighWhenOff, "OUT3", "", 2, 1, 1, "a"), seen(analyze.OffMayHold, "K1", "", 2, 1, 1, "a")}, []analyze.Kind{analyze.HeldIn}},
		{"chatter of a relay and its contact", [][]analyze.Symptom{seen(analyze.Chattering, "K1", "OUT3", nan, nan, 1, "a", 2, "a"), seen(analyze.LongBounce, "K1_NO", "", 1, 1, 1, "a")}, []analyze.Kind{analyze.Chattering}},
		{"a coil that is open lets its output float", [][]analyze.Symptom{seen(analyze.RelayStill, "K1", "OUT3", 13.4, 9, 1, "a"), seen(analyze.HighWhenOff, "OUT3", "", 2.2, 1, 1, "b")}, []analyze.Kind{analyze.RelayStill}},
		{"contacts without a common", [][]analyze.Symptom{seen(analyze.CommonOpen, "K1", "OUT3", nan, nan, 1, "a", 2, "a"), seen(analyze.RelayStill, "K1", "OUT3", 12, 9, 1, "b"), seen(analyze.Welded, "K1_NO", "OUT3", 1, 1, 1, "b")}, []analyze.Kind{analyze.CommonOpen}},
		{"an output that sags now and then", [][]analyze.Symptom{seen(analyze.SagsOnLoad, "OUT3", "high_level", 11, 12, 1, "a", 2, "a"), seen(analyze.LowWhenOn, "OUT3", "high_level", 11, 12, 3, "a"), seen(analyze.WeakPullIn, "K1", "", 1, 2, 1, "a")}, []analyze.Kind{analyze.SagsOnLoad}},
		{"an output that is not read", [][]analyze.Symptom{seen(analyze.DidNotMove, "OUT3", "", 0.002, nan, 1, "a"), seen(analyze.RelayAlone, "K1", "OUT3", nan, nan, 1, "b"), seen(analyze.LetsGoLow, "K1", "", 0, 1.2, 1, "b")}, []analyze.Kind{analyze.DidNotMove}},
		{"an output that does nothing, and a relay that moves", [][]analyze.Symptom{seen(analyze.DidNotMove, "OUT3", "", 0.65, nan, 1, "a", 2, "a"), seen(analyze.RelayAlone, "K1", "OUT3", nan, nan, 1, "b", 2, "b")}, []analyze.Kind{analyze.DidNotMove, analyze.RelayAlone}},
		{"near where it also fails", [][]analyze.Symptom{seen(analyze.SlowOperate, "K1", "operate_time", 2, 1, 1, "a"), seen(analyze.NearLimit, "K1", "operate_time", 1, 1, 2, "a")}, []analyze.Kind{analyze.SlowOperate}},
		{"near in another quantity", [][]analyze.Symptom{seen(analyze.SlowOperate, "K1", "operate_time", 2, 1, 1, "a"), seen(analyze.NearLimit, "K1", "release_time", 1, 1, 2, "a")}, []analyze.Kind{analyze.SlowOperate, analyze.NearLimit}},
	} {
		var g Gathering
		for _, list := range c.all {
			for _, s := range list {
				g.Add(s)
			}
		}
		found := g.Findings(plan, 2, nil)
		var got []string
		for _, f := range found {
			got = append(got, f.Text)
		}
		if len(found) != len(c.want) {
			t.Errorf("%s: %d findings, want %v:\n%s", c.name, len(found), c.want, strings.Join(got, "\n"))
			continue
		}
		for i, k := range c.want {
			if head, _, _ := strings.Cut(findingTexts[k](plan, g.groupOf(k)), "."); !strings.HasPrefix(found[i].Text, head) {
				t.Errorf("%s: finding %d is %q, want %s", c.name, i, found[i].Text, k)
			}
		}
	}
}

// groupOf is the group of a kind.
func (all *Gathering) groupOf(k analyze.Kind) *group {
	for _, g := range all.groups {
		if g.kind == k {
			return g
		}
	}
	return nil
}

// Where the rig itself switches coils there is no panel: no finding sends anybody to one.
func TestFindings_Coils(t *testing.T) {
	t.Parallel()
	for k := range findingTexts {
		for _, value := range []float64{0.4, 12.4} {
			for _, cycles := range []int{1, 4} { // each time, and in some cycles
				found := Findings(&analyze.Plan{Coils: true, Steps: []string{"on"}}, seen(k, "COIL", "COIL2", value, 1, 1, "on"), cycles)
				if len(found) != 1 {
					t.Fatalf("%s: %+v", k, found)
				}
				for _, word := range []string{"programm", "arm", "key", "panel", "address", "expander", "battery", "charger", "output", "exit delay"} {
					if text := strings.ReplaceAll(found[0].Text, "armature", ""); strings.Contains(text, word) {
						t.Errorf("%s names %q: %s", k, word, found[0].Text)
					}
				}
			}
		}
	}
}

// Figures of a finding read as in the record's table: each as its row at its event has them.
func TestFindings_Scale(t *testing.T) {
	t.Parallel()
	plan := &analyze.Plan{Steps: []string{"arm", "disarm"}, Outputs: []analyze.OutputPlan{{Signal: "OUT3",
		Expect: map[string]analyze.Expectation{"arm": {Demand: analyze.High}, "disarm": {Demand: analyze.Low}}}}}
	rows := map[string]float64{ // uncertainties
		"OUT3 ripple arm": 8.4e-3, "OUT3 ripple disarm": 0.021, "OUT3 high_level arm": 0.16, "OUT3 low_level disarm": 0.0098, "OUT3 hold arm": 2.3e-5,
	}
	scale := func(signal string, q analyze.Quantity, event string) (unit.Scaler, bool) {
		u, has := rows[signal+" "+string(q)+" "+event]
		return unit.Of(q.Unit()).Scaler(unit.Figures{Values: []float64{0.4925, 0.5137}, Uncertainty: u}), has
	}
	at := func(k analyze.Kind, other, event string, value, limit float64) analyze.Symptom {
		return analyze.Symptom{Cycle: 1, Event: event, Signal: "OUT3", Kind: k, Other: other, Value: value, Limit: limit}
	}
	nan := math.NaN()
	for _, c := range []struct {
		symptoms []analyze.Symptom
		want     string
	}{
		{[]analyze.Symptom{at(analyze.NearLimit, "ripple", "arm", 0.49253, 0.5)}, "cannot be decided: 492.5 mV is closer to the limit 500 mV"},
		{[]analyze.Symptom{at(analyze.Rippling, "ripple", "arm", 0.51372, 0.5), at(analyze.Rippling, "ripple", "arm", 0.50919, 0.5)}, "509.2 to 513.7 mV peak to peak"},
		{[]analyze.Symptom{at(analyze.Rippling, "ripple", "arm", 0.60372, 0.5), at(analyze.Rippling, "ripple", "disarm", 0.5551, 0.5)}, "555 mV to 603.7 mV peak to peak"},
		{[]analyze.Symptom{at(analyze.DidNotMove, "", "arm", 0.65713, nan)}, "it stays at 660 mV"},
		{[]analyze.Symptom{at(analyze.DidNotMove, "", "disarm", 0.65713, nan)}, "it stays at 657.1 mV"},
		{[]analyze.Symptom{at(analyze.LeftState, "", "arm", 0.0712341, nan)}, "left its state for 71.234 ms"},
		{[]analyze.Symptom{at(analyze.Rippling, "ripple", "chime", 0.51372, 0.5)}, "514 mV peak to peak"}, // no such row
	} {
		var g Gathering
		for _, s := range c.symptoms {
			g.Add(s)
		}
		if found := g.Findings(plan, 1, scale); len(found) != 1 || !strings.Contains(found[0].Text, c.want) {
			t.Errorf("%+v, want %q", found, c.want)
		}
	}
}

// That a coil carries current is told with the relay that stands still, and not apart.
func TestFindings_CoilCarries(t *testing.T) {
	nan := math.NaN()
	for _, kind := range []analyze.Kind{analyze.RelayStill, analyze.CommonOpen} {
		all := append(seen(kind, "K1", "OUT3", 13.1, 9, 1, "arm"), seen(analyze.CoilCarries, "K1", "OUT3", -0.7, 0.6, 1, "disarm")...)
		found := Findings(&analyze.Plan{}, all, 1)
		if len(found) != 1 || found[0].Verdict != analyze.Fail {
			t.Errorf("%s: %+v", kind, found)
		}
		if kind == analyze.RelayStill && !strings.Contains(found[0].Text, "its coil carries current") {
			t.Errorf("%+v", found)
		}
	}
	if found := Findings(&analyze.Plan{}, seen(analyze.RelayStill, "K1", "OUT3", 13.1, nan, 1, "arm"), 1); strings.Contains(found[0].Text, "current") {
		t.Errorf("%+v", found)
	}
}
