package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/bench"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/sequences/record"
)

// firstCells returns the code words in the first cells of the table below a
// heading of a document, with their rows.
func firstCells(t *testing.T, path, heading string) (cells []string, rows [][]string) {
	t.Helper()
	_, text, found := strings.Cut(documentText(t, filepath.Join(root, path)), "\n"+heading+"\n")
	if !found {
		t.Fatalf("%s has no heading %q", path, heading)
	}
	text, _, _ = strings.Cut(text, "\n#")
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, "<!-- made") {
			break // the rest is made, not written
		}
		row := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), " | ")
		if first := strings.TrimSpace(row[0]); len(row) > 1 && strings.HasPrefix(first, "`") {
			cells = append(cells, strings.Trim(first, "`"))
			rows = append(rows, row)
		}
	}
	return cells, rows
}

// resultColumns are the results' columns: the header of a report of no record.
func resultColumns(t *testing.T) []string {
	t.Helper()
	var b strings.Builder
	if err := report.CSV(&b); err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSpace(b.String()), ",")
}

func TestReadme_ExitStatuses(t *testing.T) {
	cells, _ := firstCells(t, "cmd/makebreak/README.md", "## Exit statuses")
	var want []string
	for _, s := range []int{exitPass, exitFail, exitUndecided, exitUsage, exitInput, exitRig, exitInternal, exitLog, exitInterrupted} {
		want = append(want, strconv.Itoa(s))
	}
	if !slices.Equal(cells, want) {
		t.Errorf("the page's exit statuses are %v, the program's %v", cells, want)
	}
}

// TestReadme_Expectations reads every expectation in the table as a sequence would.
func TestReadme_Expectations(t *testing.T) {
	cells, _ := firstCells(t, "sequences/README.md", "## Expectations")
	n := 0
	for _, cell := range cells {
		for word := range strings.SplitSeq(cell, "`, `") {
			n++
			src := "name: x\nsteps:\n  - {event: a, hold: 40 s}\noutputs:\n  OUT1:\n    expect: {a: " + word + "}\n"
			if _, err := sequences.Parse("readme.yaml", []byte(src)); err != nil {
				t.Errorf("%s: %v", word, err)
			}
		}
	}
	if n < 6 {
		t.Errorf("the page shows %d expectations, there are six kinds", n)
	}
}

// TestReadme_Pins looks for every line of the rigs shown in the table of header pins.
func TestReadme_Pins(t *testing.T) {
	cells, _ := firstCells(t, "rig/wiring/README.md", "## Header pins")
	full, err := rigfile.Load(t.Context(), filepath.Join(root, "testdata", "rigs", "full.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	for _, rig := range append(rigfile.Builtin(), full, starterRig(t)) {
		for _, r := range bench.Requests(rig) {
			name := r.Line.LineName
			if name == "" {
				name = fmt.Sprintf("GPIO%d", r.Line.Number)
			}
			if !slices.Contains(cells, name) {
				t.Errorf("rig %s uses %s for %s, which is not in the table", rig.Name, name, r.Line.Name)
			}
		}
	}
}

// TestReadme_ShortestBounce: the page names the figure that the program names.
func TestReadme_ShortestBounce(t *testing.T) {
	const page = "rig/bench/README.md"
	text := record.ShortestBounce(bench.EdgeLatency)
	figure := regexp.MustCompile(`[0-9.]+ [µm]?s`).FindString(text)
	if have := documentText(t, filepath.Join(root, page)); figure == "" || !strings.Contains(have, "bounce under "+figure) {
		t.Errorf("%s does not say that a bounce under %q cannot be detected, as the program does: %s", page, figure, text)
	}
}

// TestReadme_Capture reads the capture that a page shows: by hand, the event
// stands at 20 ms, the output crosses half way between 40 and 45 ms, K1_NC opens at
// 49.6 ms, K1_NO closes first at 52.5 ms and for good at 53.4 ms.
func TestReadme_Capture(t *testing.T) {
	f, err := os.Open(filepath.Join(root, "testdata", "readme", "capture.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rec, _, err := record.OfCapture(t.Context(), "capture.csv", f, 0, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := map[analyze.Quantity]float64{analyze.SwitchingDelay: 22.5e-3, analyze.OperateTime: 10e-3,
		analyze.TransferTime: 2.9e-3, analyze.BounceTime: 0.9e-3, analyze.BounceCount: 1}
	for x := range rec.Measurements {
		w, ok := want[x.Quantity]
		if !ok {
			continue
		}
		delete(want, x.Quantity)
		if d := x.Value - w; !(d < 1e-5 && d > -1e-5) {
			t.Errorf("%s of %s is %g, want %g", x.Quantity, x.Signal, x.Value, w)
		}
	}
	for q := range want {
		t.Errorf("%s was not measured", q)
	}
}
