package record

import (
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/sequences/journal"
)

// A list in its three forms, with a run of no unit and no verdict, and without runs.
func TestList(t *testing.T) {
	at := time.Date(2026, 4, 1, 12, 30, 0, 0, time.Local)
	l := List{Runs: []journal.RunSummary{
		{Run: "2026-04-01.2", Unit: "A, 7", Sequence: "armed-high", Started: at, Cycles: 3, Verdict: analyze.Pass, Complete: true, Simulated: true, Fields: []journal.Field{{Name: "job", Value: "<1>"}}, Reference: true},
		{Run: "2026-04-01.1", Sequence: "relay-only", Started: at},
	}}
	for name, c := range map[string]struct {
		write func(List, *strings.Builder) error
		want  []string
	}{
		"text": {func(l List, w *strings.Builder) error { return l.Text(w) }, []string{"2026-04-01 12:30:00       3  pass     yes       yes        yes        job=<1>\n", "       0  none     no        no         no\n"}},
		"CSV":  {func(l List, w *strings.Builder) error { return l.CSV(w) }, []string{"run,unit,sequence,started,cycles,verdict,complete,run_id,simulated,fields,reference\r\n", "2026-04-01.2,\"A, 7\",armed-high,", ",3,pass,true,,true,\"{\"\"job\"\":\"\"<1>\"\"}\",true\r\n", "2026-04-01.1,,relay-only,", ",0,,false,,false,,false\r\n"}},
		"JSON": {func(l List, w *strings.Builder) error { return l.JSON(w) }, []string{`"unit": "A, 7"`, `"verdict": "pass"`, `"unit": null`, `"verdict": null`, `"complete": false`, `"simulated": true`, `"simulated": false`, `"run_id": null`, `"job": "<1>"`, `"fields": null`, `"reference": true`}},
	} {
		var w strings.Builder
		if err := c.write(l, &w); err != nil {
			t.Error(err)
		}
		for _, want := range c.want {
			if !strings.Contains(w.String(), want) {
				t.Errorf("%s: %q is missing:\n%s", name, want, w.String())
			}
		}
	}
	for want, l := range map[string]List{"The log holds no runs.\n": {}, "The log holds no runs of the unit \"B\".\n": {Unit: "B"}} {
		var w, j strings.Builder
		if err := l.Text(&w); err != nil || w.String() != want {
			t.Errorf("%v: %q, want %q", err, w.String(), want)
		}
		if err := l.JSON(&j); err != nil || j.String() != "[]\n" {
			t.Errorf("%v: %q", err, j.String())
		}
	}
}
