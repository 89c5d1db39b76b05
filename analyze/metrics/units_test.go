package metrics

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	dto "github.com/prometheus/client_model/go"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// position of a series; false: it has none.
func position(m *dto.Metric) (string, bool) {
	for _, l := range m.GetLabel() {
		if l.GetName() == positionLabel {
			return l.GetValue(), true
		}
	}
	return "", false
}

// What a unit has shown stands at its position and at no other. The rig's counts stand once, and
// every metric's other labels are those that it has with one unit.
func TestUnits(t *testing.T) {
	t.Parallel()
	u := NewUnits(Opts{}, []string{"left", "right"})
	for i, v := range []analyze.Verdict{analyze.Pass, analyze.Fail} {
		c := u.At(i)
		c.SetRun(Run{Name: fmt.Sprint("run-", i), Unit: fmt.Sprint("INV-", i), Planned: 9})
		c.SetRunning(i == 1)
		for n := range 3 + i {
			c.ObserveCycle(n+1, v, analyze.Result{
				Measurements: []analyze.Measurement{figure(analyze.OperateTime, "K1", "arm", 0.006, v), figure(analyze.HighLevel, "OUT1", "arm", 12, v)},
				Symptoms:     []analyze.Symptom{{Signal: "K1", Kind: analyze.RelayStill}},
			}, capture.Counts{MissedConversions: 7, LostEdges: 7})
		}
		c.SetVerdict(v)
		c.SetRigLost(i == 0)
	}
	u.ObserveRig(capture.Counts{MissedConversions: 2, LostEdges: 3})
	u.ObserveRig(capture.Counts{MissedConversions: 2})
	text, err := exposition(u.Gatherer())
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		`makebreak_cycles_total{position="left",verdict="pass"} 3`, `makebreak_cycles_total{position="left",verdict="fail"} 0`,
		`makebreak_cycles_total{position="right",verdict="fail"} 4`, `makebreak_operate_time_seconds_count{event="arm",position="right",signal="K1"} 4`,
		`makebreak_run_in_progress{position="left"} 0`, `makebreak_run_in_progress{position="right"} 1`,
		`makebreak_rig_lost{position="left"} 1`, `makebreak_rig_lost{position="right"} 0`, `makebreak_last_cycle_number{position="right"} 4`,
		`position="left",rig="",run="run-0",run_id="",sequence="",simulated="false",unit="INV-0"`,
		"makebreak_missed_conversions_total 4\n", "makebreak_lost_edges_total 3\n",
	} {
		if !strings.Contains(string(text), want) {
			t.Errorf("the metrics do not have %s", want)
		}
	}
	alone := map[string][]string{}
	for name, f := range parsed(t, scrapeNow(t, fed())) {
		for _, l := range f.GetMetric()[0].GetLabel() {
			alone[name] = append(alone[name], l.GetName())
		}
	}
	for name, f := range parsed(t, text) {
		for _, m := range f.GetMetric() {
			_, has := position(m)
			if has == slices.Contains(ofRig, name) {
				t.Errorf("%s: position %t", name, has)
			}
			var others []string
			for _, l := range m.GetLabel() {
				if l.GetName() != positionLabel {
					others = append(others, l.GetName())
				}
			}
			if !slices.Equal(others, alone[name]) {
				t.Errorf("%s: labels %q, with one unit %q", name, others, alone[name])
			}
		}
	}
	promtool(t, text, "check", "metrics")
}

// As many units as a rig can have make as many series more, and no run makes others.
func TestUnits_Series(t *testing.T) {
	t.Parallel()
	var names []string
	for i := range 16 {
		names = append(names, fmt.Sprint("R", i+1))
	}
	u := NewUnits(Opts{}, names)
	for run := range 20 {
		for i := range names {
			u.At(i).SetRun(Run{Name: fmt.Sprint(run, i), Planned: 1})
			u.At(i).ObserveCycle(1, analyze.Pass, analyze.Result{}, capture.Counts{})
		}
	}
	if n := seriesOf(t, u.At(0)); n != 16*22+6 {
		t.Errorf("16 units make %d series", n)
	}
}
