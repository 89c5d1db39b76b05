package report

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"makebreak/analyze"
	"makebreak/analyze/compare"
	"makebreak/analyze/gum"
	"makebreak/analyze/tally"
	"makebreak/rig/capture"
)

// inventedComparison is of two invented runs: a level fell below its limit, a relay is slower,
// a contact is not measured any more, and an edge that was too fast to time is slow.
func inventedComparison() *Comparison {
	run := func(level, operate, edge float64, contact bool, verdict analyze.Verdict) []*compare.Sample {
		var g compare.Gatherer
		for i := range 6 {
			d := 0.01 * float64(i%3)
			g.Add(&analyze.Measurement{Cycle: i + 1, Event: "arm-away", Signal: "OUT3", Quantity: analyze.HighLevel, Value: level + d, Limit: analyze.Limit{Lower: 12, Upper: 14.5}, Verdict: verdict,
				Budget: []gum.Component{gum.Line(gum.Source(capture.UpperResistor), "rectangular", 0.1, 1), gum.Line(gum.Source(capture.ADCGainDrift), "rectangular", 0.005, 1)}})
			g.Add(&analyze.Measurement{Cycle: i + 1, Event: "arm-away", Signal: "K1", Quantity: analyze.OperateTime, Value: operate + d/1000, Limit: analyze.Limit{Lower: nan, Upper: 0.015}, Verdict: analyze.Pass})
			g.Add(&analyze.Measurement{Cycle: i + 1, Event: "", Signal: "OUT3", Quantity: analyze.LowLevel, Value: 0.6 + d, Limit: analyze.NoLimit()})
			m := analyze.Measurement{Cycle: i + 1, Event: "arm-away", Signal: "OUT3", Quantity: analyze.TransitionDuration, Value: edge + d/1000, Limit: analyze.NoLimit()}
			if edge < 0.002 {
				m.Doubts = []analyze.Doubt{{Code: analyze.AtMost, Value: nan}}
			}
			g.Add(&m)
			if contact {
				g.Add(&analyze.Measurement{Cycle: i + 1, Event: "arm-away", Signal: "K1_NO", Quantity: analyze.BounceTime, Value: 0.001, Limit: analyze.NoLimit()})
			}
		}
		return g.Samples()
	}
	all := func(string) bool { return true }
	now, before := invented(), invented()
	before.Run, before.Verdict, before.Started = "2031-03-01-004", analyze.Pass, now.Started.AddDate(0, -1, 0)
	c := NewComparison(now, before, compare.Of(run(9, 0.0123, 0.008, false, analyze.Fail), run(13.2, 0.0051, 0.001, true, analyze.Pass), compare.Basis{SameRig: true, SameChain: all, SameChip: all}))
	c.SameRig, c.Recalibrated, c.Relation = true, []string{"OUT1"}, "previous"
	return c
}

func TestComparison_Golden(t *testing.T) {
	t.Parallel()
	for name, write := range map[string]func(*bytes.Buffer) error{
		"comparison.csv":      func(b *bytes.Buffer) error { return inventedComparison().CSV(b) },
		"comparison.json":     func(b *bytes.Buffer) error { return inventedComparison().JSON(b) },
		"comparison.txt":      func(b *bytes.Buffer) error { return inventedComparison().Text(b, TextOpts{Width: 80}) },
		"comparison-wide.txt": func(b *bytes.Buffer) error { return inventedComparison().Text(b, TextOpts{Width: 160, All: true}) },
		"comparison.html":     func(b *bytes.Buffer) error { return inventedComparison().HTML(b) },
		"comparison-since.txt": func(b *bytes.Buffer) error {
			r := invented()
			r.Since = func() (*Comparison, error) { return inventedComparison(), nil }
			heading, lines, err := since(r)
			fmt.Fprintf(b, "%s\n%s\n", heading, strings.Join(lines, "\n"))
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var b bytes.Buffer
			if err := write(&b); err != nil {
				t.Fatal(err)
			}
			golden(t, name, b.Bytes())
		})
	}
}

// The text fits 80 columns, and JSON is of the published form.
func TestComparison_Forms(t *testing.T) {
	t.Parallel()
	var text, object bytes.Buffer
	if err := inventedComparison().Text(&text, TextOpts{Width: 80}); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(text.String()) {
		if n := len([]rune(strings.TrimSuffix(line, "\n"))); n > 80 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	if err := inventedComparison().JSON(&object); err != nil {
		t.Fatal(err)
	}
	if err := schemaOf(t, "comparison").Validate(documentOf(t, object.Bytes())); err != nil {
		t.Error(err)
	}
}

// Whatever a log names its signals, no form says more than it should.
func TestComparison_Hostile(t *testing.T) {
	t.Parallel()
	const bad = "=1+1\x1b[2J<script>\u202e\n"
	row := func() *compare.Row {
		s := &compare.Sample{Key: tally.Key{Signal: bad, Quantity: bad, Event: bad}, Figures: 1, Mean: nan, Low: nan, High: nan, Limit: analyze.NoLimit()}
		return &compare.Row{Key: s.Key, Now: s, Change: nan, Standard: nan, Expanded: nan, Probability: nan, Outcome: compare.NotBefore}
	}
	c := NewComparison(&Record{Run: bad, Unit: bad, Rig: bad, Sequence: bad, Fields: []Field{{bad, bad}}}, &Record{Run: bad}, []*compare.Row{row()})
	c.SameRig, c.Recalibrated = true, []string{bad}
	for form, write := range map[string]func(*bytes.Buffer) error{
		"text": func(b *bytes.Buffer) error { return c.Text(b, TextOpts{Width: 80, All: true}) },
		"html": func(b *bytes.Buffer) error { return c.HTML(b) },
		"csv":  func(b *bytes.Buffer) error { return c.CSV(b) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		if out := b.String(); strings.ContainsAny(out, "\x1b\u202e") || form == "html" && strings.Contains(out, "<script>") || form == "csv" && strings.Contains(out, ",=1") {
			t.Errorf("%s: %q", form, out)
		}
	}
}

// The picture is of the cycle with the gravest verdict, with all of the other run's behind it.
func TestComparison_Pictures(t *testing.T) {
	t.Parallel()
	plan := &analyze.Plan{Steps: []string{"arm-away"}, Outputs: []analyze.OutputPlan{{Signal: "OUT3", Expect: map[string]analyze.Expectation{"arm-away": {Demand: analyze.Unmoved}}}}}
	asked := map[string][]int{}
	run := func(name string, bad int) *Record {
		var all []analyze.Measurement
		for n := 1; n <= 3; n++ {
			m := analyze.Measurement{Cycle: n, Event: "arm-away", Signal: "OUT3", Quantity: analyze.Hold, Limit: analyze.Limit{Lower: nan, Upper: 0}, Expanded: nan, Verdict: analyze.Pass}
			if n == bad {
				m.Value, m.Verdict = 0.1, analyze.Fail
			}
			all = append(all, m)
		}
		return &Record{Run: name, Plan: plan, Measurements: stream(all), Captures: []analyze.Cycles{{First: 1, Last: 3}}, CaptureOf: func(n int) (*capture.Capture, error) {
			asked[name] = append(asked[name], n)
			c := &capture.Capture{End: 1e9, Traces: []*capture.Trace{capture.NewTrace("OUT3", capture.Converter{})}, Events: []capture.Event{{Name: "arm-away", At: 1e8}}}
			for i := range 1000 {
				c.Traces[0].Append(capture.Instant(i)*1e6, 0.6)
			}
			return c, nil
		}}
	}
	c := NewComparison(run("now", 2), run("before", 0), []*compare.Row{{Key: tally.Key{Signal: "OUT3", Quantity: analyze.Hold, Event: "arm-away"}, Outcome: compare.Moved}})
	all, err := c.pictures()
	if err != nil || len(all) != 1 {
		t.Fatalf("%d pictures, %v", len(all), err)
	}
	for _, want := range []string{"OUT3 at arm-away, cycle 2: fail", "Grey: run before."} {
		if !strings.Contains(string(all[0].Drawing), want) {
			t.Errorf("the picture does not say %q", want)
		}
	}
	if want := map[string][]int{"now": {2}, "before": {1, 2, 3}}; !reflect.DeepEqual(asked, want) {
		t.Errorf("captures of cycles %v are read, want %v", asked, want)
	}
}

// A record says nothing of an earlier run where there is none.
func TestSince_None(t *testing.T) {
	t.Parallel()
	for _, r := range []*Record{{}, {Since: func() (*Comparison, error) { return nil, nil }}} {
		if heading, lines, err := since(r); heading != "" || lines != nil || err != nil {
			t.Errorf("%q, %q, %v", heading, lines, err)
		}
	}
}

func documentOf(t *testing.T, text []byte) any {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// Courses of two soaks lie one over the other, what moved first; where one run is none, nothing is
// drawn.
func TestComparison_Courses(t *testing.T) {
	t.Parallel()
	now := soaked(t, 3000, 3000, func(n int, rng *rand.Rand) float64 { return steadily(n, rng) + 2e-4 })
	before := soaked(t, 900, 900, steadily)
	before.Run = "2031-03-01-004"
	c := NewComparison(now, before, nil)
	drawn, err := c.courses()
	if err != nil || len(drawn) == 0 || len(drawn) > mostCompared {
		t.Fatalf("%d courses: %v", len(drawn), err)
	}
	if svg := string(drawn[0].Drawing); !strings.Contains(svg, "dashed: run 2031-03-01-004") || !strings.Contains(svg, "median") {
		t.Errorf("%s: %s", drawn[0].Name, svg)
	}
	var page bytes.Buffer
	if err := c.HTML(&page); err != nil || strings.Count(page.String(), "over the cycles of both runs") != len(drawn) {
		t.Errorf("%v", err)
	}
	for _, one := range []*Comparison{NewComparison(now, invented(), nil), NewComparison(invented(), before, nil)} {
		if drawn, err := one.courses(); err != nil || len(drawn) > 0 {
			t.Errorf("of one soak %d courses: %v", len(drawn), err)
		}
	}
}
