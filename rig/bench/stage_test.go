package bench_test

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// openStaged is a bench on the simulated relay with two supplies and a drive that
// switches between them, which may be on for 5 s.
func openStaged(t *testing.T, latency *wiring.Latency) (*bench.Bench, *sim.World, *capture.Capture) {
	t.Helper()
	rig := rigfile.Builtin()[1]
	rig.Drives = append(rig.Drives, wiring.Drive{Line: line.Line{Name: "STAGE", Chip: "gpiochip0", Number: 6}, LongestOn: 5 * time.Second})
	rig.Supply = wiring.TwoStages("STAGE", 13.8, 10.5)
	rig.Latency = latency
	b, w := openOn(t, rig, sim.Opts{Seed: 5})
	return b, w, newCapture(t, b)
}

// settled is where the supply is on the way to, by what the rig file says of it.
func settled(w *sim.World) float64 {
	s := w.Truth().Supply
	return math.Round(10*(s.Settled-s.OffsetVolts)/(1+s.GainError)) / 10
}

// The drive switches the supply, and the event's instant is the drive's with what is
// known of its latency: by hand, 4 µs of a driven line's call halved and over √3, and
// 10 µs or what was measured.
func TestMoveSupply_Stage(t *testing.T) {
	for _, latency := range []*wiring.Latency{nil, {Mean: 35 * time.Microsecond, Standard: 3 * time.Microsecond}} {
		b, w, c := openStaged(t, latency)
		late, doubt := 20*time.Microsecond, 10*time.Microsecond
		if latency != nil {
			late, doubt = latency.Mean, latency.Standard
		}
		if got := settled(w); got != 13.8 {
			t.Errorf("after Open: %g V", got)
		}
		var events []capture.Event
		for _, volts := range []float64{10.5, 13.8} {
			e, err := b.MoveSupply(context.Background(), c, "supply", bench.Move{To: volts})
			if err != nil {
				t.Fatal(err)
			}
			events = append(events, e)
			if got := settled(w); got != volts {
				t.Errorf("%g V: the supply goes to %g V", volts, got)
			}
			edges := c.Track("STAGE").Edges
			last := edges[len(edges)-1]
			if want := time.Duration(2000/math.Sqrt(3)) + doubt; e.Name != "supply" || e.Timed != "supply" || e.At != last.At.Add(late) || e.Uncertainty != want {
				t.Errorf("event %+v, want it %v after %v, ± %v", e, late, last.At, want)
			}
			if last.Closed != (volts == 10.5) || len(edges) != len(events) || len(c.Events) != len(events) || c.Events[len(events)-1] != e {
				t.Errorf("edges %+v, events %+v", edges, c.Events)
			}
			if err := b.Record(context.Background(), c, e.At.Add(time.Second)); err != nil {
				t.Fatal(err)
			}
		}
		if n := b.Counts(); n != (capture.Counts{}) {
			t.Errorf("counts %+v", n)
		}
	}
}

// Release, from wherever, and Close let the drive go as any other.
func TestSupply_StageReleased(t *testing.T) {
	b, w, c := openStaged(t, nil)
	for _, release := range []func() error{b.Release, b.Close} {
		e, err := b.MoveSupply(context.Background(), c, "low", bench.Move{To: 10.5})
		if err != nil {
			t.Fatal(err)
		}
		if err := b.Record(context.Background(), c, e.At.Add(100*time.Millisecond)); err != nil {
			t.Fatal(err)
		}
		if err := release(); err != nil {
			t.Fatal(err)
		}
		_ = b.Record(context.Background(), c, b.Now().Add(time.Millisecond)) // the simulated lines obey with their next step
		if got := settled(w); got != 13.8 {
			t.Errorf("released, the supply goes to %g V", got)
		}
	}
}

// longest_on ends the run and lets the drive go, and being told again to be on does not
// begin it anew.
func TestMoveSupply_StageLongestOn(t *testing.T) {
	b, w, c := openStaged(t, nil)
	began := b.Now()
	var err error
	for n := 0; err == nil && n < 10; n++ {
		if _, err = b.MoveSupply(context.Background(), c, "low", bench.Move{To: 10.5}); err == nil {
			err = b.Record(context.Background(), c, b.Now().Add(2*time.Second))
		}
	}
	if !errors.Is(err, bench.ErrTooLong) || !strings.Contains(err.Error(), "drive STAGE") {
		t.Errorf("got %v", err)
	}
	if was := b.Now().Sub(began); was < 5*time.Second || was > 5*time.Second+10*time.Millisecond {
		t.Errorf("the drive was on for %v, 5 s are the most", was)
	}
	if got := settled(w); got != 13.8 {
		t.Errorf("released, the supply goes to %g V", got)
	}
}

// Going back in time ends the guard: off and on again counts from zero.
func TestMoveSupply_StageCountsAnew(t *testing.T) {
	b, _, c := openStaged(t, nil)
	for range 3 {
		for _, volts := range []float64{10.5, 13.8} {
			e, err := b.MoveSupply(context.Background(), c, "move", bench.Move{To: volts})
			if err != nil {
				t.Fatal(err)
			}
			if err := b.Record(context.Background(), c, e.At.Add(4*time.Second)); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// What the two supplies do not have is refused, and nothing is switched.
func TestMoveSupply_StageRefuses(t *testing.T) {
	b, w, c := openStaged(t, nil)
	for _, m := range []bench.Move{
		{To: 12}, {To: 0}, {To: math.NaN()}, {To: 10.499},
		{From: 13.8, To: 10.5, Over: time.Second}, {From: 13.8, To: 10.5, Over: -1},
	} {
		_, err := b.MoveSupply(context.Background(), c, "x", m)
		if !errors.Is(err, bench.ErrSetup) || !strings.Contains(err.Error(), "event x: the supply of rig relay has two voltages only, 13.8 V or 10.5 V") {
			t.Errorf("%+v: %v", m, err)
		}
	}
	if len(c.Events) != 0 || len(c.Track("STAGE").Edges) != 0 || settled(w) != 13.8 {
		t.Errorf("events %+v, edges %+v, %g V", c.Events, c.Track("STAGE").Edges, settled(w))
	}
}
