package report

import (
	"bytes"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/compare"
)

// inventedHistory is of an invented unit: it passed, then a level fell and a relay got slower.
func inventedHistory() *History {
	c := inventedComparison()
	earlier, later := &Life{Record: c.Before}, &Life{Record: c.Now, Since: c}
	for _, r := range c.Rows {
		if r.Before != nil {
			earlier.Samples = append(earlier.Samples, r.Before)
		}
		if r.Now != nil {
			later.Samples = append(later.Samples, r.Now)
		}
	}
	earlier.Verdict, earlier.Findings = analyze.Pass, nil
	return &History{Unit: "INVENTED-7", Runs: []*Life{earlier, later}}
}

func TestHistory_Golden(t *testing.T) {
	t.Parallel()
	for name, write := range map[string]func(*History, *bytes.Buffer) error{
		"history.csv":  func(h *History, b *bytes.Buffer) error { return h.CSV(b) },
		"history.json": func(h *History, b *bytes.Buffer) error { return h.JSON(b) },
		"history.txt":  func(h *History, b *bytes.Buffer) error { return h.Text(b, TextOpts{Width: 80}) },
		"history.html": func(h *History, b *bytes.Buffer) error { return h.HTML(b) },
	} {
		var b bytes.Buffer
		if err := write(inventedHistory(), &b); err != nil {
			t.Fatal(err)
		}
		golden(t, name, b.Bytes())
		if name == "history.json" {
			if err := schemaOf(t, "history").Validate(documentOf(t, b.Bytes())); err != nil {
				t.Error(err)
			}
		}
	}
}

// What got worse is named first, and so many changes that none reads them are counted.
func TestLife_Changed(t *testing.T) {
	t.Parallel()
	h := inventedHistory()
	heading, changed := h.Runs[1].changed()
	if heading != "since 2031-03-01-004" || len(changed) == 0 || !strings.HasSuffix(changed[0], "; fail, was pass") {
		t.Errorf("%q: %q", heading, changed)
	}
	row := h.Runs[1].Since.moved()[0]
	for range mostChanged {
		h.Runs[1].Since.Rows = append(h.Runs[1].Since.Rows, row)
	}
	if _, changed = h.Runs[1].changed(); len(changed) != mostChanged+1 || !strings.HasPrefix(changed[mostChanged], "and ") {
		t.Errorf("%q", changed)
	}
	if heading, changed = h.Runs[0].changed(); heading != "" || changed != nil {
		t.Errorf("the first run: %q, %q", heading, changed)
	}
	nothing := &Life{Record: h.Runs[1].Record, Since: &Comparison{Now: h.Runs[1].Record, Before: h.Runs[0].Record, Rows: []*compare.Row{}}}
	if heading, changed = nothing.changed(); heading == "" || changed != nil {
		t.Errorf("nothing moved: %q, %q", heading, changed)
	}
}

// Whatever a log names its runs, no form says more than it should.
func TestHistory_Hostile(t *testing.T) {
	t.Parallel()
	const bad = "=1+1\x1b[2J<script>\u202e\n"
	h := &History{Unit: bad, Runs: []*Life{{Record: &Record{Run: bad, Unit: bad, Sequence: bad, By: bad, Reason: bad, Fields: []Field{{bad, bad}}, Findings: []analyze.Finding{{Signal: bad, Text: bad}}}}}}
	for form, write := range map[string]func(*bytes.Buffer) error{
		"text": func(b *bytes.Buffer) error { return h.Text(b, TextOpts{Width: 80}) },
		"html": func(b *bytes.Buffer) error { return h.HTML(b) },
		"csv":  func(b *bytes.Buffer) error { return h.CSV(b) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		if out := b.String(); strings.ContainsAny(out, "\x1b\u202e") || form == "html" && strings.Contains(out, "<script>") || form == "csv" && strings.Contains(out, ",=1") {
			at := strings.IndexAny(out, "\x1b\u202e")
			t.Errorf("%s: %.200q", form, out[max(0, at-50):])
		}
	}
}

// Nobody takes silence for a sound unit: not in an exercise, and not where nothing explains a failure.
func TestHistory_Silent(t *testing.T) {
	t.Parallel()
	sealed := &Record{Run: "2031-04-07-lumora.1", Verdict: analyze.Fail, Complete: true, Simulated: true, Faults: []string{Sealed}}
	failed := &Record{Run: "2031-04-07-lumora.2", Verdict: analyze.Fail, Complete: true}
	passed := &Record{Run: "2031-04-07-lumora.3", Verdict: analyze.Pass, Complete: true}
	for r, want := range map[*Record]string{sealed: "Made in an exercise", failed: "Figures failed", passed: "nothing found"} {
		var b bytes.Buffer
		h := &History{Unit: "P-1", Runs: []*Life{{Record: r}}, Earlier: 7}
		if err := h.HTML(&b); err != nil {
			t.Fatal(err)
		}
		if got := b.String(); !strings.Contains(got, want) || r != passed && strings.Contains(got, "nothing found") || !strings.Contains(got, "7 earlier runs") {
			t.Errorf("%s: no %q in %.2000s", r.Run, want, got)
		}
	}
}

// A run that is compared with none is the first of its sequence only where none was before it.
func TestHistory_NotCompared(t *testing.T) {
	t.Parallel()
	life := func(run, sequence string) *Life { return &Life{Record: &Record{Run: run, Sequence: sequence}} }
	for _, c := range []struct {
		earlier, first, not int
	}{{0, 2, 1}, {7, 0, 3}} {
		h := &History{Unit: "P-1", Earlier: c.earlier, Runs: []*Life{life("1", "a"), life("2", "a"), life("3", "b")}}
		var b strings.Builder
		if err := h.HTML(&b); err != nil {
			t.Fatal(err)
		}
		if first, not := strings.Count(b.String(), "the first of its sequence"), strings.Count(b.String(), "not compared"); first != c.first || not != c.not {
			t.Errorf("with %d before: %d are the first, %d not compared", c.earlier, first, not)
		}
	}
}
