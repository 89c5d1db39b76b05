package metrics

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"makebreak/analyze"
)

// atNoon is a day of April 2031, at noon where the rig is.
func atNoon(day int) time.Time {
	return time.Date(2031, 4, day, 12, 0, 0, 0, time.FixedZone("", 2*3600))
}

// invented is a log of units that do not exist, in no order.
func invented() []LogRun {
	return []LogRun{
		{Unit: "A", Sequence: "armed-high", Started: atNoon(20).Add(time.Hour), Verdict: analyze.Pass},
		{Unit: "A", Sequence: "armed-high", Started: atNoon(20), Verdict: analyze.Fail},
		{Unit: "B", Sequence: "armed-high", Started: atNoon(20).Add(-13 * time.Hour), Verdict: analyze.Pass}, // the day before
		{Unit: "B", Sequence: "relay-only", Started: atNoon(20), Verdict: analyze.Undecided},
		{Unit: "C", Sequence: "armed-high", Started: atNoon(20), Verdict: analyze.Incomplete},
		{Unit: "C", Sequence: "armed-high", Started: atNoon(20).Add(time.Hour), Verdict: analyze.Pass},
		{Unit: "D", Sequence: "armed-high", Started: atNoon(1), Verdict: analyze.Pass},
		{Unit: "A", Sequence: "armed-high", Started: atNoon(20), Verdict: analyze.Pass, Simulated: true},
		{Unit: "E", Sequence: "armed-high", Started: atNoon(20).Add(2 * time.Hour), Running: true},
		{Unit: "", Sequence: "armed-high", Started: atNoon(20), Verdict: analyze.Pass},
	}
}

// A unit counts by its first run of a sequence that came to its end, on a day by its last.
func TestCountLog(t *testing.T) {
	t.Parallel()
	real, simulated, relay := LogKind{"armed-high", false}, LogKind{"armed-high", true}, LogKind{"relay-only", false}
	want := LogHolds{
		Runs: map[LogKind]Tallied{
			real:      {"pass": 5, "fail": 1, "incomplete": 1},
			simulated: {"pass": 1},
			relay:     {"undecided": 1},
		},
		Units: map[LogKind]Tallied{real: {"pass": 3, "fail": 1}, simulated: {"pass": 1}, relay: {"undecided": 1}},
		Days: map[LogDay]Tallied{
			{"2031-04-19", real}:      {"pass": 1},
			{"2031-04-20", real}:      {"pass": 2},
			{"2031-04-20", simulated}: {"pass": 1},
			{"2031-04-20", relay}:     {"undecided": 1},
		},
		LastRun: atNoon(20).Add(2 * time.Hour), Size: -1, Free: -1,
	}
	if diff := cmp.Diff(want, CountLog(invented(), atNoon(20))); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
}

// However many sequences and days there are, the series are bounded; none is lost.
func TestCountLog_Bounded(t *testing.T) {
	t.Parallel()
	var runs []LogRun
	for i := range 3 * mostSequences {
		for day := range 40 {
			runs = append(runs, LogRun{Unit: fmt.Sprint("U", i, ".", day), Sequence: fmt.Sprint("s", i), Started: atNoon(1).AddDate(0, 0, day).Add(time.Duration(i) * time.Second), Verdict: analyze.Pass})
		}
	}
	h := CountLog(runs, atNoon(40))
	if len(h.Runs) != mostSequences+1 || len(h.Units) != mostSequences+1 || len(h.Days) != mostDays*(mostSequences+1) {
		t.Errorf("%d, %d, %d", len(h.Runs), len(h.Units), len(h.Days))
	}
	sum := 0
	for _, by := range h.Runs {
		sum += by["pass"]
	}
	if others := h.Units[LogKind{Sequence: otherSequences}]["pass"]; sum != len(runs) || others != 2*mostSequences*40 {
		t.Errorf("%d runs of %d, %d other units", sum, len(runs), others)
	}
	if _, named := h.Runs[LogKind{Sequence: fmt.Sprint("s", 3*mostSequences-1)}]; !named {
		t.Error("the newest sequence is not counted by its name")
	}
}

// logOf makes the metrics of a log as they are served.
func logOf(t *testing.T, read func() (LogHolds, error)) *prometheus.Registry {
	t.Helper()
	r := prometheus.NewPedanticRegistry()
	r.MustRegister(NewLog(read))
	return r
}

func TestLog_Golden(t *testing.T) {
	t.Parallel()
	r := logOf(t, func() (LogHolds, error) {
		h := CountLog(invented(), atNoon(20))
		h.Size, h.Free = 123456, 987654321
		for i := range mostRuns + 3 {
			h.Now = append(h.Now, LogNow{Run: fmt.Sprint("2031-04-20-invent.", i), Unit: "E", Sequence: "armed-high", Cycles: i, Planned: 20 * (i % 2)})
		}
		return h, nil
	})
	text, err := exposition(r)
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "metrics-log.txt", text)
	promtool(t, text, "check", "metrics")
	problems, err := testutil.GatherAndLint(r)
	if err != nil || len(problems) > 0 {
		t.Errorf("%v, %v", problems, err)
	}
}

// A log that cannot be read, or that holds nothing, is no failed scrape.
func TestLog_Unreadable(t *testing.T) {
	t.Parallel()
	for _, x := range []struct {
		read func() (LogHolds, error)
		want map[string]float64
	}{
		{func() (LogHolds, error) { return LogHolds{}, errors.New("locked") }, map[string]float64{logReadable: 0}},
		{func() (LogHolds, error) { return CountLog(nil, atNoon(1)), nil }, map[string]float64{logReadable: 1, logRunning: 0}},
	} {
		text, err := exposition(logOf(t, x.read))
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]float64{}
		for name, f := range parsed(t, text) {
			got[name] = f.GetMetric()[0].GetGauge().GetValue()
		}
		if diff := cmp.Diff(x.want, got); diff != "" {
			t.Errorf("-want +got:\n%s", diff)
		}
	}
}
