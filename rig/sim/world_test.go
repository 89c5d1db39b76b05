package sim

import (
	"context"
	"testing"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/wiring"
)

// station runs a world as the bench does: it follows one channel a chip, keeps
// the samples at the terminal and the edges.
type station struct {
	t       testing.TB
	rig     *wiring.Rig
	w       *World
	set     line.Set
	devs    []*ads1x15.Dev
	out     []string // the output that each chip follows
	samples map[string][]sample
	edges   []line.Edge
	events  []TruthEvent
	readErr error
	missed  int
}

type sample struct {
	at    capture.Instant
	volts float64
}

// newStation follows OUT1, OUT2 and OUT3 of panelRig.
func newStation(t testing.TB, opts Opts) *station {
	t.Helper()
	s := &station{t: t, rig: panelRig(), samples: map[string][]sample{}}
	if opts.Programme == nil {
		opts.Programme = armedHigh
	}
	if opts.Relays == nil {
		opts.Relays = onOUT3()
	}
	opts.OnTruth = func(e TruthEvent) { s.events = append(s.events, e) }
	var err error
	if s.w, err = NewWorld(s.rig, opts); err != nil {
		t.Fatal(err)
	}
	if s.set, err = s.w.Lines(testLines(s.rig)); err != nil {
		t.Fatal(err)
	}
	for i, c := range s.rig.Chips {
		d, err := ads1x15.New(s.w.Bus(), c.Address, &ads1x15.Opts{Model: c.Model, Range: c.Range, Rate: c.Rate, Ready: true, Retries: 3})
		if err != nil {
			t.Fatal(err)
		}
		if err := d.Setup(); err != nil {
			t.Fatal(err)
		}
		if err := d.Follow(0); err != nil {
			t.Fatal(err)
		}
		s.devs = append(s.devs, d)
		s.out = append(s.out, s.rig.Outputs[i].Name)
	}
	return s
}

// run lets the time pass and reads what there is.
func (s *station) run(d time.Duration) {
	s.t.Helper()
	end := s.w.Now().Add(d)
	var buf []line.Edge
	for s.w.Now() < end {
		if err := s.set.Wait(context.Background(), end); err != nil {
			s.t.Fatal(err)
		}
		var err error
		if buf, err = s.set.Edges(buf[:0]); err != nil {
			s.t.Fatal(err)
		}
		for _, e := range buf {
			s.take(e)
		}
	}
}

func (s *station) take(e line.Edge) {
	s.t.Helper()
	if e.Line < lineReady {
		s.edges = append(s.edges, e)
		return
	}
	i := e.Line - lineReady
	code, err := s.devs[i].Read()
	if err != nil {
		s.readErr = err
		return
	}
	// Nominal divider of panelRig.
	v := s.devs[i].Volts(code) * 4.9
	s.samples[s.out[i]] = append(s.samples[s.out[i]], sample{e.At, v})
}

// pulse presses a drive for 300 ms and runs on for the rest of the hold.
func (s *station) pulse(index int, hold time.Duration) capture.Instant {
	s.t.Helper()
	at := s.drive(index, true)
	s.run(300 * time.Millisecond)
	s.drive(index, false)
	s.run(hold - 300*time.Millisecond)
	return at
}

func (s *station) drive(index int, active bool) capture.Instant {
	s.t.Helper()
	at, _, err := s.set.Drive(index, active)
	if err != nil {
		s.t.Fatal(err)
	}
	return at
}

// cycles arms and disarms.
func (s *station) cycles(n int) {
	s.t.Helper()
	for range n {
		s.pulse(lineAway, 1500*time.Millisecond)
		s.pulse(lineOff, 1500*time.Millisecond)
	}
}

// volts returns the mean of an output's samples between two instants.
func (s *station) volts(out string, from, to capture.Instant) float64 {
	s.t.Helper()
	var sum float64
	n := 0
	for _, x := range s.samples[out] {
		if x.at >= from && x.at < to {
			sum += x.volts
			n++
		}
	}
	if n == 0 {
		s.t.Fatalf("no samples of %s", out)
	}
	return sum / float64(n)
}

func TestWorld_Healthy(t *testing.T) {
	s := newStation(t, Opts{Seed: 7})
	s.run(time.Second)
	s.cycles(3)
	tr := s.w.Truth()
	for _, e := range tr.Events {
		t.Logf("%+v", e)
	}
	t.Logf("%+v %+v", tr.Outputs, tr.Relays)
	t.Log(len(s.samples["OUT3"]), len(s.edges))
}
