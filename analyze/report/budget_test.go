package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	_ "makebreak/testdata/fixedseed"
)

// budgeted is the invented record with figures that have budgets. They are worked
// out by the guide's example of the Welch-Satterthwaite formula (JCGM 100:2008,
// G.4.1) and by a divider's rectangular components.
func budgeted() *Record {
	r := invented()
	ms := append(inventedFigures(),
		withBudget(analyze.Measurement{Cycle: 2, Event: "arm-away", Signal: "OUT3", Quantity: analyze.HighLevel, Value: 12.0312,
			Limit: analyze.Limit{Lower: 12, Upper: 14.5}, Verdict: analyze.Undecided, Doubts: analyze.InWords("closer to the limit than it is known")},
			gum.Component{Source: "repeatability of the samples", Distribution: "normal", Standard: 0.0021, Sensitivity: 1, DegreesOfFreedom: 417},
			gum.Component{Source: "upper resistor", Distribution: "rectangular", Standard: 0.0553, Sensitivity: 1, DegreesOfFreedom: math.Inf(1)},
			gum.Component{Source: "lower resistor", Distribution: "rectangular", Standard: 0.0553, Sensitivity: 1, DegreesOfFreedom: math.Inf(1)}),
		withBudget(analyze.Measurement{Cycle: 3, Event: "disarm", Signal: "OUT4", Quantity: analyze.SwitchingDelay, Value: 0.1432, Limit: analyze.NoLimit()},
			gum.Component{Source: "conversion's mean", Distribution: "normal", Standard: 0.0025, Sensitivity: 0.0012, DegreesOfFreedom: 9},
			gum.Component{Source: "time stamp", Distribution: "normal", Standard: 5.7e-6, Sensitivity: 1, DegreesOfFreedom: 4},
			gum.Component{Source: "instant of the event", Distribution: "normal", Standard: 8.2e-6, Sensitivity: 1, DegreesOfFreedom: 14}),
		withBudget(analyze.Measurement{Cycle: 3, Event: "", Signal: "OUT4", Quantity: analyze.SwitchingDelay, Value: 0.2, Limit: analyze.NoLimit()},
			gum.Component{Source: "time stamp", Distribution: "normal", Standard: 1e-5, Sensitivity: 1, DegreesOfFreedom: math.Inf(1)}))
	r.Measurements = stream(ms)
	return r
}

func withBudget(m analyze.Measurement, budget ...gum.Component) analyze.Measurement {
	c := gum.Combine(budget)
	m.Budget, m.Standard, m.DegreesOfFreedom = budget, c.Standard, c.DegreesOfFreedom
	m.Coverage, m.Expanded = c.Expanded()
	m.Conformance = math.NaN()
	if !m.Limit.None() {
		m.Conformance = c.Conformance(m.Value, m.Limit.Lower, m.Limit.Upper)
	}
	return m
}

func TestBudget_Golden(t *testing.T) {
	t.Parallel()
	r := budgeted()
	for _, c := range []struct{ file, name string }{
		{"level", "OUT3.high_level@arm-away#2"},
		{"delay", "OUT4.switching_delay@disarm"},
	} {
		b, err := FindBudget(r, c.name)
		if err != nil {
			t.Fatal(err)
		}
		for end, write := range map[string]func(*bytes.Buffer) error{
			".txt":  func(w *bytes.Buffer) error { return b.Text(w, TextOpts{}) },
			".csv":  func(w *bytes.Buffer) error { return b.CSV(w) },
			".json": func(w *bytes.Buffer) error { return b.JSON(w) },
		} {
			var w bytes.Buffer
			if err := write(&w); err != nil {
				t.Fatal(err)
			}
			golden(t, "budget-"+c.file+end, w.Bytes())
		}
	}
}

// The forms for machines hold the numbers: the contributions' squares add up to the
// combined one's.
func TestBudget_Machines(t *testing.T) {
	t.Parallel()
	b, err := FindBudget(budgeted(), "OUT4.switching_delay@disarm")
	if err != nil {
		t.Fatal(err)
	}
	var w bytes.Buffer
	if err := b.JSON(&w); err != nil {
		t.Fatal(err)
	}
	var x struct {
		Measurement map[string]any
		U           float64  `json:"combined_standard_uncertainty"`
		DOF         float64  `json:"degrees_of_freedom"`
		K           float64  `json:"coverage_factor"`
		Expanded    float64  `json:"expanded_uncertainty"`
		P           *float64 `json:"conformance_probability"`
		Budget      []struct {
			Contribution float64
			DOF          *float64 `json:"degrees_of_freedom"`
		}
	}
	if err := json.Unmarshal(w.Bytes(), &x); err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for _, c := range x.Budget {
		sum += c.Contribution * c.Contribution
	}
	if len(x.Budget) != 3 || math.Abs(math.Sqrt(sum)/x.U-1) > 1e-5 || math.Abs(x.K*x.U/x.Expanded-1) > 1e-5 || x.P != nil {
		t.Errorf("%+v", x)
	}
	if x.Measurement["signal"] != "OUT4" || x.Measurement["quantity"] != "switching_delay" {
		t.Errorf("measurement: %v", x.Measurement)
	}
	w.Reset()
	if err := b.CSV(&w); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&w).ReadAll()
	if err != nil || len(rows) != 5 || rows[4][7] != "combined" || rows[1][12] != "9" {
		t.Errorf("%v %q", err, rows)
	}
}

func TestFindBudget(t *testing.T) {
	t.Parallel()
	r := budgeted()
	for _, c := range []struct {
		name, event string
		cycle       int
	}{
		{"OUT3.high_level", "arm-away", 2}, // the only one with a budget
		{"OUT4.switching_delay", "", 3},    // the last of any event
		{"OUT4.switching_delay@", "", 3},
		{"OUT4.switching_delay@disarm", "disarm", 3},
		{"OUT4.switching_delay@disarm#3", "disarm", 3},
		{"OUT4.switching_delay#3", "", 3},
	} {
		b, err := FindBudget(r, c.name)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
		} else if b.Measurement.Event != c.event || b.Measurement.Cycle != c.cycle {
			t.Errorf("%s: found %q in cycle %d", c.name, b.Measurement.Event, b.Measurement.Cycle)
		}
	}
	for name, want := range map[string]string{
		"":                             budgetForm,
		"OUT3":                         "low_level, high_level",
		"OUT3.hight":                   "low_level, high_level",
		".high_level":                  budgetForm,
		"OUT3.high_level#0":            "whole number, 1 or more",
		"OUT3.high_level#x":            "whole number, 1 or more",
		"OUT9.high_level":              "no signal OUT9; it has: OUT1, OUT2, OUT3, K1, K1_NO and OUT4",
		"OUT3.operate_time":            "no operate_time of OUT3; it has: switching_delay, high_level, low_level and transition_duration",
		"OUT3.low_level@alarm":         `at "alarm"; it has it at: disarm and the start (an empty event: @)`,
		"OUT3.high_level@arm-away#99":  "no cycle 99 of it; its cycles go from 1 to 2",
		"K1_NO.bounce_count@arm-away":  "it is a count",
		"OUT3.switching_delay#3":       "did not rise, so there is nothing to time",
		"OUT1.ripple":                  "no uncertainty is stated",
		"OUT3.transition_duration#2":   "an upper bound",
		"OUT3.high_level@arm-away#1":   "no uncertainty is stated",
		"OUT4.switching_delay@arm.low": `at "arm.low"`,
	} {
		if _, err := FindBudget(r, name); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v; want %q in it", name, err, want)
		}
	}
	r.Measurements = broken(3, errDisk)
	if _, err := FindBudget(r, "OUT3.high_level"); !errors.Is(err, errDisk) {
		t.Errorf("a log that breaks: %v", err)
	}
	r.Measurements = nil
	if _, err := FindBudget(r, "OUT3.high_level"); err == nil || !strings.Contains(err.Error(), "no figures") {
		t.Errorf("an empty run: %v", err)
	}
}

// Any signal and event can be named, dots and marks among their letters or not.
func TestParseBudget_RoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.StringMatching(`[A-Za-z0-9_.-]{1,8}`)
		w := wantedBudget{signal: name.Draw(t, "signal"), quantity: rapid.SampledFrom(analyze.Quantities()).Draw(t, "quantity"),
			cycle: rapid.IntRange(0, 999).Draw(t, "cycle")}
		s := w.signal + "." + string(w.quantity)
		if w.anyEvent = rapid.Bool().Draw(t, "any event"); !w.anyEvent {
			w.event = rapid.StringMatching(`[A-Za-z0-9_.@-]{0,8}`).Draw(t, "event")
			s += "@" + w.event
		}
		if w.cycle > 0 {
			s += "#" + strconv.Itoa(w.cycle)
		}
		got, err := parseBudget(s)
		if err != nil || got != w {
			t.Fatalf("%q: %+v, %v; want %+v", s, got, err, w)
		}
	})
}

// Without a cycle the latest figure with a budget is meant, and where none has one, the
// latest.
func TestFindBudget_Latest(t *testing.T) {
	t.Parallel()
	figure := func(cycle int, lines int) analyze.Measurement {
		return analyze.Measurement{Cycle: cycle, Event: "arm", Signal: "OUT1", Quantity: analyze.HighLevel, Value: 12, Budget: make([]gum.Component, lines)}
	}
	for _, c := range []struct {
		name string
		all  []analyze.Measurement
		want int
	}{
		{"all have one", []analyze.Measurement{figure(1, 2), figure(2, 2)}, 2},
		{"the latest has none", []analyze.Measurement{figure(1, 2), figure(2, 0)}, 1},
		{"the first has none", []analyze.Measurement{figure(1, 0), figure(2, 2)}, 2},
		{"none has one", []analyze.Measurement{figure(1, 0), figure(2, 0)}, 2},
	} {
		s := search{wantedBudget: wantedBudget{signal: "OUT1", quantity: analyze.HighLevel, anyEvent: true}}
		for _, m := range c.all {
			s.see(m)
		}
		if s.found.Cycle != c.want || s.first != 1 || s.last != 2 {
			t.Errorf("%s: cycle %d, want %d; cycles from %d to %d", c.name, s.found.Cycle, c.want, s.first, s.last)
		}
	}
}
