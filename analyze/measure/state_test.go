package measure_test

import (
	"math"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/measure"
)

// TestState_Crossings: every crossing of the mid reference level counts, also those of an
// output that moves more often than its spans are kept.
func TestState_Crossings(t *testing.T) {
	for _, want := range []int{0, 1, 2, 3, 62, 63, 64, 100, 124} {
		var changes []float64
		for i := range want {
			changes = append(changes, 1.1+0.01*float64(i), 12.6*float64((i+1)%2))
		}
		d := draw(4).output("OUT1", 1000, levels(0, changes...)).event("on", 1)
		m, err := measure.NewMeter(outputPlan(nil, map[string]analyze.Expectation{"on": goHigh}), d.Capture)
		if err != nil {
			t.Fatal(err)
		}
		m.Begin(d.Capture, d.Events[0].At)
		if got := m.State(d.Capture, d.Events[0], d.End).Outputs[0].Crossings; got != want {
			t.Errorf("%d crossings, want %d", got, want)
		}
	}
}

// TestState_StepBetweenHighLevels: the band in which a crossing does not count is a share of
// the step, not of the levels: an output that goes from 9 V to 12 V is placed like any other.
func TestState_StepBetweenHighLevels(t *testing.T) {
	for name, v := range map[string]func(float64) float64{
		"from 9 V": levels(9, 1.1, 12, 2.1, 9), "from 0 V": levels(0, 1.1, 3, 2.1, 0),
	} {
		r, _ := measured(t, nil, draw(3).output("OUT1", 1000, v).event("on", 1).event("off", 2))
		for _, event := range []string{"on", "off"} {
			rows := rowsOf(r, event, "OUT1", analyze.SwitchingDelay)
			if len(rows) != 1 || math.Abs(rows[0].Value-0.1) > 1e-3 {
				t.Errorf("%s, %s: %+v, want a switching delay of 0.1 s", name, event, rows)
			}
		}
	}
}
