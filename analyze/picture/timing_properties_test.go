package picture

import (
	"bytes"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// drawStory draws any story: levels and edges at any times, whatever is expected.
func drawStory(t *rapid.T) *Story {
	s := &Story{Step: rapid.SampledFrom([]float64{0.0001, 0.001, 0.02}).Draw(t, "step"), Noise: rapid.SampledFrom([]float64{0, 0.003, 0.5}).Draw(t, "noise")}
	s.End = rapid.SampledFrom([]float64{0, 0.01, 0.3, 2, 40}).Draw(t, "end")
	s.Step = max(s.Step, s.End/1000)
	times := func(what string, most int) []float64 {
		all := rapid.SliceOfN(rapid.Float64Range(-0.2, s.End+0.001), 0, most).Draw(t, what)
		slices.Sort(all)
		return slices.Compact(all)
	}
	names := []string{"arm-away", "disarm"}
	s.Events = []Mark{{At: 0, Words: names[0]}}
	for _, x := range times("events", 3) {
		if x > 0 && x <= s.End {
			s.Events = append(s.Events, Mark{At: x, Words: rapid.SampledFrom(names).Draw(t, "name")})
		}
	}
	s.Levels = []Point{{-1, rapid.SampledFrom([]float64{0.6, 13, -2}).Draw(t, "level before")}}
	for _, x := range times("moves", 4) {
		s.Levels = append(s.Levels, Point{x, rapid.SampledFrom([]float64{0.6, 13, 9.1, 13.2}).Draw(t, "level")})
	}
	s.Slopes = rapid.Bool().Draw(t, "slopes")
	s.Relay = rapid.Bool().Draw(t, "relay")
	s.Make, s.Break, s.Swapped = times("make", 40), times("break", 12), rapid.Bool().Draw(t, "swapped")
	s.Lost = times("lost", 3)
	s.NoLimits, s.Unnamed = rapid.Bool().Draw(t, "without limits"), rapid.Bool().Draw(t, "not named")
	s.Expect = map[string]analyze.Expectation{}
	for _, name := range names {
		s.Expect[name] = analyze.Expectation{Demand: analyze.Demand(rapid.IntRange(0, int(analyze.Pulse)).Draw(t, "demand")), Within: 0.1,
			After: rapid.SampledFrom([]time.Duration{0, time.Second, 30 * time.Second}).Draw(t, "after")}
	}
	if x := times("kept", 4); len(x) > 0 {
		for i := 0; i+1 < len(x); i += 2 {
			s.Kept = append(s.Kept, stretch{x[i], x[i+1]})
		}
	}
	return s
}

// Whatever happened: the diagram lies within its sheet and under 60 kB, dimension lines overlap
// nowhere, and none of the times is dropped.
func TestTiming_Anything(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := drawStory(t)
		of := s.Of()
		of.Occurrence = 1
		if rapid.Bool().Draw(t, "behind") {
			other := drawStory(t)
			other.Relay = s.Relay
			of.Behind = append(of.Behind, other.capture())
		}
		d, err := NewTiming(of)
		if err != nil {
			t.Fatal(err)
		}
		checkSheet(t, d)
		checkRows(t, d)
		checkTimes(t, d, of.Figures)
	})
}

type fataler interface {
	Fatalf(format string, args ...any)
	Errorf(format string, args ...any)
}

// checkSheet looks whether all lies within the sheet, and how large the file is.
func checkSheet(t fataler, d *Timing) {
	x := d.drawing()
	for _, s := range x.shapes {
		for _, line := range append(s.pieces, s.points) {
			for _, p := range line {
				if !(p.x >= -0.1 && p.x <= across+0.1 && p.y >= -0.1 && p.y <= x.height+0.1) {
					t.Fatalf("%+v lies off the sheet of %g by %g", s, across+0.0, x.height)
				}
			}
		}
		if s.text != "" {
			if b := boxOf(place{s.points[0], s.anchor}, s.text); s.size == smallText && (b.left < -1 || b.right > across+margin) {
				t.Fatalf("%q goes from %g to %g", s.text, b.left, b.right)
			}
		}
	}
	var b bytes.Buffer
	if err := d.SVG(&b); err != nil {
		t.Fatalf("%v", err)
	}
	if x.height > pageHeight {
		t.Errorf("no printed page holds a height of %g", x.height)
	}
	if strings.Contains(b.String(), "NaN") || strings.Contains(b.String(), "Inf") {
		t.Errorf("a number is missing: %s", b.String())
	}
	if b.Len() > 60_000 {
		t.Errorf("the drawing has %d bytes", b.Len())
	}
	if !strings.Contains(b.String(), "<title>") || !strings.Contains(b.String(), "<desc>") {
		t.Errorf("the drawing does not say what it shows")
	}
}

// pageHeight is how high a drawing may be for a page of US letter, which leaves 246 mm beside
// margins and a heading, where its 720 units are 188 mm wide.
const pageHeight = 920

// Many signals take several sheets, on which each stands once.
func TestOverview_Sheets(t *testing.T) {
	t.Parallel()
	for _, n := range []int{1, 8, 9, 30, 100} {
		c := &capture.Capture{End: 1e9}
		for i := range n {
			name := "S" + strconv.Itoa(i)
			c.Traces = append(c.Traces, capture.NewTrace(name, capture.Converter{}))
			c.Tracks = append(c.Tracks, &capture.Track{Signal: name, Known: true})
		}
		o := c.Outline()
		for i, x := range c.Traces {
			x.Append(0, 0)
			x.Append(1e9, float64(i))
			c.AddEdge(c.Tracks[i], capture.Edge{At: 5e8, Closed: true})
		}
		for i := range 40 {
			c.AddEvent(capture.Event{Name: "arm-away", At: capture.Instant(i) * 2e7})
		}
		o.Finish()
		all, err := NewOverview(o, c, "all")
		if err != nil {
			t.Fatal(err)
		}
		lanes := map[string]int{}
		for _, d := range all {
			checkSheet(t, d)
			for _, l := range d.Main.Lanes {
				lanes[l.Signal]++
			}
		}
		drawn := min(n, mostOutlined)
		left := strings.Contains(strings.Join(all[0].Words, " "), "not drawn")
		if len(lanes) < drawn || left != (n > drawn) {
			t.Errorf("of %d signals %d are drawn: %q", n, len(lanes), all[0].Words)
		}
	}
}

// checkRows looks whether dimension lines overlap.
func checkRows(t fataler, d *Timing) {
	for _, v := range append([]View{d.Main}, d.Enlarged...) {
		for i, x := range v.Dimensions {
			for _, y := range v.Dimensions[:i] {
				if x.Row == y.Row && math.Min(v.across(x.From), x.label.left) < math.Max(v.across(math.Min(y.To, v.To)), y.label.right) &&
					math.Min(v.across(y.From), y.label.left) < math.Max(v.across(math.Min(x.To, v.To)), x.label.right) {
					t.Errorf("%q and %q overlap in row %d", x.Words, y.Words, x.Row)
				}
			}
			if x.Row >= dimensionRows || x.From < v.From || x.To > v.To && !x.Open {
				t.Errorf("%+v does not lie in its view", x)
			}
		}
	}
}

// checkTimes looks whether each time measured at the event is drawn or listed.
func checkTimes(t fataler, d *Timing, figures []analyze.Measurement) {
	all := slices.Clone(d.Listed)
	for _, v := range append([]View{d.Main}, d.Enlarged...) {
		all = append(all, v.Dimensions...)
	}
	for _, m := range nthState(figures, d.Event, 1) {
		switch m.Quantity {
		case analyze.SwitchingDelay, analyze.OperateTime, analyze.ReleaseTime, analyze.TransferTime, analyze.PulseDuration:
		case analyze.BounceTime:
			if m.Value == 0 {
				continue
			}
		default:
			continue
		}
		if m.Signal != d.Signal && m.Signal != "K1" && m.Signal != "K1_NO" && m.Signal != "K1_NC" {
			continue
		}
		if len(d.Main.Lanes) == 1 && m.Signal != d.Signal {
			continue // a relay that is not this output's
		}
		if !slices.ContainsFunc(all, func(x Dimension) bool {
			return x.Signal == m.Signal && x.Quantity == m.Quantity && (x.Value == m.Value || math.IsNaN(x.Value) && math.IsNaN(m.Value))
		}) {
			t.Errorf("%s %s of %g is neither drawn nor listed", m.Signal, m.Quantity, m.Value)
		}
	}
}

// The stories are told as they happened, and as deep as their pictures may be.
func TestTiming_Stories(t *testing.T) {
	t.Parallel()
	for _, s := range Stories() {
		of := s.Of()
		d, err := NewTiming(of)
		if err != nil {
			t.Fatal(err)
		}
		checkSheet(t, d)
		checkRows(t, d)
		checkTimes(t, d, of.Figures)
	}
}

// Any spike and any edge of a capture is in its overview, however long it is and whatever is
// discarded and thinned out meanwhile.
func TestOverview_LosesNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		c := &capture.Capture{Traces: []*capture.Trace{capture.NewTrace("OUT1", capture.Converter{})}, Tracks: []*capture.Track{{Signal: "K1_NO", Known: true}}}
		o := c.Outline()
		n := rapid.IntRange(2, 60_000).Draw(t, "samples")
		step := capture.Instant(rapid.SampledFrom([]int64{1, 1000, 1e6, 1e12}).Draw(t, "step"))
		c.Start = capture.Instant(rapid.SampledFrom([]int64{0, -5e15, 3e12}).Draw(t, "start"))
		spikes := rapid.MapOfN(rapid.IntRange(0, n-1), rapid.SampledFrom([]float64{-3, 1.5, 14}), 0, 6).Draw(t, "spikes")
		edges := rapid.SliceOfNDistinct(rapid.IntRange(1, n-1), 0, min(12, n-1), rapid.ID[int]).Draw(t, "edges")
		slices.Sort(edges)
		thin := rapid.IntRange(0, n).Draw(t, "thinned from")
		first := c.Start
		for i := range n {
			at := first + capture.Instant(i)*step
			c.End = at
			if i == thin {
				c.Discard(at)
				c.Thin()
			}
			v := 0.6
			if x, ok := spikes[i]; ok {
				v = x
			}
			c.Traces[0].Append(at, v)
			if _, ok := slices.BinarySearch(edges, i); ok {
				k := len(c.Tracks[0].Edges)
				closed := c.Tracks[0].Initial
				if k > 0 {
					closed = c.Tracks[0].Edges[k-1].Closed
				}
				c.AddEdge(c.Tracks[0], capture.Edge{At: at, Closed: !closed})
			}
		}
		o.Finish()
		all, err := NewOverview(o, c, "all")
		if err != nil || len(all) != 1 {
			t.Fatal(len(all), err)
		}
		d := all[0]
		per := (d.Main.To - d.Main.From) / float64(columns)
		has := func(l *Lane, at, v float64) bool {
			for _, line := range l.Lines {
				for _, p := range line {
					if math.Abs(p.At-at) <= 1.01*per && math.Abs(p.Value-v) < 1e-6 {
						return true
					}
				}
			}
			return false
		}
		for i, v := range spikes {
			at := (first + capture.Instant(i)*step).Seconds()
			if !has(&d.Main.Lanes[0], at, v) && !beyond(spikes, i, v, n, step, per) {
				t.Fatalf("the spike to %g at sample %d is not drawn", v, i)
			}
		}
		for _, i := range edges {
			at := (first + capture.Instant(i)*step).Seconds()
			if !has(&d.Main.Lanes[1], at, 0) || !has(&d.Main.Lanes[1], at, 1) {
				t.Fatalf("the edge at sample %d is not drawn", i)
			}
		}
		checkSheet(t, d)
	})
}

// beyond reports whether another spike of the same column goes as far to the same side.
func beyond(spikes map[int]float64, i int, v float64, n int, step capture.Instant, per float64) bool {
	for k, w := range spikes {
		if k != i && math.Abs(float64(k-i))*step.Seconds() <= 2*per && (v > 0.6 && w >= v || v < 0.6 && w <= v) {
			return true
		}
	}
	return false
}

// The scale of an output that never leaves its high level goes no further than level and limits,
// though both of its levels were measured there; and what it did not do stands at its line's end.
func TestTiming_StuckHigh(t *testing.T) {
	t.Parallel()
	s := Stories()[4] // welded: a disarm
	s.Levels, s.Kept = []Point{{-1, 13.2}}, []stretch{{-0.1, 0.4}}
	of := s.Of()
	of.Figures = append(of.Figures, analyze.Measurement{Cycle: 1, Signal: "OUT3", Quantity: analyze.HighLevel, Value: 13.2, Limit: analyze.NoLimit()})
	d, err := NewTiming(of)
	if err != nil {
		t.Fatal(err)
	}
	l := &d.Main.Lanes[0]
	if !(l.High > 14.5 && l.High < 16) || l.Note != "did not go low" {
		t.Errorf("the scale goes to %g V, the note is %q", l.High, l.Note)
	}
	left := math.Inf(1)
	for _, u := range l.Unseen {
		left = math.Min(left, d.Main.across(u.From))
	}
	for _, x := range d.drawing().shapes {
		if x.text == l.Note && x.points[0].x > left {
			t.Errorf("the note ends at %g, in what was not seen from %g on", x.points[0].x, left)
		}
	}
}
