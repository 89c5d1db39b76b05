package report

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"makebreak/analyze"
)

func textOf(t *testing.T, r *Record, opts TextOpts) string {
	t.Helper()
	var b bytes.Buffer
	if err := Text(&b, r, opts); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestText_Width(t *testing.T) {
	t.Parallel()
	for _, width := range []int{100, 90, 80} {
		for _, line := range strings.Split(textOf(t, invented(), TextOpts{Width: width}), "\n") {
			if n := utf8.RuneCountInString(line); n > width {
				t.Errorf("at width %d a line has %d columns: %q", width, n, line)
			}
		}
	}
}

// Colour is an ornament: without its codes the text is the same.
func TestText_ColourCarriesNothing(t *testing.T) {
	t.Parallel()
	plain := textOf(t, invented(), TextOpts{Width: 100})
	coloured := textOf(t, invented(), TextOpts{Width: 100, Colour: true})
	if plain == coloured {
		t.Error("nothing was coloured")
	}
	for _, code := range []string{"\x1b[32m", "\x1b[1;31m", "\x1b[33m", "\x1b[0m"} {
		coloured = strings.ReplaceAll(coloured, code, "")
	}
	if plain != coloured {
		t.Errorf("without its colours the text is another:\n%s", coloured)
	}
}

func TestText_ObeysNoControls(t *testing.T) {
	t.Parallel()
	r := invented()
	r.Unit, r.Notes = "A\x1b[2J\x07B", []string{"one\x1b]0;x\x07\ntwo"}
	got := textOf(t, r, TextOpts{})
	if strings.ContainsAny(got, "\x1b\x07") {
		t.Errorf("a control character reached the terminal: %q", got)
	}
}

func TestText_Words(t *testing.T) {
	t.Parallel()
	pass := analyze.Measurement{Cycle: 1, Event: "disarm", Signal: "OUT1", Quantity: analyze.HighLevel, Value: 12, Expanded: 0.1, Limit: analyze.Limit{Lower: 11, Upper: nan}, Verdict: analyze.Pass}
	bare := pass
	bare.Limit, bare.Verdict = analyze.NoLimit(), analyze.NoVerdict
	bound := func(cycle int, value float64, codes ...analyze.DoubtCode) analyze.Measurement {
		m := analyze.Measurement{Cycle: cycle, Event: "arm-away", Signal: "K1_NO", Quantity: analyze.BounceTime, Value: value, Expanded: nan, Limit: analyze.NoLimit()}
		for _, c := range codes {
			m.Doubts = append(m.Doubts, analyze.Doubt{Code: c, Value: nan})
		}
		return m
	}
	for _, c := range []struct {
		name   string
		record Record
		want   []string
	}{
		{"a lower bound", Record{Run: "1", Complete: true, Measurements: stream([]analyze.Measurement{bound(1, 0.004, analyze.EdgesMissing, analyze.AtLeast), bound(2, 0.003)})},
			[]string{" ≥ 3.5 ms ", "≥: a lower bound: the true value may be higher.", "noted on 1 of 2: edges were lost; the true value may be higher"}},
		{"an upper bound", Record{Run: "1", Complete: true, Measurements: stream([]analyze.Measurement{bound(1, 0.004, analyze.EdgesMissing, analyze.AtMost)})},
			[]string{" ≤ 4 ms\n", "≤: an upper bound: the true value may be lower.", "edges were lost; the true value may be lower"}},
		{"both", Record{Run: "1", Complete: true, Measurements: stream([]analyze.Measurement{bound(1, 0.004, analyze.AtMost), bound(2, 0.004, analyze.AtLeast)})},
			[]string{" ≶ 4 ms ", "≶: some values are upper bounds, others lower bounds."}},
		{"pass", Record{Run: "1", Complete: true, Verdict: analyze.Pass, Measurements: stream([]analyze.Measurement{pass})},
			[]string{"No findings.", "Verdict: pass (1 of 1 judged figure passed)", "min 11 V"}},
		{"measured only", Record{Run: "1", Complete: true, Measurements: stream([]analyze.Measurement{bare})},
			[]string{"Verdict: none (no limit was set and nothing was judged)", "No verdict: no limit was set."}},
		{"nothing", Record{Run: "1", Complete: true}, []string{"Nothing was measured.", "No findings."}},
		{"nothing stored", Record{Run: "1", Unstored: []string{"cycle 1: pass, 3 of 3 judged figures passed"}}, []string{"No figure could be stored.",
			"Measured but not stored\n  - cycle 1: pass, 3 of 3", "Verdict: none (no figure could be stored; the run is incomplete"}},
		{"findings alone", Record{Run: "1", Complete: true, Verdict: analyze.Fail, Measurements: stream([]analyze.Measurement{pass}),
			Findings: []analyze.Finding{{Signal: "OUT2", Verdict: analyze.Fail, Text: "moved at disarm."}}},
			[]string{"- OUT2: moved at disarm.", "Verdict: fail (see the findings)"}},
		{"simulated", Record{Run: "1", Simulated: true, Seed: seed(9)}, []string{"Rig       simulated bench (seed 9): nothing real was measured"}},
		{"simulated capture", Record{Run: "1", Simulated: true, Faults: []string{"welded"}}, []string{"Rig       simulated bench: nothing real was measured; faults planted on purpose: welded"}},
		{"interrupted", Record{Run: "1", Cycles: 2, Planned: 9, Reason: "the bus was lost"},
			[]string{"Cycles    2 of 9, incomplete: the bus was lost", "holds for the cycles done only"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := textOf(t, &c.record, TextOpts{All: true})
			for _, want := range c.want {
				if !strings.Contains(got, want) {
					t.Errorf("%q is not in:\n%s", want, got)
				}
			}
		})
	}
}

// Only what holds its state and is asked nothing else folds into the line of
// steady outputs.
func TestSummary_Folding(t *testing.T) {
	t.Parallel()
	hold := analyze.Measurement{Cycle: 1, Event: "disarm", Signal: "OUT1", Quantity: analyze.Hold, Value: 0, Expanded: nan, Limit: analyze.Limit{Lower: nan, Upper: 0}, Verdict: analyze.Pass}
	level := analyze.Measurement{Cycle: 1, Event: "disarm", Signal: "OUT1", Quantity: analyze.LowLevel, Value: 0.01, Expanded: 0.005, Limit: analyze.NoLimit()}
	for _, c := range []struct {
		name   string
		change func(hold, level *analyze.Measurement)
		folded bool
	}{
		{"steady", func(h, l *analyze.Measurement) {}, true},
		{"moved", func(h, l *analyze.Measurement) { h.Value = 0.001 }, false},
		{"moved and failed", func(h, l *analyze.Measurement) { h.Value, h.Verdict = 0.001, analyze.Fail }, false},
		{"hold not judged", func(h, l *analyze.Measurement) { h.Verdict = analyze.NoVerdict }, false},
		{"hold missing", func(h, l *analyze.Measurement) { h.Value = nan }, false},
		{"level missing", func(h, l *analyze.Measurement) { l.Value = nan }, false},
		{"level limited", func(h, l *analyze.Measurement) { l.Limit.Upper, l.Verdict = 1, analyze.Pass }, false},
		{"switched", func(h, l *analyze.Measurement) { l.Quantity = analyze.SwitchingDelay }, false},
		{"no hold", func(h, l *analyze.Measurement) { h.Quantity = analyze.Ripple }, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			h, l := hold, level
			c.change(&h, &l)
			s, err := summarize(&Record{Measurements: stream([]analyze.Measurement{h, l})})
			if err != nil {
				t.Fatal(err)
			}
			if folded := len(s.rows) == 0; folded != c.folded {
				t.Errorf("folded: %t; want %t", folded, c.folded)
			}
			if line := s.steady.line(); (line == "OUT1: did not move (1 check)") != c.folded {
				t.Errorf("the line of steady outputs is %q", line)
			}
		})
	}
}

func TestSummary_Order(t *testing.T) {
	t.Parallel()
	var ms []analyze.Measurement
	for _, k := range []struct {
		signal   string
		quantity analyze.Quantity
		event    string
	}{
		{"K1", analyze.OperateTime, "arm"}, {"OUT2", analyze.SwitchingDelay, "disarm"}, {"OUT2", analyze.SwitchingDelay, "arm"},
		{"OUT2", analyze.HighLevel, "arm"}, {"OUT2", analyze.HighLevel, ""}, {"OUT1", analyze.Hold, "other"},
	} {
		ms = append(ms, analyze.Measurement{Cycle: 1, Signal: k.signal, Quantity: k.quantity, Event: k.event, Value: 1, Expanded: nan, Limit: analyze.NoLimit()})
	}
	s, err := summarize(&Record{Measurements: stream(ms), Signals: []string{"OUT1", "OUT2"}, Steps: []string{"arm", "disarm"}})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, x := range s.rows {
		got = append(got, fmt.Sprint(x.Signal, " ", x.Quantity, " ", x.Event))
	}
	want := []string{
		"OUT1 hold other", "OUT2 high_level ", "OUT2 high_level arm",
		"OUT2 switching_delay arm", "OUT2 switching_delay disarm", "K1 operate_time arm",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %q\nwant %q", got, want)
	}
}

func TestSummary_ManyReasons(t *testing.T) {
	t.Parallel()
	var ms []analyze.Measurement
	for i := range 50 {
		ms = append(ms, analyze.Measurement{Cycle: i + 1, Event: "arm", Signal: "OUT1", Quantity: analyze.SwitchingDelay, Value: nan, Expanded: nan, Limit: analyze.NoLimit(), Doubts: analyze.InWords(fmt.Sprintf("reason %d", i))})
	}
	s, err := summarize(&Record{Measurements: stream(ms)})
	if err != nil {
		t.Fatal(err)
	}
	lines := s.remarkLines()
	if len(lines) != 4 || !strings.Contains(lines[3], "other reasons in 47 more") {
		t.Errorf("got %q", lines)
	}
}

// What is doubtful of several figures is one remark, with the range of its numbers, and the
// figure nearest to the limit says what would settle the undecided ones.
func TestSummary_Remarks(t *testing.T) {
	t.Parallel()
	few := func(cycle int, n float64) analyze.Measurement {
		return analyze.Measurement{Cycle: cycle, Event: "arm", Signal: "OUT1", Quantity: analyze.HighLevel, Value: 12, Expanded: 0.1, Limit: analyze.NoLimit(),
			Doubts: []analyze.Doubt{{Code: analyze.PlainMean, Value: n}}}
	}
	bouncing := func(cycle int, contact string, seconds float64) analyze.Measurement {
		return analyze.Measurement{Cycle: cycle, Event: "arm", Signal: contact, Quantity: analyze.BounceTime, Value: 0.001, Expanded: 1e-5,
			Limit: analyze.Limit{Lower: nan, Upper: 0.005}, Verdict: analyze.Undecided, Doubts: []analyze.Doubt{{Code: analyze.StillBouncing, Value: seconds}}}
	}
	s, err := summarize(&Record{Measurements: stream([]analyze.Measurement{
		few(1, 4), few(2, 2), few(3, 7), bouncing(1, "K1_NO", 0.002), bouncing(2, "K1_NO", 0.0005), bouncing(1, "K2_NO", 0.001),
	})})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := s.remarkLines(), []string{"OUT1 high level at arm, noted on 3 of 3: mean of 2 to 7 samples, too few for a histogram"}; !slices.Equal(got, want) {
		t.Errorf("got %q\nwant %q", got, want)
	}
	got := s.undecidedLines()
	want := []string{
		"K1_NO bounce time at arm, undecided in 2 of 2: still bouncing when the step ended, 0.5 to 2 ms after the last edge: the true value may be higher",
		"K2_NO bounce time at arm, undecided in 1 of 1: still bouncing when the step ended, 1 ms after the last edge: the true value may be higher",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %q\nwant %q", got, want)
	}
}

func TestReservoir_Exact(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		values []float64
		want   float64
	}{
		{[]float64{3}, 3}, {[]float64{3, 1}, 2}, {[]float64{3, 1, 2}, 2}, {[]float64{4, 1, 3, 2}, 2.5},
	} {
		var s reservoir
		for _, x := range c.values {
			s.add(x, analyze.NoVerdict)
		}
		if got := s.median(); got != c.want || !s.exact() {
			t.Errorf("median of %v = %v, exact %t; want %v, true", c.values, got, s.exact(), c.want)
		}
	}
}

// Beyond its length the reservoir's median stays within 2 % in rank (four
// standard deviations) and comes out the same every time, also where two kinds
// of values take turns.
func TestReservoir_Sampled(t *testing.T) {
	t.Parallel()
	const n = 200_000
	random := rand.New(rand.NewPCG(3, 4))
	draw := map[string]func(i int) float64{
		"rising":       func(i int) float64 { return float64(i) / n },
		"random":       func(int) float64 { return random.Float64() },
		"taking turns": func(i int) float64 { return float64(i%2)/2 + random.Float64()/2 },
	}
	for name, next := range draw {
		t.Run(name, func(t *testing.T) {
			var a, b reservoir
			for i := range n {
				x := next(i)
				a.add(x, analyze.NoVerdict)
				b.add(x, analyze.NoVerdict)
			}
			if a.exact() || len(a.sample) != reservoirLen {
				t.Errorf("%d values are in the sample, of %d, exact: %t", len(a.sample), n, a.exact())
			}
			if m := a.median(); m < 0.48 || m > 0.52 {
				t.Errorf("median of values even between 0 and 1 = %v", m)
			}
			if a.median() != b.median() {
				t.Error("the same values gave two medians")
			}
		})
	}
}

func TestText_SaysWhereItSampled(t *testing.T) {
	t.Parallel()
	r := &Record{Run: "1", Complete: true, Measurements: func(yield func(analyze.Measurement, error) bool) {
		for i := range reservoirLen + 1 {
			if !yield(analyze.Measurement{Cycle: i + 1, Event: "arm", Signal: "OUT1", Quantity: analyze.HighLevel, Value: 12, Expanded: 0.1, Limit: analyze.NoLimit()}, nil) {
				return
			}
		}
	}}
	got := textOf(t, r, TextOpts{})
	for _, want := range []string{"10001", "≈ 12.00 V", "≈: median of 10000 values chosen at random"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not in:\n%s", want, got)
		}
	}
}
