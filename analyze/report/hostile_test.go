package report

import (
	"bytes"
	"regexp"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
)

// On a terminal the verdicts' colours are all that is obeyed: no text of a record is, also
// none that would be a colour.
func TestText_ForeignText(t *testing.T) {
	t.Parallel()
	const bad = "\x1b[32mpass\x1b[0m\x1b[2J\u202e\u009b\nVerdict: pass"
	figures := []analyze.Measurement{{Cycle: 1, Event: bad, Signal: bad, Quantity: analyze.HighLevel, Value: 5, Expanded: 0.1, Limit: analyze.Limit{Lower: 12, Upper: nan}, Verdict: analyze.Fail,
		Doubts: analyze.InWords(bad)}}
	r := &Record{Run: bad, RunID: bad, Program: bad, Unit: bad, Sequence: bad, About: bad, By: bad, Rig: bad, Started: time.Unix(1e9, 0), Cycles: 1, Reason: bad,
		Verdict: analyze.Fail, Unstored: []string{bad}, Measurements: stream(figures), Findings: []analyze.Finding{{Signal: bad, Verdict: analyze.Fail, Text: bad}},
		Cautions: []string{bad}, Notes: []string{bad}, LogPath: bad, Faults: []string{bad}, Simulated: true,
		Interruptions: []Interruption{{After: 1, Reason: bad, Program: bad}}}
	for _, width := range []int{0, 80} {
		var b bytes.Buffer
		if err := Text(&b, r, TextOpts{Colour: true, Width: width}); err != nil {
			t.Fatal(err)
		}
		out := b.String()
		own := regexp.MustCompile(`\x1b\[1;31m(fail( 1/1)?|FAIL)\x1b\[0m`)
		if !own.MatchString(out) {
			t.Errorf("the verdict has no colour:\n%q", out)
		}
		if rest := own.ReplaceAllString(out, ""); strings.ContainsAny(rest, "\x1b\u202e\u009b") || regexp.MustCompile(`(?m)^Verdict: pass`).MatchString(rest) {
			t.Errorf("width %d: obeyed:\n%q", width, rest)
		}
	}
}
