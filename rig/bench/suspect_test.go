package bench_test

import (
	"cmp"
	"context"
	"slices"
	"testing"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
)

// crowding is a set of lines of one GPIO chip that loses edges.
type crowding struct {
	line.Set
	lose   func(e line.Edge, since time.Duration) bool // since the edge before, of any line
	last   capture.Instant
	losses int
}

func (s *crowding) Edges(buf []line.Edge) ([]line.Edge, error) {
	edges, err := s.Set.Edges(nil)
	slices.SortStableFunc(edges, func(a, b line.Edge) int { return cmp.Compare(a.At, b.At) })
	for _, e := range edges {
		if s.lose(e, e.At.Sub(s.last)) {
			s.losses++
		} else {
			buf = append(buf, e)
		}
		s.last = e.At
	}
	return buf, err
}

// Where a GPIO chip loses edges because they come close together, its contacts are doubted,
// though they show no sign. Where as many get lost for another reason, by each converter for
// itself, or where the contacts are on another chip, they are not.
func TestSuspect(t *testing.T) {
	const enough = 40 // edges lost
	within := func(d time.Duration) func() func(line.Edge, time.Duration) bool {
		return func() func(line.Edge, time.Duration) bool {
			return func(_ line.Edge, since time.Duration) bool { return since < d }
		}
	}
	each := func(lose func(int) bool) func(line.Edge, time.Duration) bool {
		return func(e line.Edge, _ time.Duration) bool { return lose(e.Line) }
	}
	for _, c := range []struct {
		name     string
		lose     func() func(line.Edge, time.Duration) bool
		suspects bool
	}{
		{"none lost", within(0), false},
		{"close ones, 30 µs", within(30 * time.Microsecond), true},
		{"close ones, 80 µs", within(80 * time.Microsecond), true},
		{"close ones, 150 µs", within(150 * time.Microsecond), true},
		{"every 3rd", func() func(line.Edge, time.Duration) bool { return each(everyNth(3)) }, false},
		{"every 7th", func() func(line.Edge, time.Duration) bool { return each(everyNth(7)) }, false},
		{"one in 5 at random", func() func(line.Edge, time.Duration) bool { return each(atRandom(0.2)) }, false},
	} {
		for _, rig := range lossRigs() {
			t.Run(c.name+", "+rig.Name, func(t *testing.T) {
				for _, chip := range []string{"gpiochip0", "gpiochip1"} {
					suspected, losses := suspectedOn(t, rig, chip, c.lose())
					if rig.Chips[0].Mode == wiring.Sweep && c.suspects {
						continue // converters that take turns hardly meet, so few get lost
					}
					if losses < enough && c.suspects {
						t.Fatalf("%d edges lost, which shows nothing", losses)
					}
					if want := c.suspects && chip == "gpiochip0"; suspected != want {
						t.Errorf("%d edges lost, contact on %s: suspected %v, want %v", losses, chip, suspected, want)
					}
				}
			})
		}
	}
}

// suspectedOn records 3 s and returns whether a contact on the GPIO chip named is doubted
// then, and how many ready edges got lost.
func suspectedOn(t *testing.T, rig *wiring.Rig, chip string, lose func(line.Edge, time.Duration) bool) (bool, int) {
	t.Helper()
	with := *rig
	with.Contacts = []line.Line{{Name: "K1_NO", Chip: chip, Number: 99}}
	w, set := worldOf(t, &with, sim.Opts{Seed: 11, Relays: []sim.Relay{}})
	s := &crowding{Set: set, lose: lose}
	b, err := bench.Open(&with, w.Bus(), s, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	var c *capture.Capture
	for _, d := range []time.Duration{500 * time.Millisecond, 3 * time.Second} {
		if c, err = b.NewCapture(); err != nil {
			t.Fatal(err)
		}
		if err := b.Record(context.Background(), c, c.Start.Add(d)); err != nil {
			t.Fatal(err)
		}
	}
	losses := c.Track("K1_NO").Losses
	if len(losses) > 0 && losses[0].Span != (capture.Span{From: c.Start, To: c.End}) {
		t.Errorf("the doubt is of %v, want the whole recording", losses[0].Span)
	}
	return len(losses) > 0, s.losses
}
