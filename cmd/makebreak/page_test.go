package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/analyze/tally"
	"makebreak/sequences/exercise"
	"makebreak/testdata/browser"
)

// mostPage is how large the page of a short run or soak may be with its pictures: it is sent by mail.
const mostPage = 1_000_000 // bytes

// The pages as a browser shows them: nothing sticks out on a phone, on a desk or on
// paper, nothing is asked for from elsewhere, and what the CSV says can be read.
func TestPages(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	tables := map[string]string{}
	var paths []string
	add := func(name, page, table string) {
		path := filepath.Join(dir, name+".html")
		if err := os.WriteFile(path, []byte(page), 0o644); err != nil {
			t.Fatal(err)
		}
		if len(page) > mostPage {
			t.Errorf("the page %s has %d bytes", name, len(page))
		}
		paths, tables[path] = append(paths, path), table
	}
	log := filepath.Join(dir, "log.db")
	for _, c := range []struct {
		name   string
		status int
		args   []string
	}{
		{"pass", exitPass, []string{"run", "armed-high", "--seed", "1", "--cycles", "2", "--unit", "CP-001", "--by", "Zoë"}},
		{"fail", exitFail, []string{"run", "armed-high", "--seed", "1", "--cycles", "2", "--fault", "chatter"}},
		{"sixteen", exitPass, []string{"run", "armed-high", "--seed", "1", "--cycles", "5", "--rig", filepath.Join("..", "..", "testdata", "rigs", "sixteen.yaml")}},
		{"lost", exitRig, []string{"run", "armed-high", "--seed", "1", "--fault", "adc-lost"}},
		{"soak", exitPass, []string{"soak", "relay-only", "--seed", "1", "--cycles", "30"}},
		{"supply", exitPass, []string{"soak", "relay-supply", "--seed", "1", "--cycles", "2"}},
	} {
		if status, _, errs := run(t, append(c.args, "--log", log, "--quiet")...); status != c.status {
			t.Fatalf("%q ended with %d: %s", c.args, status, errs)
		}
		_, page, _ := run(t, "--log", log, "report", "last", "--as", "html")
		_, table, _ := run(t, "--log", log, "report", "last", "--as", "csv")
		add(c.name, page, table)
	}
	for _, fault := range []string{"", "--fault=slow-release"} {
		args := []string{"run", "relay-only", "--seed", "1", "--cycles", "6", "--unit", "CP-009", "--log", log, "--quiet"}
		run(t, append(args, strings.Fields(fault)...)...)
	}
	if _, page, errs := run(t, "--log", log, "report", "last", "--against", "previous", "--as", "html"); !strings.Contains(page, "Moved: 1 figure") {
		t.Errorf("the comparison: %s", errs)
	} else {
		add("comparison", page, "")
	}
	_, page, _ := run(t, "analyze", "../../testdata/captures/holding-in.csv", "--averaged", "1.198753ms", "--sequence", "armed-high", "--as", "html")
	add("capture", page, "")
	add("moves", pageOf(t, moving(t)), "")
	add("class", classPage(t), "")
	_, page, _ = run(t, "rig", "draw", "armed-high", "--as", "html")
	add("sheet", page, "")
	add("long-words", pageOf(t, longWords()), "")
	all := browse(t, paths)
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".html"), func(t *testing.T) {
			for _, trouble := range all[path].troubles {
				t.Error(trouble)
			}
			for _, v := range browser.Views {
				t.Run(v.Name, func(t *testing.T) { checkSight(t, all[path].sights[v.Name], tables[path]) })
			}
		})
	}
}

// classPage is the page of an invented class's marks.
func classPage(t *testing.T) string {
	t.Helper()
	marks := &exercise.Marks{Points: 5, Of: 10, Half: 1, Wrong: []string{"dead-relay@K1"}, Actions: 3, Spent: time.Minute, Shortest: time.Minute, Possible: 3}
	c := &exercise.Class{}
	for i, m := range []*exercise.Marks{{Points: 10, Of: 10, Right: 1, Possible: 1}, marks, {Of: 10, Wrong: []string{"nothing"}}, nil} {
		name := fmt.Sprintf("exercise-%d", i)
		c.Exercises = append(c.Exercises, exercise.ClassExercise{Name: name, Title: "An invented exercise", Grade: 1 + i%3, Begun: 1, Answered: 1, Open: []string{"Zoë"}})
		c.Entries = append(c.Entries, exercise.Entry{Exercise: name, Trainee: "Zoë " + strings.Repeat("long", 15), Marks: m, Deeds: exercise.Deeds{Dangers: []string{"cautions-unread"}}})
	}
	var b bytes.Buffer
	if err := c.HTML(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func pageOf(t *testing.T, r *report.Record) string {
	t.Helper()
	var b bytes.Buffer
	if err := report.HTML(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// moving is an invented soak of a relay that becomes slower and will reach its limit.
func moving(t *testing.T) *report.Record {
	t.Helper()
	sum, err := tally.New()
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for n := 1; n <= 500; n++ {
		m := analyze.Measurement{Cycle: n, Event: "energize", Signal: "K1", Quantity: analyze.OperateTime, Value: 0.005 + 1e-6*float64(n) + 1e-5*rng.NormFloat64(),
			Expanded: 1e-5, Limit: analyze.Limit{Lower: math.NaN(), Upper: 0.006}, Verdict: analyze.Pass}
		if err := sum.Add(&m); err != nil {
			t.Fatal(err)
		}
		if err := sum.AddCycle(n, m.Verdict, true); err != nil {
			t.Fatal(err)
		}
	}
	return &report.Record{Run: "1", Unit: "RB-017", Sequence: "relay-only", Cycles: 500, Planned: 2000, Complete: true, Verdict: analyze.Pass,
		Tally: sum, Signals: []string{"K1"}, Steps: []string{"energize"}}
}

// longWords has names and sentences without a place to break them.
func longWords() *report.Record {
	long := strings.Repeat("unbroken", 30)
	m := analyze.Measurement{Cycle: 1, Event: long, Signal: "OUT" + long, Quantity: analyze.HighLevel, Value: 12.34567, Expanded: 0.00012,
		Limit: analyze.Limit{Lower: 12, Upper: 14.5}, Verdict: analyze.Undecided, Doubts: analyze.InWords(long)}
	return &report.Record{Run: long, Unit: long, Sequence: long, About: long, By: long, Rig: long, Reason: long, LogPath: "/" + long, Verdict: analyze.Undecided,
		Cycles: 1, Planned: 2, Findings: []analyze.Finding{{Signal: long, Verdict: analyze.Fail, Text: long}}, Cautions: []string{long}, Notes: []string{long},
		Measurements: func(yield func(analyze.Measurement, error) bool) { yield(m, nil) }}
}

func checkSight(t *testing.T, s *sight, table string) {
	if s.Wanted > s.Width {
		t.Errorf("the page is %g wide and its window %g: it scrolls sideways", s.Wanted, s.Width)
	}
	for _, o := range s.Out {
		t.Errorf("sticks out: %s", o)
	}
	for _, n := range s.Nameless {
		t.Errorf("has no name, role or scope: %s", n)
	}
	if s.Title == "" || s.Lang != "en" {
		t.Errorf("title %q, language %q", s.Title, s.Lang)
	}
	for i, h := range s.Headings {
		if i == 0 && h != 1 || i > 0 && (h == 1 || h > s.Headings[i-1]+1) {
			t.Errorf("headings in the order of %v", s.Headings)
			break
		}
	}
	for _, b := range s.Barriers {
		t.Error(b)
	}
	checkContrast(t, s)
	if table != "" {
		checkTable(t, s, table)
	}
}

// Contrast of text and ground by WCAG 2.2, success criterion 1.4.3: 4.5 at least.
// Formulas of relative luminance and contrast ratio from its glossary, from memory.
func checkContrast(t *testing.T, s *sight) {
	if len(s.Faint) == 0 {
		t.Error("no text on the page")
	}
	for _, f := range s.Faint {
		if len(f.Colour) != 3 || len(f.Back) != 3 {
			t.Errorf("%q: colours %v on %v", f.Text, f.Colour, f.Back)
		} else if c := contrast(f.Colour, f.Back); c < 4.5 {
			t.Errorf("%q: a contrast of %.2f", f.Text, c)
		}
	}
}

func contrast(a, b []float64) float64 {
	luminance := func(c []float64) float64 {
		sum := 0.0
		for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
			x := c[i] / 255
			if x <= 0.04045 {
				x /= 12.92
			} else {
				x = math.Pow((x+0.055)/1.055, 2.4)
			}
			sum += weight * x
		}
		return sum
	}
	light, dark := luminance(a), luminance(b)
	return (max(light, dark) + 0.05) / (min(light, dark) + 0.05)
}

// Black on white has the largest contrast there is, 21; #767676 on white is the
// textbook's lightest grey that will do, at 4.54 (from memory).
func TestContrast(t *testing.T) {
	white := []float64{255, 255, 255}
	for _, c := range []struct{ grey, want float64 }{{0, 21}, {0x76, 4.54}, {0xff, 1}} {
		if got := contrast([]float64{c.grey, c.grey, c.grey}, white); math.Abs(got-c.want) > 0.005 {
			t.Errorf("grey %g on white: %.3f; want %g", c.grey, got, c.want)
		}
	}
}

// checkTable looks for every row of the CSV that the page shows figure by figure.
func checkTable(t *testing.T, s *sight, table string) {
	rows, err := csv.NewReader(strings.NewReader(table)).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%d rows of CSV: %v", len(rows), err)
	}
	cycles := map[string][][]string{}
	for _, x := range s.Tables {
		if n, ok := strings.CutPrefix(x.Name, "Figures of cycle "); ok {
			cycles[n] = x.Rows
		}
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	found := 0
	for _, row := range rows[1:] {
		cell := func(name string) string { return row[column[name]] }
		if !strings.Contains(s.Text, cell("signal")) {
			t.Fatalf("signal %s is not on the page", cell("signal"))
		}
		shown, ok := cycles[cell("cycle")]
		if !ok || strings.Contains(s.Text, "did not move (") && strings.HasPrefix(cell("signal"), "OUT") && cell("signal") != "OUT3" {
			continue
		}
		if !slices.ContainsFunc(shown, func(on []string) bool { return says(on, cell) }) {
			t.Errorf("%q is not on the page", row)
		}
		found++
	}
	if found == 0 || len(cycles) == 0 {
		t.Errorf("of %d rows of CSV %d are in %d tables of the page", len(rows)-1, found, len(cycles))
	}
}

// says reports whether a row of the page says what a row of the CSV does.
func says(on []string, cell func(string) string) bool {
	event := cell("event")
	if event == "" {
		event = "(start)"
	}
	bound := strings.HasPrefix(on[3], "≤ ") || strings.HasPrefix(on[3], "≥ ") // the sign stands for the reason
	return on[0] == event && on[1] == cell("signal") && on[2] == analyze.Quantity(cell("quantity")).Words() && sameReading(on[3], cell("value")) &&
		on[5] == cell("verdict") && (bound || on[6] == strings.Join(strings.Fields(cell("reason")), " "))
}

var reading = regexp.MustCompile(`^(?:[≤≥] )?(-?\d+(?:\.(\d+))?)(?: (µs|ms|s|mV|V))?(?: ±|$)`)

// sameReading compares a reading with the value that it was rounded from.
func sameReading(shown, value string) bool {
	if value == "" {
		return shown == "—"
	}
	m := reading.FindStringSubmatch(shown)
	want, err := strconv.ParseFloat(value, 64)
	if m == nil || err != nil {
		return false
	}
	got, _ := strconv.ParseFloat(m[1], 64) // as the expression has it
	factor := map[string]float64{"µs": 1e-6, "ms": 1e-3, "mV": 1e-3, "s": 1, "V": 1, "": 1}[m[3]]
	return math.Abs(got*factor-want) <= factor*math.Pow10(-len(m[2]))
}
