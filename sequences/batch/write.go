package batch

import (
	_ "embed"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/look"
	"makebreak/analyze/report"
	"makebreak/rig/table"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// lines are what is to be said of the whole batch: a word and what it says.
func (s *Summary) lines() [][2]string {
	all := [][2]string{{"Batch", words.Safe(s.Name)}}
	if len(s.Sequences) > 0 {
		all = append(all, [2]string{"Sequence", words.List(s.Sequences)})
	}
	tested := strconv.Itoa(s.Tested()) + " tested"
	if s.Listed {
		tested += " of " + strconv.Itoa(s.count(func(u *Unit) bool { return u.Expected })) + " expected"
	}
	all = append(all, [2]string{"Units", tested + ": " + s.verdicts()})
	if share, known := s.Yield(); known {
		all = append(all, [2]string{"First pass", fmt.Sprintf("%d of %d (%s)", s.FirstPass(), s.Tested(), percent(share))})
	}
	if n := s.Retested(); n > 0 {
		all = append(all, [2]string{"Retested", words.Count(n, "unit")})
	}
	for i, f := range s.Failures() {
		word := ""
		if i == 0 {
			word = "Failed for"
		}
		all = append(all, [2]string{word, words.Safe(f.Cause) + ": " + words.Count(f.Units, "unit")})
	}
	all = append(all, s.timeLines()...)
	if m := s.Missing(); len(m) > 0 {
		all = append(all, [2]string{"Missing", words.List(m)})
	}
	if u := s.Unexpected(); len(u) > 0 {
		all = append(all, [2]string{"Not in list", words.List(u)})
	}
	return all
}

func (s *Summary) verdicts() string {
	var parts []string
	for _, v := range []struct {
		verdict analyze.Verdict
		words   string
	}{{analyze.Pass, "passed"}, {analyze.Fail, "failed"}, {analyze.Undecided, "undecided"}, {analyze.Incomplete, "cut off"}, {analyze.NoVerdict, "not judged"}} {
		if n := s.With(v.verdict); n > 0 {
			parts = append(parts, strconv.Itoa(n)+" "+v.words)
		}
	}
	if len(parts) == 0 {
		return "none yet"
	}
	return strings.Join(parts, ", ")
}

func percent(share float64) string { return strconv.FormatFloat(100*share, 'f', 0, 64) + " %" }

func (s *Summary) timeLines() (all [][2]string) {
	t := s.Times()
	if t.Test > 0 {
		text := took(t.Test) + " a test"
		if t.Between > 0 {
			text += ", " + took(t.Between) + " from one to the next (medians)"
		}
		text += "; longest " + took(t.Longest)
		if t.Slowest != "" {
			text += ", " + words.Safe(t.Slowest)
		}
		all = append(all, [2]string{"Time", text})
	}
	if len(s.Steps) > 0 {
		all = append(all, [2]string{"Slowest step", words.Safe(s.Steps[0].Event) + ", " + took(s.Steps[0].Mean)})
	}
	return all
}

// took writes how long something took.
func took(d time.Duration) string {
	switch {
	case d >= time.Hour:
		return fmt.Sprintf("%d h %02d min", d/time.Hour, d%time.Hour/time.Minute)
	case d >= 2*time.Minute:
		return fmt.Sprintf("%d min %02d s", d/time.Minute, d%time.Minute/time.Second)
	case d >= time.Second:
		return fmt.Sprintf("%.1f s", d.Seconds())
	}
	return unit.Time.Format(float64(d.Milliseconds()) / 1000)
}

// outcome is a unit's last verdict in words.
func (u *Unit) outcome() string {
	switch {
	case len(u.Tests) == 0:
		return "not tested"
	case u.Last() == analyze.NoVerdict:
		return "not judged"
	}
	return u.Last().Name()
}

func (u *Unit) note() string {
	var parts []string
	if n := len(u.done()); n > 1 {
		word := fmt.Sprintf("tested %d times", n)
		if u.Retested() {
			word += ", first " + u.First().Name()
		}
		parts = append(parts, word)
	}
	if c := u.Cause(); c != "" {
		parts = append(parts, words.Safe(c))
	}
	if !u.Expected {
		parts = append(parts, "not in the list")
	}
	return strings.Join(parts, "; ")
}

// Text writes how the batch stands, and a line for each unit.
func (s *Summary) Text(w io.Writer) error {
	if s.Simulated() {
		fmt.Fprintln(w, "Simulated bench: nothing real was measured.")
	}
	for _, l := range s.lines() {
		fmt.Fprintf(w, "%-13s %s\n", l[0], l[1])
	}
	fmt.Fprintln(w)
	return table.Write(w, []string{"unit", "verdict", "last run", ""}, func(row func(...any)) {
		for i := range s.Units {
			u := &s.Units[i]
			run := ""
			if n := len(u.Tests); n > 0 {
				run = u.Tests[n-1].Run
			}
			row(u.Serial, u.outcome(), run, u.note())
		}
	})
}

// CSV writes a row a unit.
func (s *Summary) CSV(w io.Writer) error {
	c := table.NewCSV(w, "batch", "unit", "expected", "tests", "first_verdict", "verdict", "retested", "cause", "run", "started", "simulated")
	for i := range s.Units {
		u := &s.Units[i]
		var last Test
		if n := len(u.Tests); n > 0 {
			last = u.Tests[n-1]
		}
		if err := c.Row(table.Text(s.Name), table.Text(u.Serial), table.Truth(u.Expected), table.Count(len(u.done())), table.Text(string(u.First())), table.Text(string(u.Last())),
			table.Truth(u.Retested()), table.Text(u.Cause()), table.Text(last.Run), table.Text(report.MachineTime(last.Started)), table.Truth(last.Simulated)); err != nil {
			return err
		}
	}
	return c.Flush()
}

// object is the batch as machines read it. Times are in seconds; what is not known is null.
type object struct {
	Format    int          `json:"format"`
	Batch     string       `json:"batch"`
	Sequences []string     `json:"sequences"`
	Verdict   *string      `json:"verdict"`
	Tested    int          `json:"tested"`
	Passed    int          `json:"passed"`
	FirstPass int          `json:"first_pass"`
	Yield     *float64     `json:"first_pass_yield"`
	Retested  int          `json:"retested"`
	Missing   []string     `json:"missing"`
	Failures  []failure    `json:"failures"`
	Test      *float64     `json:"test_time_s"`
	Between   *float64     `json:"unit_time_s"`
	Steps     []step       `json:"steps"`
	Units     []unitObject `json:"units"`
}

type failure struct {
	Cause string `json:"cause"`
	Units int    `json:"units"`
}

type step struct {
	Event string  `json:"event"`
	Mean  float64 `json:"mean_s"` // seconds
}

type unitObject struct {
	Unit     string       `json:"unit"`
	Expected bool         `json:"expected"`
	First    *string      `json:"first_verdict"`
	Verdict  *string      `json:"verdict"`
	Retested bool         `json:"retested"`
	Cause    *string      `json:"cause"`
	Tests    []testObject `json:"tests"`
}

type testObject struct {
	Run       string  `json:"run"`
	Started   string  `json:"started"`
	Verdict   *string `json:"verdict"`
	Complete  bool    `json:"complete"`
	Simulated bool    `json:"simulated"`
	Position  *string `json:"position"`
}

func secondsOrNil(d time.Duration) *float64 { return report.OrNil(max(0, d).Seconds()) }

// JSON writes the batch as one object.
func (s *Summary) JSON(w io.Writer) error {
	t := s.Times()
	o := object{Format: report.Format, Batch: s.Name, Sequences: append([]string{}, s.Sequences...), Verdict: report.OrNil(string(s.Verdict())), Tested: s.Tested(), Passed: s.With(analyze.Pass), FirstPass: s.FirstPass(),
		Retested: s.Retested(), Missing: append([]string{}, s.Missing()...), Failures: []failure{}, Test: secondsOrNil(t.Test), Between: secondsOrNil(t.Between), Steps: []step{}, Units: []unitObject{}}
	if share, known := s.Yield(); known {
		o.Yield = &share
	}
	for _, f := range s.Failures() {
		o.Failures = append(o.Failures, failure(f))
	}
	for _, x := range s.Steps {
		o.Steps = append(o.Steps, step{x.Event, x.Mean.Seconds()})
	}
	for i := range s.Units {
		u := &s.Units[i]
		x := unitObject{Unit: u.Serial, Expected: u.Expected, First: report.OrNil(string(u.First())), Verdict: report.OrNil(string(u.Last())), Retested: u.Retested(), Cause: report.OrNil(u.Cause()), Tests: []testObject{}}
		for _, t := range u.Tests {
			x.Tests = append(x.Tests, testObject{t.Run, report.MachineTime(t.Started), report.OrNil(string(t.Verdict)), t.Complete, t.Simulated, report.OrNil(t.Position)})
		}
		o.Units = append(o.Units, x)
	}
	return table.JSON(w, o)
}

//go:embed page.html
var pageSource string

var batchPage = look.NewPage(pageSource)

// page is what the page shows.
type page struct {
	Name, Verdict, Counts string
	Simulated             bool
	Lines                 [][2]string
	Units                 []pageUnit
}

type pageUnit struct{ Serial, Outcome, Verdict, Run, Note string }

// HTML writes the batch as one page that stands alone.
func (s *Summary) HTML(w io.Writer) error {
	p := page{Name: words.Safe(s.Name), Verdict: s.Verdict().Name(), Counts: s.verdicts(), Simulated: s.Simulated(), Lines: s.lines()[1:]}
	for i := range s.Units {
		u := &s.Units[i]
		x := pageUnit{Serial: words.Safe(u.Serial), Outcome: u.outcome(), Verdict: u.Last().Name(), Note: u.note()}
		if n := len(u.Tests); n > 0 {
			x.Run = words.Safe(u.Tests[n-1].Run)
		}
		p.Units = append(p.Units, x)
	}
	return batchPage.Write(w, p)
}
