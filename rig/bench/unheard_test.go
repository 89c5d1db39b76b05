package bench_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sort"
	"testing"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
)

// stamp is a ready edge's, lost or not.
type stamp struct {
	at   capture.Instant
	lost bool
}

// losing is a set of lines, ready lines all of them, on the way from which edges get lost.
// Nobody is woken by one that does.
type losing struct {
	line.Set
	lose    func(line int) bool
	waiting []line.Edge
	stamps  [4][]stamp // of each line
}

func (l *losing) Wait(ctx context.Context, deadline capture.Instant) error {
	for {
		if err := l.Set.Wait(ctx, deadline); err != nil {
			return err
		}
		if err := l.sift(); err != nil || len(l.waiting) > 0 || l.Now() >= deadline {
			return err
		}
	}
}

func (l *losing) sift() error {
	edges, err := l.Set.Edges(nil)
	for _, e := range edges {
		lost := l.lose(e.Line)
		if l.stamps[e.Line] = append(l.stamps[e.Line], stamp{e.At, lost}); !lost {
			l.waiting = append(l.waiting, e)
		}
	}
	return err
}

func (l *losing) Edges(buf []line.Edge) ([]line.Edge, error) {
	err := l.sift()
	buf = append(buf, l.waiting...)
	l.waiting = l.waiting[:0]
	return buf, err
}

// everyNth loses every n-th edge of each line.
func everyNth(n int) func(int) bool {
	seen := map[int]int{}
	return func(line int) bool {
		seen[line]++
		return seen[line]%n == 0
	}
}

// atRandom loses a share of the edges.
func atRandom(share float64) func(int) bool {
	r := rand.New(rand.NewPCG(5, 6))
	return func(int) bool { return r.Float64() < share }
}

// withLosses records 3 s from a simulated bench on which ready edges get lost, after half a
// second in which the bench has come to know its converters.
func withLosses(t *testing.T, rig *wiring.Rig, lose func(int) bool) (*losing, *capture.Capture, capture.Counts) {
	t.Helper()
	w, set := worldOf(t, rig, sim.Opts{Seed: 11, Relays: []sim.Relay{}})
	l := &losing{Set: set, lose: lose}
	b, err := bench.Open(rig, w.Bus(), l, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	var c *capture.Capture
	var before capture.Counts
	for _, d := range []time.Duration{500 * time.Millisecond, 3 * time.Second} {
		before = b.Counts()
		if c, err = b.NewCapture(); err != nil {
			t.Fatal(err)
		}
		if err := b.Record(context.Background(), c, c.Start.Add(d)); err != nil {
			t.Fatal(err)
		}
	}
	return l, c, b.Counts().Sub(before)
}

// lossesOf counts what a recording's samples are: how many, the longest time between two of
// one output, and how far the stamps of those whose edge was lost lie from where it would have
// come, in their standard uncertainties, as the root of the mean square.
func lossesOf(l *losing, c *capture.Capture, perChip int) (samples int, gap time.Duration, off float64) {
	n, sum := 0, 0.0
	for i, tr := range c.Traces {
		last := capture.Instant(0)
		for times := range tr.Blocks(0, math.MaxInt64) {
			for _, at := range times {
				if last > 0 {
					gap = max(gap, capture.Instant(at).Sub(last))
				}
				samples, last = samples+1, capture.Instant(at)
				if d, lost := nearest(l.stamps[i/perChip], last); lost {
					n, sum = n+1, sum+math.Pow(float64(d)/float64(tr.Converter.Stamp), 2)
				}
			}
		}
	}
	return samples, gap, math.Sqrt(sum / float64(max(1, n)))
}

// nearest returns how far the stamp is that is next to an instant, and whether its edge was
// lost. The stamps rise.
func nearest(stamps []stamp, at capture.Instant) (d time.Duration, lost bool) {
	i := sort.Search(len(stamps), func(i int) bool { return stamps[i].at >= at })
	d = math.MaxInt64
	for _, s := range stamps[max(0, i-1):min(len(stamps), i+1)] {
		if far := s.at.Sub(at).Abs(); far < d {
			d, lost = far, s.lost
		}
	}
	return d, lost
}

// lostIn is how many edges were lost in a recording.
func (l *losing) lostIn(c *capture.Capture) (n int) {
	for _, stamps := range l.stamps {
		for _, s := range stamps {
			if s.lost && s.at >= c.Start && s.at < c.End {
				n++
			}
		}
	}
	return n
}

// Whatever share of the ready edges gets lost, nearly all samples are there, none far from the
// next, and what was lost is counted, no more and no less. A stamp without an edge is as good
// as the converter's stamps are said to be.
func TestUnheard_Losses(t *testing.T) {
	for _, c := range []struct {
		name string
		lose func() func(int) bool
	}{
		{"every 2nd", func() func(int) bool { return everyNth(2) }},
		{"every 3rd", func() func(int) bool { return everyNth(3) }},
		{"every 7th", func() func(int) bool { return everyNth(7) }},
		{"every 50th", func() func(int) bool { return everyNth(50) }},
		{"one in 3 at random", func() func(int) bool { return atRandom(1.0 / 3) }},
		{"one in 20 at random", func() func(int) bool { return atRandom(0.05) }},
	} {
		for _, rig := range lossRigs() {
			t.Run(c.name+", "+rig.Name, func(t *testing.T) {
				perChip := len(rig.Outputs) / len(rig.Chips)
				if rig.Chips[0].Mode == wiring.Follow {
					perChip = 1
				}
				whole, healthy, none := withLosses(t, rig, func(int) bool { return false })
				want, usual, _ := lossesOf(whole, healthy, perChip)
				if none != (capture.Counts{}) {
					t.Fatalf("nothing lost: %+v", none)
				}
				l, got, counts := withLosses(t, rig, c.lose())
				samples, gap, off := lossesOf(l, got, perChip)
				// Two of the fast converters followed leave the bus no time to compare the
				// configuration where several edges in a row get lost.
				followed := rig.Chips[0].Mode == wiring.Follow
				crowded := followed && rig.Chips[0].Model == ads1x15.ADS1015 && c.name == "one in 3 at random"
				most := 2 * usual
				if crowded {
					want, most = want*98/100, 10*usual
				}
				if least := leastOf(rig, want, l.lostIn(got)); samples < least || gap > most {
					t.Errorf("%d samples of %d, want %d at least; gap %v, want %v at most", samples, want, least, gap, most)
				}
				// Where the recording begins and ends, one of each converter is in doubt.
				if d := int(counts.LostReadyEdges) - l.lostIn(got); d < -len(rig.Chips) || d > len(rig.Chips) {
					t.Errorf("%d ready edges counted as lost, want %d", counts.LostReadyEdges, l.lostIn(got))
				}
				counts.LostReadyEdges = 0
				if crowded {
					counts.MissedConversions = 0
				}
				if counts != (capture.Counts{}) {
					t.Errorf("also counted: %+v", counts)
				}
				if off > 1 {
					t.Errorf("stamps without an edge are off by %.2f of their standard uncertainty", off)
				}
			})
		}
	}
}

// leastOf is how many samples there must be where some edges were lost. A look takes a
// sixth of an ADS1115's conversion and most of an ADS1015's, and the bus from other chips; a
// followed one goes on meanwhile.
func leastOf(rig *wiring.Rig, want, lost int) int {
	share := 0.22
	switch {
	case rig.Chips[0].Mode == wiring.Follow:
		share = 0
	case rig.Chips[0].Model == ads1x15.ADS1015:
		share = 0.85
	}
	return want - len(rig.Outputs) - int(share*float64(lost))
}

// tardy is a set of lines, ready lines all of them, of which some edges reach the program
// later than they are stamped.
type tardy struct {
	line.Set
	n, by   int // every n-th edge, by so many microseconds
	seen    int
	waiting []line.Edge // by when they can be had
	due     []capture.Instant
}

func (l *tardy) Wait(ctx context.Context, deadline capture.Instant) error {
	for {
		l.sift()
		until := deadline
		if len(l.due) > 0 {
			until = min(until, l.due[0])
		}
		if l.Now() >= until {
			return ctx.Err()
		}
		if err := l.Set.Wait(ctx, until); err != nil {
			return err
		}
	}
}

func (l *tardy) sift() {
	edges, _ := l.Set.Edges(nil)
	for _, e := range edges {
		due := e.At
		if l.seen++; l.seen%l.n == 0 {
			due = due.Add(time.Duration(l.by) * time.Microsecond)
		}
		i := sort.Search(len(l.due), func(i int) bool { return l.due[i] > due })
		l.due, l.waiting = slices.Insert(l.due, i, due), slices.Insert(l.waiting, i, e)
	}
}

func (l *tardy) Edges(buf []line.Edge) ([]line.Edge, error) {
	l.sift()
	n := 0
	for n < len(l.due) && l.due[n] <= l.Now() {
		n++
	}
	buf = append(buf, l.waiting[:n]...)
	l.due, l.waiting = slices.Delete(l.due, 0, n), slices.Delete(l.waiting, 0, n)
	return buf, nil
}

// An edge that reaches the program late is nothing that was lost or doubled, and no conversion
// is missed for it.
func TestUnheard_Late(t *testing.T) {
	for _, mode := range []wiring.Mode{wiring.Sweep, wiring.Follow} {
		all := 0
		for _, by := range []int{50, 100, 150, 400, 800} {
			rig := fullRig(2, 400_000, ads1x15.ADS1115, mode, true)
			w, set := worldOf(t, rig, sim.Opts{Seed: 11, Relays: []sim.Relay{}})
			b, err := bench.Open(rig, w.Bus(), &tardy{Set: set, n: 7, by: by}, bench.Opts{})
			if err != nil {
				t.Fatal(err)
			}
			c, err := b.NewCapture()
			if err != nil {
				t.Fatal(err)
			}
			if err := b.Record(context.Background(), c, c.Start.Add(2*time.Second)); err != nil {
				t.Fatal(err)
			}
			samples := 0
			for _, tr := range c.Traces {
				samples += tr.Len()
			}
			n := b.Counts()
			b.Close()
			if by == 50 {
				all = samples // they come before anybody looks
			}
			if lost := n.LostReadyEdges; lost > 2 { // one of each chip may come after the end
				t.Errorf("%s, %d µs late: %d ready edges counted as lost", mode, by, lost)
			}
			n.LostReadyEdges = 0
			if n != (capture.Counts{}) || samples < all*98/100 || samples > all {
				t.Errorf("%s, %d µs late: %d samples of %d, %+v", mode, by, samples, all, n)
			}
		}
	}
}

// lossRigs are rigs of two and of four converters that sweep or are followed.
func lossRigs() (all []*wiring.Rig) {
	for _, chips := range []int{2, 4} {
		for _, model := range []ads1x15.Model{ads1x15.ADS1115, ads1x15.ADS1015} {
			for _, mode := range []wiring.Mode{wiring.Sweep, wiring.Follow} {
				if model == ads1x15.ADS1015 && mode == wiring.Follow && chips == 4 {
					continue // more than the bus can carry
				}
				rig := fullRig(chips, 400_000, model, mode, true)
				rig.Name = fmt.Sprintf("%d of %s, %s", chips, model, mode)
				all = append(all, rig)
			}
		}
	}
	return all
}
