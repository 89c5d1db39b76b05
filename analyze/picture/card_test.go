package picture

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"makebreak/analyze"
)

// cardSays is what a card's words are in these tests.
var cardSays = CardWords{
	Demanded: func(signal string) string { return "as demanded of " + signal },
	Limits:   func(analyze.Limits) string { return "high level 12 … 14.5 V" },
}

// What is demanded is drawn when it is demanded, and the first step begins as the last one ends.
func TestCard_Lanes(t *testing.T) {
	t.Parallel()
	steps := []CardStep{{"arm", 10 * time.Second}, {"alarm", 4 * time.Second}, {"off", 2 * time.Second}}
	for _, c := range []struct {
		name   string
		expect map[string]analyze.Expectation
		lines  [][]Point
		free   []Unseen
	}{
		{"high and low", map[string]analyze.Expectation{"arm": {Demand: analyze.High}, "off": {Demand: analyze.Low}},
			[][]Point{{{0, 0}, {0, 0}, {0, 1}, {1, 1}, {2, 1}, {2, 1}, {2, 0}, {3, 0}}}, nil},
		{"after a delay", map[string]analyze.Expectation{"arm": {Demand: analyze.High, After: 5 * time.Second}, "off": {Demand: analyze.Low}},
			[][]Point{{{0, 0}, {0.5, 0}, {0.5, 1}, {1, 1}, {2, 1}, {2, 1}, {2, 0}, {3, 0}}}, nil},
		{"a pulse", map[string]analyze.Expectation{"alarm": {Demand: analyze.Pulse, After: time.Second}},
			[][]Point{{{0, 0}, {1, 0}, {1, 0}, {1, 1}, {1.25, 1}, {1.25, 0}, {2, 0}, {3, 0}}}, nil},
		{"stays high from one cycle to the next", map[string]analyze.Expectation{"arm": {Demand: analyze.Low}, "off": {Demand: analyze.High}},
			[][]Point{{{0, 1}, {0, 1}, {0, 0}, {1, 0}, {2, 0}, {2, 0}, {2, 1}, {3, 1}}}, nil},
		{"anything", map[string]analyze.Expectation{"arm": {Demand: analyze.High}, "alarm": {Demand: analyze.Any}, "off": {Demand: analyze.Low}},
			[][]Point{{{0, 0}, {0, 0}, {0, 1}, {1, 1}}, {{2, 0}, {2, 0}, {2, 0}, {3, 0}}}, []Unseen{{From: 1, To: 2, Words: "any"}}},
	} {
		plan := &analyze.Plan{Outputs: []analyze.OutputPlan{{Signal: "OUT1", Expect: c.expect}}, OthersUnmoved: true}
		card := NewCard("Job card", nil, steps, plan, cardSays)
		if len(card.Lanes) != 2 || !card.Lanes[1].Still {
			t.Fatalf("%s: %+v", c.name, card.Lanes)
		}
		l := card.Lanes[0]
		if fmt.Sprint(l.Lines) != fmt.Sprint(c.lines) || fmt.Sprint(l.Free) != fmt.Sprint(c.free) {
			t.Errorf("%s:\n%v %v\nwant\n%v %v", c.name, l.Lines, l.Free, c.lines, c.free)
		}
	}
}

// Whatever is demanded, nothing lies off the sheet or on something else.
func TestCard_Anything(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var steps []CardStep
		plan := &analyze.Plan{OthersUnmoved: rapid.Bool().Draw(t, "others")}
		for i := range rapid.IntRange(0, 16).Draw(t, "steps") {
			name := rapid.SampledFrom([]string{"a", "arm-away", "energize-nominal-voltage", "AN-EVENT-WITH-THE-LONGEST-NAME-32"}).Draw(t, "event")
			steps = append(steps, CardStep{fmt.Sprint(name, i), rapid.SampledFrom([]time.Duration{0, 150 * time.Millisecond, 35 * time.Second, 20 * time.Hour}).Draw(t, "hold")})
		}
		for i := range rapid.IntRange(0, 6).Draw(t, "outputs") {
			o := analyze.OutputPlan{Signal: fmt.Sprintf("OUT%d", i), Expect: map[string]analyze.Expectation{}}
			for _, s := range steps {
				o.Expect[s.Event] = analyze.Expectation{Demand: analyze.Demand(rapid.IntRange(0, int(analyze.Pulse)).Draw(t, "demand")),
					After: rapid.SampledFrom([]time.Duration{0, time.Second, time.Hour}).Draw(t, "after")}
			}
			plan.Outputs = append(plan.Outputs, o)
		}
		say := cardSays
		say.Demanded = func(string) string {
			return strings.Repeat("high at arm-away, ", rapid.IntRange(0, 30).Draw(t, "words"))
		}
		c := NewCard("Job card: job", []string{"What it shows."}, steps, plan, say)
		d := c.drawing()
		checkClear(t, d)
		var b bytes.Buffer
		if err := c.SVG(&b); err != nil || strings.Contains(b.String(), "NaN") {
			t.Fatalf("%v: %s", err, b.String())
		}
	})
}
