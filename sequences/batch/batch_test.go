package batch

import (
	"bytes"
	"encoding/json"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/rig/problem"
	"makebreak/sequences/journal"
)

// logged is a log with runs of an invented batch: unit, verdict, whether it came to its end.
func logged(t *testing.T, runs ...[3]string) *journal.DB {
	t.Helper()
	db, err := journal.Open(filepath.Join(t.TempDir(), "log.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close() })
	begun := time.Date(2031, 4, 7, 8, 0, 0, 0, time.UTC)
	for i, r := range runs {
		at := begun.Add(time.Duration(i) * 5 * time.Minute)
		run, err := db.Begin(journal.RunInfo{Unit: r[0], Sequence: "armed-high", Started: at, Fields: []journal.Field{{Name: "Batch", Value: "monday"}}})
		if err != nil {
			t.Fatal(err)
		}
		verdict := analyze.Verdict(r[1])
		if err := run.Append(&journal.Cycle{N: 1, Verdict: verdict, Complete: true}); err != nil {
			t.Fatal(err)
		}
		if r[2] == "killed" {
			continue
		}
		if err := run.Finish(journal.RunEnd{Ended: at.Add(time.Duration(i+1) * time.Minute), Gravest: verdict, Complete: r[2] == ""}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := db.Begin(journal.RunInfo{Unit: "P-1", Sequence: "armed-high", Started: begun}); err != nil { // of no batch
		t.Fatal(err)
	}
	return db
}

func diagnose(*journal.RunRecord) (string, []Step, error) {
	return "weak-supply", []Step{{"arm-away", 3 * time.Second}, {"disarm", 5 * time.Second}}, nil
}

// Counted by hand: of four units tested to their end two passed at first, one at its retest, and
// one is undecided; one was cut off, one is missing and one was not expected.
func TestRead(t *testing.T) {
	t.Parallel()
	db := logged(t, [3]string{"P-1", "pass"}, [3]string{"P-2", "fail"}, [3]string{"P-3", "pass", "killed"}, [3]string{"P-2", "pass"},
		[3]string{"P-4", "undecided"}, [3]string{"P-6", "pass"}, [3]string{"P-1", "pass"})
	s, err := Read(db, "monday", []string{"P-1", "P-2", "P-3", "P-4", "P-5"}, diagnose)
	if err != nil {
		t.Fatal(err)
	}
	if got := [...]int{s.Tested(), s.FirstPass(), s.Retested(), s.With(analyze.Pass), s.With(analyze.Undecided), s.With(analyze.Incomplete), s.With(analyze.Fail)}; got != [...]int{4, 2, 1, 3, 1, 1, 0} {
		t.Errorf("counts %v", got)
	}
	if share, known := s.Yield(); !known || share != 0.5 {
		t.Errorf("yield %v", share)
	}
	if got := strings.Join(s.Missing(), " ") + ", " + strings.Join(s.Unexpected(), " "); got != "P-3 P-5, P-6" {
		t.Errorf("missing and unexpected: %s", got)
	}
	if f := s.Failures(); len(f) != 1 || f[0] != (Failure{"weak-supply", 1}) {
		t.Errorf("failures %v", f)
	}
	if s.Verdict() != analyze.Undecided {
		t.Errorf("verdict %s", s.Verdict())
	}
	// Six runs came to their end: 1, 2, 4, 5, 6 and 7 min long, begun at 0, 5, 15, 20, 25 and 30 min.
	if x := s.Times(); x.Test != 270*time.Second || x.Between != 5*time.Minute || x.Longest != 7*time.Minute || x.Slowest != "P-1" {
		t.Errorf("times %+v", x)
	}
	if len(s.Steps) != 2 || s.Steps[0] != (Step{"disarm", 5 * time.Second}) {
		t.Errorf("steps %v", s.Steps)
	}
}

func TestSummary_Verdict(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		runs     [][3]string
		expected []string
		want     analyze.Verdict
	}{
		{[][3]string{{"A", "pass"}}, nil, analyze.Pass},
		{[][3]string{{"A", "fail"}, {"A", "pass"}}, nil, analyze.Pass},
		{[][3]string{{"A", "pass"}, {"A", "fail"}}, nil, analyze.Fail},
		{[][3]string{{"A", "pass"}, {"B", "undecided"}}, nil, analyze.Undecided},
		{[][3]string{{"A", "pass"}, {"B", "pass", "killed"}}, nil, analyze.Undecided},
		{[][3]string{{"A", "pass"}}, []string{"A", "B"}, analyze.Undecided},
		{[][3]string{{"A", "pass"}, {"B", "fail", "stopped"}}, nil, analyze.Fail}, // at the first failure
		{[][3]string{{"A", "pass"}, {"B", "fail"}, {"C", "undecided"}}, nil, analyze.Fail},
	} {
		s, err := Read(logged(t, c.runs...), "monday", c.expected, nil)
		if err != nil {
			t.Fatal(err)
		}
		if got := s.Verdict(); got != c.want {
			t.Errorf("%v: %s, want %s", c.runs, got, c.want)
		}
	}
}

func TestRead_None(t *testing.T) {
	t.Parallel()
	_, err := Read(logged(t, [3]string{"A", "pass"}), "mondy", nil, nil)
	if problem.KindOf(err) != problem.Usage || !strings.Contains(err.Error(), "monday") {
		t.Errorf("%v", err)
	}
	broken := errors.New("broken")
	if _, err := Read(logged(t, [3]string{"A", "pass"}), "monday", nil, func(*journal.RunRecord) (string, []Step, error) { return "", nil, broken }); !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
}

// Of units that were tested at the same time each has its share of the time to the next round:
// by hand, three at 0 min, one at 12 min, two at 18 min and one at 22 min make 4, 4, 4, 6, 2 and 2.
func TestTimes_Together(t *testing.T) {
	t.Parallel()
	s := &Summary{}
	begun := time.Date(2031, 4, 7, 8, 0, 0, 0, time.UTC)
	for i, x := range []struct {
		minute   int
		together string
	}{{18, "c"}, {0, "a"}, {12, ""}, {0, "a"}, {22, ""}, {0, "a"}, {18, "c"}} {
		at := begun.Add(time.Duration(x.minute)*time.Minute + time.Duration(i)*time.Millisecond)
		s.Units = append(s.Units, Unit{Tests: []Test{{Complete: true, Started: at, Lasted: time.Minute, Together: x.together, Verdict: analyze.Pass}}})
	}
	if got := s.Times().Between.Round(time.Second); got != 4*time.Minute {
		t.Errorf("%v from one unit to the next", got)
	}
}

// Whatever units and batches are called, no form says more than it should, and JSON is JSON.
func TestSummary_Hostile(t *testing.T) {
	t.Parallel()
	const bad = "=1+1\x1b[2J<script>\u202e\n"
	s := &Summary{Name: bad, Sequences: []string{bad}, Listed: true, Steps: []Step{{bad, time.Second}},
		Units: []Unit{{Serial: bad, Tests: []Test{{Run: bad, Sequence: bad, Verdict: analyze.Fail, Complete: true, Cause: bad, Lasted: time.Second}}}, {Serial: bad + "2", Expected: true}}}
	for form, write := range map[string]func(*bytes.Buffer) error{
		"text": func(b *bytes.Buffer) error { return s.Text(b) }, "html": func(b *bytes.Buffer) error { return s.HTML(b) },
		"csv": func(b *bytes.Buffer) error { return s.CSV(b) }, "json": func(b *bytes.Buffer) error { return s.JSON(b) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		out := b.String()
		if form == "json" {
			if !json.Valid(b.Bytes()) {
				t.Error("no JSON")
			}
			continue // what a terminal obeys is escaped where it is delivered
		}
		if strings.ContainsAny(out, "\x1b\u202e") || form == "html" && strings.Contains(out, "<script>") || form == "csv" && strings.Contains(out, ",=1") {
			t.Errorf("%s: %.300q", form, out)
		}
	}
}

func TestParseSerials(t *testing.T) {
	t.Parallel()
	got, err := ParseSerials("list", []byte("\ufeffP-1\r\n# a remark\n\n  P-2  \nP-3"))
	if err != nil || strings.Join(got, "|") != "P-1|P-2|P-3" {
		t.Errorf("%q, %v", got, err)
	}
	for text, want := range map[string]string{"P-1\nP-2\nP-1\n": "list:3: the serial P-1 stands in line 1", "": "no serial", "#\n": "no serial", "P\x1b\n": "list:1"} {
		if _, err := ParseSerials("list", []byte(text)); problem.KindOf(err) != problem.Input || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

func FuzzParseSerials(f *testing.F) {
	f.Add("P-1\nP-2\n")
	f.Fuzz(func(t *testing.T, text string) {
		all, err := ParseSerials("list", []byte(text))
		if err != nil {
			return
		}
		again, err := ParseSerials("list", []byte(strings.Join(all, "\n")))
		if err != nil || strings.Join(again, "\n") != strings.Join(all, "\n") {
			t.Errorf("%q came back as %q, %v", all, again, err)
		}
	})
}
