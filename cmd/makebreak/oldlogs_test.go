package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/sequences/journal"
	"makebreak/testdata/few"
	"makebreak/testdata/logs"
)

// TestOldLogs reports every run of a log that each landed schema's program wrote, in every
// form, compares it with what was said before, and JSON with the published schema. The quick
// path leaves out pages and budgets. testdata/logs/README.md says how the logs were made.
func TestOldLogs(t *testing.T) {
	all, err := filepath.Glob(filepath.Join("..", "..", "testdata", "logs", "schema-*.db.gz"))
	if err != nil || len(all) < 8 {
		t.Fatalf("%d logs: %v", len(all), err)
	}
	for _, packed := range all[:few.Of(1, len(all))] {
		name := strings.TrimSuffix(filepath.Base(packed), ".db.gz")
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			log := logs.Unpack(t, packed)
			_, list, errs := run(t, "runs", "--log", log, "--as", "json")
			var runs []struct{ Run, Sequence string }
			if err := json.Unmarshal([]byte(list), &runs); err != nil || len(runs) < 20 {
				t.Fatalf("%d runs: %v %s", len(runs), err, errs)
			}
			if err := conforms(list, "runs"); err != nil {
				t.Error(err)
			}
			slices.Reverse(runs) // the oldest first
			checkCodes(t, log)
			told := map[string]*strings.Builder{"runs.json": {}, "runs.txt": {}}
			told["runs.json"].WriteString(list)
			told["runs.txt"].WriteString(runsAtUTC(t, log))
			tell := func(file string, args ...string) {
				if told[file] == nil {
					told[file] = &strings.Builder{}
				}
				status, out, errs := run(t, append(args, "--log", log)...)
				if status != exitPass && slices.Contains(args, "--budget") {
					return // the run has no such figure
				}
				if strings.HasSuffix(file, ".json") {
					if err := conforms(out, strings.Replace(strings.TrimSuffix(file, ".json"), "report", "record", 1)); err != nil {
						t.Errorf("%s: %v", strings.Join(args, " "), err)
					}
				}
				out = strings.ReplaceAll(out+errs, filepath.Dir(log)+string(filepath.Separator), "")
				fmt.Fprintf(told[file], "==== %s: exit status %d\n%s\n", strings.Join(args, " "), status, out)
			}
			budgets := map[string]bool{} // of these sequences are told
			for _, r := range runs {
				for form, file := range map[string]string{"text": "report.txt", "csv": "report.csv", "json": "report.json", "html": "report.html"} {
					switch {
					case form == "text":
						tell(file, "report", r.Run, "--all")
					case form != "html" || !testing.Short():
						tell(file, "report", r.Run, "--as", form)
					}
				}
				if budgets[r.Sequence] || testing.Short() {
					continue
				}
				budgets[r.Sequence] = true
				for _, figure := range []string{"OUT3.high_level", "OUT3.switching_delay", "K1.operate_time", "COIL.low_level", "K1.pull_in_voltage"} {
					tell("budget.txt", "report", r.Run, "--budget", figure)
					tell("budget.json", "report", r.Run, "--budget", figure, "--as", "json")
				}
			}
			for file, text := range told {
				checkTold(t, filepath.Join(strings.TrimSuffix(packed, ".db.gz"), file), withoutLook(text.String()))
			}
		})
	}
}

// checkCodes wants nothing in a log that is known by its words alone: all of its doubts have
// codes, and all sources of its budgets are declared.
func checkCodes(t *testing.T, log string) {
	t.Helper()
	db, err := journal.OpenRead(log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	runs, err := db.Runs()
	if err != nil {
		t.Fatal(err)
	}
	declared, codes := analyze.Sources(), map[analyze.DoubtCode]bool{}
	for _, r := range runs {
		rec, err := db.Find(r.Run)
		if err != nil {
			t.Fatal(err)
		}
		for m, err := range rec.Measurements() {
			if err != nil {
				t.Fatal(err)
			}
			for _, line := range m.Budget {
				if !slices.Contains(declared, line.Source) {
					t.Errorf("run %s, %s of %s: the source %q is declared nowhere", r.Run, m.Quantity, m.Signal, line.Source)
				}
			}
			for _, d := range m.Doubts {
				codes[d.Code] = true
				if d.Code == analyze.Worded {
					t.Errorf("run %s, %s of %s: only the words are known: %q", r.Run, m.Quantity, m.Signal, d.Text)
				}
			}
		}
	}
	if len(codes) < 10 {
		t.Errorf("the log has only %d kinds of doubts", len(codes))
	}
}

// runsAtUTC lists a log's runs as text, with their times in UTC.
func runsAtUTC(t *testing.T, log string) string {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(asProgram(t, self), "runs", "--log", log)
	c.Env = append(os.Environ(), zoneVariable+"=0")
	out, err := c.Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

var (
	style  = regexp.MustCompile(`(?s)<style>.*?</style>`)
	places = regexp.MustCompile(`<(text|svg) [^>]*>`)
	shapes = regexp.MustCompile(`<(?:path|circle|rect) [^>]*/>\n?`)
)

// withoutLook cuts out how a page looks, which is no part of what it says: its style and the
// shapes of its pictures, but not their words.
func withoutLook(page string) string {
	page = shapes.ReplaceAllString(style.ReplaceAllString(page, "<style></style>"), "")
	return places.ReplaceAllString(page, "<$1>")
}

// checkTold compares a text with a file, or writes it there where MAKEBREAK_UPDATE is set.
func checkTold(t *testing.T, path, got string) {
	t.Helper()
	if os.Getenv("MAKEBREAK_UPDATE") != "" {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Equal(b, []byte(got)) {
		return
	}
	want, have := strings.Split(string(b), "\n"), strings.Split(got, "\n")
	about := ""
	for i := 0; i < len(want) && i < len(have); i++ {
		if strings.HasPrefix(want[i], "==== ") {
			about = want[i]
		}
		if want[i] != have[i] {
			t.Errorf("%s:%d says something else now (MAKEBREAK_UPDATE=1 writes it anew)\n%s\nwant %s\nhave %s", path, i+1, about, want[i], have[i])
			return
		}
	}
	t.Errorf("%s has %d lines, want %d (MAKEBREAK_UPDATE=1 writes it anew)", path, len(have), len(want))
}
