package measure_test

import (
	"math"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
)

// losing notes edges lost of a line between two times, in seconds.
func (d drawing) losing(signal string, from, to float64, sign capture.Sign) drawing {
	t := d.Track(signal)
	t.Losses = append(t.Losses, capture.Loss{Span: capture.Span{From: capture.FromSeconds(from), To: capture.FromSeconds(to)}, Edges: 1, Sign: sign})
	return d
}

// Each figure that rests on a line's edges, with edges of it lost: in the state, before the
// first edge, between edges and after the last, in another state, and of another line. The
// output is up from 1.05 to 3.05 s; a bound has the uncertainty of 0.78 ms of its crossing in
// it. A figure that lost edges may have touched never passes
// what the lost ones could have broken; all others are as they are with complete edges.
func TestRelay_LostEdges(t *testing.T) {
	nan := math.NaN()
	const none, upper, lower = analyze.NoBound, analyze.UpperBound, analyze.LowerBound
	type want struct {
		event, signal string
		q             analyze.Quantity
		value         float64
		bound         analyze.Bound
		verdict       analyze.Verdict
	}
	// make and break contact, with 1 ms of bounce where each closes.
	usual := []want{
		{"on", "K1", analyze.OperateTime, 6.5e-3, none, analyze.Pass}, {"on", "K1", analyze.TransferTime, 2e-3, none, analyze.Pass},
		{"on", "K1_NO", analyze.BounceTime, 1e-3, none, analyze.Pass}, {"on", "K1_NO", analyze.BounceCount, 1, none, analyze.Pass},
		{"off", "K1", analyze.ReleaseTime, 5.5e-3, none, analyze.Pass}, {"off", "K1", analyze.TransferTime, 2e-3, none, analyze.Pass},
		{"off", "K1_NC", analyze.BounceTime, 1e-3, none, analyze.Pass}, {"off", "K1_NC", analyze.BounceCount, 1, none, analyze.Pass},
	}
	pair := func(d drawing) drawing {
		return d.contact("K1_NO", false, 1.056, 1.0565, 1.057, 3.053).contact("K1_NC", true, 1.054, 3.055, 3.0555, 3.056)
	}
	for _, c := range []struct {
		name string
		draw func(d drawing) drawing
		want []want // beside the usual ones
	}{
		{"none", pair, nil},
		{"dropped between edges of the bounce", func(d drawing) drawing { return pair(d).losing("K1_NO", 1.0565, 1.057, capture.Gap) }, []want{
			{"on", "K1_NO", analyze.BounceTime, 1e-3, lower, analyze.Undecided}, {"on", "K1_NO", analyze.BounceCount, 1, lower, analyze.Undecided}}},
		{"dropped before the first closing", func(d drawing) drawing { return pair(d).losing("K1_NO", 0, 1.056, capture.Gap) }, []want{
			{"on", "K1", analyze.OperateTime, 7.28e-3, upper, analyze.Pass}, {"on", "K1", analyze.TransferTime, 2e-3, upper, analyze.Undecided},
			{"on", "K1_NO", analyze.BounceTime, 1e-3, lower, analyze.Undecided}, {"on", "K1_NO", analyze.BounceCount, 1, lower, analyze.Undecided}}},
		{"merged with an edge of the bounce, and so perhaps with the first", func(d drawing) drawing { return pair(d).losing("K1_NO", 1.0565, 1.057, capture.Merge) }, []want{
			{"on", "K1", analyze.OperateTime, 7.28e-3, upper, analyze.Pass}, {"on", "K1", analyze.TransferTime, 2e-3, upper, analyze.Undecided},
			{"on", "K1_NO", analyze.BounceTime, 1e-3, lower, analyze.Undecided}, {"on", "K1_NO", analyze.BounceCount, 1, lower, analyze.Undecided}}},
		{"dropped after the bounce, some time before the next event's edge", func(d drawing) drawing { return pair(d).losing("K1_NO", 1.057, 3.053, capture.Gap) }, []want{
			{"on", "K1_NO", analyze.BounceTime, 1e-3, lower, analyze.Undecided}, {"on", "K1_NO", analyze.BounceCount, 1, lower, analyze.Undecided},
			{"off", "K1_NO", analyze.BounceTime, 0, lower, analyze.Undecided}, {"off", "K1_NO", analyze.BounceCount, 0, lower, analyze.Undecided}}},
		{"merged with the next event's edge", func(d drawing) drawing { return pair(d).losing("K1_NO", 1.057, 3.053, capture.Merge) }, []want{
			{"off", "K1", analyze.TransferTime, 2e-3, upper, analyze.Undecided},
			{"off", "K1_NO", analyze.BounceTime, 0, lower, analyze.Undecided}, {"off", "K1_NO", analyze.BounceCount, 0, lower, analyze.Undecided}}},
		{"dropped after the break contact's opening", func(d drawing) drawing { return pair(d).losing("K1_NC", 1.054, 3.055, capture.Gap) }, []want{
			{"on", "K1", analyze.TransferTime, 2e-3, upper, analyze.Undecided},
			{"on", "K1_NC", analyze.BounceTime, 0, lower, analyze.Undecided}, {"on", "K1_NC", analyze.BounceCount, 0, lower, analyze.Undecided},
			{"off", "K1", analyze.ReleaseTime, 6.28e-3, upper, analyze.Pass}, {"off", "K1", analyze.TransferTime, 2e-3, upper, analyze.Undecided},
			{"off", "K1_NC", analyze.BounceTime, 1e-3, lower, analyze.Undecided}, {"off", "K1_NC", analyze.BounceCount, 1, lower, analyze.Undecided}}},
		{"in doubt all the time, as other lines' edges were lost", func(d drawing) drawing { return pair(d).losing("K1_NO", 0, 5, capture.Neighbour) }, []want{
			{"on", "K1", analyze.OperateTime, 7.28e-3, upper, analyze.Pass}, {"on", "K1", analyze.TransferTime, 2e-3, upper, analyze.Undecided},
			{"on", "K1_NO", analyze.BounceTime, 1e-3, lower, analyze.Undecided}, {"on", "K1_NO", analyze.BounceCount, 1, lower, analyze.Undecided},
			{"off", "K1", analyze.TransferTime, 2e-3, upper, analyze.Undecided},
			{"off", "K1_NO", analyze.BounceTime, 0, lower, analyze.Undecided}, {"off", "K1_NO", analyze.BounceCount, 0, lower, analyze.Undecided}}},
		{"before the first event", func(d drawing) drawing { return pair(d).losing("K1_NO", 0.1, 0.2, capture.Gap) }, nil},
		{"too much bounce is seen all the same", func(d drawing) drawing {
			return d.contact("K1_NO", false, 1.056, 1.0565, 1.062, 3.053).contact("K1_NC", true, 1.054, 3.055, 3.0555, 3.056).losing("K1_NO", 1.0565, 1.062, capture.Gap)
		}, []want{{"on", "K1_NO", analyze.BounceTime, 6e-3, lower, analyze.Fail}, {"on", "K1_NO", analyze.BounceCount, 1, lower, analyze.Undecided}}},
		{"too late is not known where the first closing may be lost", func(d drawing) drawing {
			return d.contact("K1_NO", false, 1.076, 1.0765, 1.077, 3.053).contact("K1_NC", true, 1.054, 3.055, 3.0555, 3.056).losing("K1_NO", 0, 1.076, capture.Gap)
		}, []want{{"on", "K1", analyze.OperateTime, 27.3e-3, upper, analyze.Undecided}, {"on", "K1", analyze.TransferTime, 22e-3, upper, analyze.Undecided},
			{"on", "K1_NO", analyze.BounceTime, 1e-3, lower, analyze.Undecided}, {"on", "K1_NO", analyze.BounceCount, 1, lower, analyze.Undecided}}},
		{"both closed at once is known", func(d drawing) drawing {
			return d.contact("K1_NO", false, 1.0535, 1.0565, 1.057, 3.053).contact("K1_NC", true, 1.054, 3.055, 3.0555, 3.056).losing("K1_NO", 0, 1.0535, capture.Gap)
		}, []want{{"on", "K1", analyze.OperateTime, 4.78e-3, upper, analyze.Pass}, {"on", "K1", analyze.TransferTime, -0.5e-3, upper, analyze.Fail},
			{"on", "K1_NO", analyze.BounceTime, 3.5e-3, lower, analyze.Undecided}, {"on", "K1_NO", analyze.BounceCount, 1, lower, analyze.Undecided}}},
		{"a contact that seems to have stood still", func(d drawing) drawing {
			return d.contact("K1_NO", false).contact("K1_NC", true, 1.054, 3.055, 3.0555, 3.056).losing("K1_NO", 0, 3.2, capture.Gap)
		}, []want{{"on", "K1", analyze.OperateTime, nan, none, analyze.Undecided}, {"on", "K1", analyze.TransferTime, nan, none, analyze.Undecided},
			{"on", "K1_NO", analyze.BounceTime, nan, none, ""}, {"on", "K1_NO", analyze.BounceCount, nan, none, ""},
			{"off", "K1", analyze.TransferTime, nan, none, analyze.Undecided}}},
		{"a contact that seems closed already", func(d drawing) drawing {
			return d.contact("K1_NO", true, 1.0565, 1.057, 3.053).contact("K1_NC", true, 1.054, 3.055, 3.0555, 3.056).losing("K1_NO", 0, 1.0565, capture.Gap)
		}, []want{{"on", "K1", analyze.OperateTime, nan, none, analyze.Undecided}, {"on", "K1", analyze.TransferTime, nan, none, analyze.Undecided},
			{"on", "K1_NO", analyze.BounceTime, 0.5e-3, lower, analyze.Undecided}, {"on", "K1_NO", analyze.BounceCount, 0, lower, analyze.Undecided}}},
		{"a contact that opens again after it had come to rest", func(d drawing) drawing {
			return d.contact("K1_NO", false, 1.056, 1.0565, 1.057, 1.3, 1.5, 3.053).contact("K1_NC", true, 1.054, 3.055, 3.0555, 3.056)
		}, []want{{"on", "K1_NO", analyze.BounceTime, 1e-3, lower, analyze.Undecided}, {"on", "K1_NO", analyze.BounceCount, 1, lower, analyze.Undecided}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			plan := relayPlan()
			plan.Relays[0].Limits[analyze.BounceCount] = atMost(5)
			d := c.draw(draw(5).output("OUT1", 1e3, levels(0, 1.05, 12, 3.05, 0))).event("on", 1).event("off", 3)
			r, _ := measured(t, plan, d)
			all := map[[3]string]want{}
			for _, w := range append(append([]want(nil), usual...), c.want...) {
				all[[3]string{w.event, w.signal, string(w.q)}] = w
			}
			for _, w := range all {
				rows := rowsOf(r, w.event, w.signal, w.q)
				if math.IsNaN(w.value) && w.verdict == "" {
					if len(rows) > 0 {
						t.Errorf("%s %s %s: %g, want none", w.event, w.signal, w.q, rows[0].Value)
					}
					continue
				}
				figure{w.event, w.signal, w.q, w.value, 1e-6, w.verdict}.check(t, r)
				if len(rows) == 1 && (rows[0].Bound() != w.bound || w.bound != none && !math.IsNaN(rows[0].Expanded)) {
					t.Errorf("%s %s %s: bound %q ± %g, want %q", w.event, w.signal, w.q, rows[0].Bound(), rows[0].Expanded, w.bound)
				}
			}
			for _, x := range r.Measurements {
				if _, known := all[[3]string{x.Event, x.Signal, string(x.Quantity)}]; !known && x.Bound() == lower {
					t.Errorf("%s %s %s: a lower bound, %s", x.Event, x.Signal, x.Quantity, diagnose.Reason(&x))
				}
			}
		})
	}
}

// A ramp's voltage with edges lost before the one that shows it: the relay may have changed
// over at less on the way up, at more on the way down.
func TestSupply_RampLostEdges(t *testing.T) {
	for _, c := range []struct {
		name    string
		lose    func(d drawing) drawing
		event   string
		q       analyze.Quantity
		bound   analyze.Bound
		verdict analyze.Verdict
	}{
		{"in time on the way up", func(d drawing) drawing { return d.losing("K1_NO", 0, 7.806, capture.Gap) }, "rise", analyze.PullInVoltage, analyze.UpperBound, analyze.Pass},
		{"in time on the way down", func(d drawing) drawing { return d.losing("K1_NC", 7.803, 27.404, capture.Gap) }, "fall", analyze.DropOutVoltage, analyze.LowerBound, analyze.Pass},
		{"afterwards", func(d drawing) drawing { return d.losing("K1_NO", 7.806, 27.401, capture.Gap) }, "rise", analyze.PullInVoltage, analyze.NoBound, analyze.Pass},
	} {
		d := c.lose(draw(31).output("OUT1", 860, ramp).event("rise", 1).event("fall", 15.8).contact("K1_NO", false, 7.806, 27.401).contact("K1_NC", true, 7.803, 27.404))
		r, _ := measured(t, rampPlan(), d)
		if x := rowsOf(r, c.event, "K1", c.q); len(x) != 1 || x[0].Bound() != c.bound || x[0].Verdict != c.verdict {
			t.Errorf("%s: %+v, want bound %q, %s", c.name, x, c.bound, c.verdict)
		}
	}
	// Too high, and still, are not known then.
	d := draw(31).output("OUT1", 860, ramp).event("rise", 1).contact("K1_NO", false, 10.806).contact("K1_NC", true, 10.803).losing("K1_NO", 0, 10.806, capture.Gap)
	r, _ := measured(t, rampPlan(), d)
	if x := rowsOf(r, "rise", "K1", analyze.PullInVoltage); len(x) != 1 || x[0].Bound() != analyze.UpperBound || x[0].Verdict != analyze.Undecided {
		t.Errorf("too high: %+v", x)
	}
	d = draw(31).output("OUT1", 860, ramp).event("rise", 1).contact("K1_NO", false).contact("K1_NC", true).losing("K1_NO", 0, 31, capture.Gap)
	r, _ = measured(t, rampPlan(), d)
	if x := rowsOf(r, "rise", "K1", analyze.PullInVoltage); len(x) != 1 || !math.IsNaN(x[0].Value) || x[0].Verdict != analyze.Undecided {
		t.Errorf("never: %+v", x)
	}
}

// Where the kernel's handler is known to have been late, edges that came closer together may
// be hidden without a sign. So every time by edges of that capture is uncertain by that, and a
// count is a lower bound. Up to twice the uncertainty of a stamp it is in the stamps already.
func TestRelay_LateHandler(t *testing.T) {
	for _, c := range []struct {
		late    time.Duration
		bounce  analyze.Verdict // of 4.4 ms, at most 5 ms
		counted analyze.Bound
	}{
		{0, analyze.Pass, analyze.NoBound},
		{20 * time.Microsecond, analyze.Pass, analyze.NoBound},
		{500 * time.Microsecond, analyze.Pass, analyze.LowerBound},
		{800 * time.Microsecond, analyze.Undecided, analyze.LowerBound},
	} {
		plan := relayPlan()
		plan.Relays[0].Limits[analyze.BounceCount] = atMost(5)
		d := draw(2).output("OUT1", 100e3, levels(0, 0.5, 12)).contact("K1_NO", false, 0.506, 0.507, 0.5104).contact("K1_NC", true, 0.503).event("on", 0.5)
		d.Tracks[0].Stamp, d.Tracks[1].Stamp = 10*time.Microsecond, 10*time.Microsecond
		d.Tracks[1].Late = c.late // of the other contact: one processor takes both in
		r, _ := measured(t, plan, d)
		x, n := rowsOf(r, "on", "K1_NO", analyze.BounceTime)[0], rowsOf(r, "on", "K1_NO", analyze.BounceCount)[0]
		least := 28e-6 // two stamps
		if c.late > 20*time.Microsecond {
			least = 0.95 * c.late.Seconds()
		}
		if x.Verdict != c.bounce || x.Bound() != analyze.NoBound || !(x.Expanded > 0.95*least && x.Expanded < 1.1*least) {
			t.Errorf("%v: bounce time %g ± %g %s, want %s and ± %g", c.late, x.Value, x.Expanded, x.Verdict, c.bounce, least)
		}
		if n.Bound() != c.counted || (n.Verdict == analyze.Pass) != (c.counted == analyze.NoBound) {
			t.Errorf("%v: bounce count %s%g %s", c.late, n.Bound().Sign(), n.Value, n.Verdict)
		}
		for _, q := range []analyze.Quantity{analyze.OperateTime, analyze.TransferTime} {
			if y := rowsOf(r, "on", "K1", q)[0]; !(y.Expanded >= 0.7*least && y.Expanded < 1.2*least+30e-6) {
				t.Errorf("%v: %s ± %g, want ± %g", c.late, q, y.Expanded, least)
			}
		}
	}
}
