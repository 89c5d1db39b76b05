package measure_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
	_ "makebreak/testdata/fixedseed"
)

// cycleOf draws a capture of one output and one relay over a few events: levels,
// delays, noise and rate are drawn, and so is whether the output follows each event.
func cycleOf(t *rapid.T) drawing {
	rate := float64(rapid.SampledFrom([]int{100, 500, 1000, 2000}).Draw(t, "rate"))
	low := rapid.Float64Range(0, 1).Draw(t, "low")
	high := rapid.Float64Range(6, 20).Draw(t, "high")
	noise := rapid.SampledFrom([]float64{0, 0.01, 0.2}).Draw(t, "noise")
	seed := rapid.Uint64().Draw(t, "seed")
	n := rapid.IntRange(1, 5).Draw(t, "events")
	var changes, no, nc []float64
	up := false
	d := draw(0.5 + float64(n))
	for i := range n {
		at := 0.5 + float64(i)
		d = d.event([]string{"on", "off"}[i%2], at)
		if rapid.IntRange(0, 9).Draw(t, "follows") == 0 {
			continue
		}
		up = !up
		cross := at + rapid.Float64Range(0.01, 0.4).Draw(t, "delay")
		changes = append(changes, cross, map[bool]float64{true: high, false: low}[up])
		no, nc = append(no, cross+8e-3), append(nc, cross+5e-3)
		if rapid.Bool().Draw(t, "bounces") {
			no = append(no, cross+8.5e-3, cross+8.7e-3)
		}
	}
	d = d.output("OUT1", rate, plus(levels(low, changes...), jitter(noise, seed)))
	return d.contact("K1_NO", false, no...).contact("K1_NC", true, nc...)
}

// jitter is noise that depends on the instant alone.
func jitter(amplitude float64, seed uint64) func(float64) float64 {
	return func(t float64) float64 {
		x := uint64(math.Round(t*1e6))*0x9E3779B97F4A7C15 ^ seed
		x ^= x >> 31
		x *= 0xD6E8FEB86659FD93
		x ^= x >> 29
		return amplitude * (float64(x>>11)/(1<<53) - 0.5)
	}
}

func fullPlan() *analyze.Plan {
	p := relayPlan()
	p.Outputs[0].Limits = usual()
	return p
}

// mapped returns a copy of a drawing with its times and volts changed.
func (d drawing) mapped(at func(capture.Instant) capture.Instant, volts func(float64) float64) drawing {
	c := &capture.Capture{Start: at(d.Start), End: at(d.End)}
	for _, tr := range d.Traces {
		n := capture.NewTrace(tr.Signal, tr.Converter)
		for ts, vs := range tr.Blocks(math.MinInt64, math.MaxInt64) {
			for i := range ts {
				n.Append(at(capture.Instant(ts[i])), volts(float64(vs[i])))
			}
		}
		c.Traces = append(c.Traces, n)
	}
	for _, tk := range d.Tracks {
		n := *tk
		n.Edges = nil
		for _, e := range tk.Edges {
			n.Edges = append(n.Edges, capture.Edge{At: at(e.At), Closed: e.Closed})
		}
		c.Tracks = append(c.Tracks, &n)
	}
	for _, e := range d.Events {
		e.At = at(e.At)
		c.Events = append(c.Events, e)
	}
	return drawing{c}
}

func same(i capture.Instant) capture.Instant { return i }
func sameV(v float64) float64                { return v }

// alike compares two results row by row; change maps a value of the first to what the
// second must have, within tol.
func alike(t failing, a, b analyze.Result, change func(analyze.Measurement) float64, tol func(analyze.Quantity) float64) {
	t.Helper()
	if len(a.Measurements) != len(b.Measurements) {
		t.Fatalf("%d rows and %d rows", len(a.Measurements), len(b.Measurements))
	}
	for i, x := range a.Measurements {
		y := b.Measurements[i]
		if x.Event != y.Event || x.Signal != y.Signal || x.Quantity != y.Quantity {
			t.Fatalf("row %d: %s %s %s and %s %s %s", i, x.Event, x.Signal, x.Quantity, y.Event, y.Signal, y.Quantity)
		}
		want := change(x)
		if math.IsNaN(want) && math.IsNaN(y.Value) {
			continue
		}
		if !(math.Abs(y.Value-want) <= tol(x.Quantity)) {
			t.Fatalf("row %d, %s %s %s: %.9g, want %.9g", i, x.Event, x.Signal, x.Quantity, y.Value, want)
		}
	}
}

func valueOf(x analyze.Measurement) float64 { return x.Value }
func exactly(analyze.Quantity) float64      { return 0 }
func toWithin(tol float64) func(analyze.Quantity) float64 {
	return func(analyze.Quantity) float64 { return tol }
}

func verdicts(r analyze.Result) string {
	s := ""
	for _, x := range r.Measurements {
		s += fmt.Sprintf("%s %s %s %q\n", x.Event, x.Signal, x.Quantity, x.Verdict)
	}
	for _, y := range r.Symptoms {
		s += fmt.Sprintf("%s %s %s\n", y.Event, y.Signal, y.Kind)
	}
	return s
}

// All times are relative to events: when the capture began does not matter.
func TestProperties_TimeShift(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := cycleOf(t)
		shift := capture.Instant(rapid.Int64Range(-1e15, 1e18).Draw(t, "shift"))
		a, _ := diagnose.Examine(fullPlan(), d.Capture)
		b, err := diagnose.Examine(fullPlan(), d.mapped(func(i capture.Instant) capture.Instant { return i + shift }, sameV).Capture)
		if err != nil {
			t.Fatal(err)
		}
		alike(t, a, b, valueOf, toWithin(1e-12))
		if x, y := verdicts(a), verdicts(b); x != y {
			t.Fatalf("%s\nand\n%s", x, y)
		}
	})
}

// Twice the volts are twice the levels, and the same times. A power of two scales
// single precision exactly; the thresholds in volts (a least step, a least tolerance)
// scale by doubling all but the noise, which is small enough to stay below them.
func TestProperties_VoltsScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := cycleOf(t)
		d.Traces[0].NominalVolts = 12
		a, _ := diagnose.Examine(nil, d.Capture)
		e := d.mapped(same, func(v float64) float64 { return 2 * v })
		e.Traces[0].NominalVolts = 24
		b, _ := diagnose.Examine(nil, e.Capture)
		alike(t, a, b, func(x analyze.Measurement) float64 {
			if x.Quantity.Unit() == "V" {
				return 2 * x.Value
			}
			return x.Value
		}, toWithin(1e-9))
	})
}

// An offset shifts the levels by itself and changes nothing else, within what single
// precision of 24 bits leaves at 40 V.
func TestProperties_VoltsOffset(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := cycleOf(t)
		by := rapid.Float64Range(-0.4, 0.4).Draw(t, "offset")
		a, _ := diagnose.Examine(nil, d.Capture)
		b, _ := diagnose.Examine(nil, d.mapped(same, func(v float64) float64 { return v + by }).Capture)
		alike(t, a, b, func(x analyze.Measurement) float64 {
			if x.Quantity == analyze.LowLevel || x.Quantity == analyze.HighLevel {
				return x.Value + by
			}
			return x.Value
		}, func(q analyze.Quantity) float64 {
			if q.Unit() == "V" {
				return 1e-5
			}
			return 1e-7
		})
	})
}

// Where the blocks of a trace end does not matter: as many samples lie before the
// capture proper as it takes to shift them.
func TestProperties_Blocks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := cycleOf(t)
		lead := rapid.IntRange(1, 2*capture.BlockLen).Draw(t, "lead")
		shifted := d.mapped(same, sameV)
		tr := capture.NewTrace("OUT1", capture.Converter{})
		for i := range lead { // before Start, and so not measured
			tr.Append(capture.Instant(i-lead)*1e6, 5)
		}
		for ts, vs := range d.Traces[0].Blocks(math.MinInt64, math.MaxInt64) {
			for i := range ts {
				tr.Append(capture.Instant(ts[i]), float64(vs[i]))
			}
		}
		shifted.Traces[0] = tr
		a, _ := diagnose.Examine(fullPlan(), d.Capture)
		b, _ := diagnose.Examine(fullPlan(), shifted.Capture)
		// Sums are taken block by block, so their rounding may differ in the last digits.
		alike(t, a, b, valueOf, toWithin(1e-12))
		if x, y := verdicts(a), verdicts(b); x != y {
			t.Fatalf("%s\nand\n%s", x, y)
		}
	})
}

// A capture measured event by event, with what is done with discarded, gives what it
// gives as a whole.
func TestProperties_Streamed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := cycleOf(t)
		keep := time.Duration(rapid.IntRange(50, 400).Draw(t, "kept")) * time.Millisecond
		whole, _ := diagnose.Examine(fullPlan(), d.mapped(same, sameV).Capture)
		m, err := diagnose.NewExaminer(fullPlan(), d.Capture)
		if err != nil {
			t.Fatal(err)
		}
		events := append([]capture.Event(nil), d.Events...)
		var streamed analyze.Result
		m.Begin(d.Capture, events[0].At)
		for i, e := range events {
			d.Discard(e.At.Add(-keep))
			to := d.End + 1
			if i+1 < len(events) {
				to = events[i+1].At
			}
			m.State(d.Capture, e, to)
			r := m.Take()
			streamed.Measurements = append(streamed.Measurements, r.Measurements...)
			streamed.Symptoms = append(streamed.Symptoms, r.Symptoms...)
		}
		alike(t, whole, streamed, valueOf, exactly)
		if x, y := verdicts(whole), verdicts(streamed); x != y {
			t.Fatalf("%s\nand\n%s", x, y)
		}
	})
}

// garbage is a capture in which nothing makes sense.
func garbage(t *rapid.T) drawing {
	d := draw(0)
	at := func(what string) capture.Instant {
		return capture.Instant(rapid.Int64Range(-50, 3000).Draw(t, what)) * 1e6
	}
	d.Start, d.End = at("start"), at("end")
	for i := range rapid.IntRange(0, 3).Draw(t, "traces") {
		tr := capture.NewTrace(fmt.Sprintf("OUT%d", i+1), capture.Converter{
			Span:      time.Duration(rapid.SampledFrom([]int{0, 0, 1e3, 1e6, 1e9}).Draw(t, "span")),
			StepVolts: rapid.SampledFrom([]float64{0, 1e-3}).Draw(t, "step")})
		now := at("first")
		for range rapid.IntRange(0, 60).Draw(t, "samples") {
			now += capture.Instant(rapid.SampledFrom([]int{0, 1, 1e6, 1e6, 1e6, 5e8}).Draw(t, "pause"))
			tr.Append(now, rapid.SampledFrom([]float64{0, 0.1, 6, 12, 12.5, -12, math.NaN(), math.Inf(1), math.Inf(-1), 1e30}).Draw(t, "volts"))
		}
		d.Traces = append(d.Traces, tr)
	}
	for _, name := range []string{"K1_NO", "K1_NC"}[:rapid.IntRange(0, 2).Draw(t, "tracks")] {
		tk := &capture.Track{Signal: name, Known: rapid.Bool().Draw(t, "known"), Initial: rapid.Bool().Draw(t, "initial")}
		now := at("edge")
		for range rapid.IntRange(0, 8).Draw(t, "edges") {
			now += capture.Instant(rapid.SampledFrom([]int{0, 1e3, 1e6, 2e8}).Draw(t, "pause"))
			tk.Edges = append(tk.Edges, capture.Edge{At: now, Closed: rapid.Bool().Draw(t, "closed")})
		}
		for range rapid.IntRange(0, 2).Draw(t, "losses") {
			tk.Losses = append(tk.Losses, capture.Loss{Span: capture.Span{From: at("lost from"), To: at("lost to")}, Edges: 1, Sign: rapid.SampledFrom([]capture.Sign{capture.Gap, capture.Merge, capture.Level}).Draw(t, "sign")})
		}
		d.Tracks = append(d.Tracks, tk)
	}
	now := at("event")
	for range rapid.IntRange(0, 5).Draw(t, "events") {
		d.Events = append(d.Events, capture.Event{Name: rapid.SampledFrom([]string{"on", "off", "stay"}).Draw(t, "name"), At: now})
		now += capture.Instant(rapid.SampledFrom([]int{0, 1, 1e6, 3e8, 1e9}).Draw(t, "pause"))
	}
	return d
}

// Whatever the capture, measuring it ends in a result that is well formed.
func TestProperties_Garbage(t *testing.T) {
	demands := []analyze.Expectation{goHigh, goLow, unmoved, pulse1s, delayed, {}}
	rapid.Check(t, func(t *rapid.T) {
		d := garbage(t)
		plan := &analyze.Plan{OthersUnmoved: rapid.Bool().Draw(t, "others")}
		if len(d.Traces) > 0 && rapid.Bool().Draw(t, "planned") {
			plan.Outputs = []analyze.OutputPlan{{Signal: "OUT1", Relay: "K1", Limits: usual(), Expect: map[string]analyze.Expectation{
				"on": rapid.SampledFrom(demands).Draw(t, "on"), "off": rapid.SampledFrom(demands).Draw(t, "off")}}}
			if len(d.Tracks) == 2 {
				plan.Relays = relayPlan().Relays
			}
		}
		r, err := diagnose.Examine(plan, d.Capture)
		if err != nil {
			t.Fatal(err)
		}
		wellFormed(t, r)
		diagnose.Findings(plan, r.Symptoms, 1)
	})
}
