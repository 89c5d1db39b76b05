package capture

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// An outline has the extremes of every stretch, the number of samples and edges, and no more
// bins than a drawing needs, whatever of the capture is discarded or thinned out meanwhile.
func TestOutline_Extremes(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		c := &Capture{Traces: []*Trace{NewTrace("OUT1", Converter{})}, Tracks: []*Track{{Signal: "K1"}}}
		o := c.Outline()
		gaps := rapid.SliceOfN(rapid.SampledFrom([]int64{1, 1000, 1e6, 1e9, 1e15}), 1, 3000).Draw(t, "gaps")
		at := rapid.SampledFrom([]int64{0, math.MinInt64 / 2, 1e18}).Draw(t, "start")
		c.Start = Instant(at)
		begun := c.Start
		var all []sample
		closed := false
		for i, gap := range gaps {
			if at > math.MaxInt64-gap {
				break
			}
			at += gap
			v := float64(rapid.IntRange(-5, 5).Draw(t, "volts"))
			c.Traces[0].Append(Instant(at), v)
			all = append(all, sample{at, float32(v)})
			if i%7 == 3 {
				closed = !closed
				c.AddEdge(c.Tracks[0], Edge{Instant(at), closed})
			}
			c.End = Instant(at)
			if i == len(gaps)/2 {
				c.Discard(Instant(at))
				c.Thin()
			}
		}
		o.Finish()
		checkBins(t, o.Traces[0], all)
		if o.Start != begun || o.End != c.End {
			t.Errorf("from %d to %d", o.Start, o.End)
		}
		edges := 0
		state, known := o.Tracks[0].Before()
		for _, g := range o.Tracks[0].Groups() {
			edges += g.N
			if g.N%2 == 1 == (state == g.Closed) && known {
				t.Errorf("%d edges from %t lead to %t", g.N, state, g.Closed)
			}
			state = g.Closed
		}
		if edges != o.Tracks[0].Edges || state != closed {
			t.Errorf("%d edges of %d, in the end closed %t", edges, o.Tracks[0].Edges, state)
		}
	})
}

func checkBins(t *rapid.T, o *TraceOutline, all []sample) {
	bins := o.Bins()
	if len(o.bins) > outlineBins {
		t.Fatalf("%d bins", len(o.bins))
	}
	n, i := 0, 0
	for _, b := range bins {
		low, high := math.Inf(1), math.Inf(-1)
		for ; i < len(all) && all[i].At <= int64(b.To); i++ {
			if all[i].At < int64(b.From) {
				t.Fatalf("the sample at %d lies between bins", all[i].At)
			}
			low, high = math.Min(low, float64(all[i].Volts)), math.Max(high, float64(all[i].Volts))
			n++
		}
		if low != float64(b.Low) || high != float64(b.High) {
			t.Fatalf("%g to %g, want %g to %g", b.Low, b.High, low, high)
		}
	}
	if n != len(all) || o.Samples != n {
		t.Fatalf("%d and %d of %d samples", n, o.Samples, len(all))
	}
}

// What was lost is known also where it has been discarded, the first of it each by itself.
func TestOutline_Losses(t *testing.T) {
	t.Parallel()
	c := &Capture{Tracks: []*Track{{Signal: "K1"}}}
	o := c.Outline()
	for i := range Instant(outlineLosses + 5) {
		c.Tracks[0].Losses = append(c.Tracks[0].Losses, Loss{Span: Span{10 * i, 10*i + 5}, Edges: 1})
		c.End = 10*i + 9
		if i%100 == 50 {
			c.Discard(10 * i)
		}
	}
	o.Finish()
	if x := o.Tracks[0]; len(x.Losses) != outlineLosses || x.LossesLeft != 5 || x.Losses[7].To != 75 {
		t.Errorf("%d losses and %d more", len(x.Losses), x.LossesLeft)
	}
}

// Events are kept by name, the first of them.
func TestOutline_Events(t *testing.T) {
	t.Parallel()
	c := &Capture{Events: []Event{{Name: "arm-away"}}}
	o := c.Outline()
	for i := range Instant(outlineEvents + 2) {
		c.AddEvent(Event{Name: "disarm", At: i})
	}
	if len(o.Events) != outlineEvents || o.EventsLeft != 3 || o.Events[0].Name != "arm-away" {
		t.Errorf("%d events and %d more", len(o.Events), o.EventsLeft)
	}
}
