package metrics

import (
	"strconv"
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// seriesOf counts the series of a scrape: a histogram is one for each bound, the infinite one,
// sum and count.
func seriesOf(t *testing.T, c *Collector) int {
	t.Helper()
	n := 0
	for _, f := range parsed(t, scrapeNow(t, c)) {
		for _, m := range f.GetMetric() {
			if h := m.GetHistogram(); h != nil {
				n += len(h.GetBucket()) + 2
				continue
			}
			n++
		}
	}
	return n
}

// The README says how many series each thing makes at most, so that whoever runs a Prometheus
// knows what a rig costs.
func TestCollector_Series(t *testing.T) {
	t.Parallel()
	both := func(q analyze.Quantity, signal, event string) analyze.Measurement {
		return limited(figure(q, signal, event, 0.001, analyze.Pass), 0, 1)
	}
	c := NewCollector(Opts{})
	c.SetRun(Run{Planned: 1})
	c.ObserveCycle(1, analyze.Pass, analyze.Result{}, capture.Counts{})
	n := seriesOf(t, c)
	if n != 28 {
		t.Errorf("the program makes %d series", n)
	}
	for i, x := range []struct {
		of   string
		most int
		by   analyze.Result
	}{
		{"an output at an event", 18 + 2, analyze.Result{Measurements: []analyze.Measurement{both(analyze.SwitchingDelay, "OUT1", "arm")}}},
		{"a relay at an event", 32 + 4, analyze.Result{Measurements: []analyze.Measurement{both(analyze.OperateTime, "K1", "arm"), both(analyze.ReleaseTime, "K1", "arm")}}},
		{"a contact at an event", 15 + 2, analyze.Result{Measurements: []analyze.Measurement{both(analyze.BounceTime, "K1_NO", "arm")}}},
		{"an output", 2 + 4, analyze.Result{Measurements: []analyze.Measurement{both(analyze.LowLevel, "OUT1", "arm"), both(analyze.HighLevel, "OUT1", "arm")}}},
		{"a symptom", 1, analyze.Result{Symptoms: []analyze.Symptom{{Signal: "OUT1", Kind: analyze.DidNotMove}}}},
	} {
		for range 2 { // what is there already makes no more
			c.ObserveCycle(2+i, analyze.Pass, x.by, capture.Counts{})
		}
		now := seriesOf(t, c)
		if now-n != x.most {
			t.Errorf("%s makes %d series, want %d", x.of, now-n, x.most)
		}
		n = now
	}
	for day := range 3 { // states come and go
		c.SetCalibrations([]capture.Calibration{{Output: "OUT1", State: []capture.CalibrationState{capture.InDate, capture.Overdue, capture.InFuture}[day], Made: "2031-01-01", Due: "2031-02-01"}})
	}
	if now := seriesOf(t, c); now-n != 2 {
		t.Errorf("a calibration makes %d series", now-n)
	}
	for cycle := range 1000 {
		c.SetRun(Run{Name: strconv.Itoa(cycle), Unit: strconv.Itoa(cycle)})
		c.ObserveCycle(cycle, analyze.Pass, analyze.Result{Measurements: []analyze.Measurement{both(analyze.SwitchingDelay, "OUT1", "arm")}}, capture.Counts{})
	}
	if got := testutil.CollectAndCount(c, runInfo); got != 1 {
		t.Errorf("%d runs are named", got)
	}
}
