package bench_test

import (
	"slices"
	"testing"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
)

// A glance holds samples and edges that the capture has, and there is one for each time that
// one is asked for.
func TestGlances_Real(t *testing.T) {
	var looks bench.Glances
	b, _, _ := open(t, nil, bench.Opts{Glances: []*bench.Glances{&looks}})
	c, err := b.NewCapture()
	if err != nil {
		t.Fatal(err)
	}
	record := func(d time.Duration) {
		t.Helper()
		if err := b.Record(t.Context(), c, b.Now().Add(d)); err != nil {
			t.Fatal(err)
		}
	}
	record(time.Second)
	if looks.Take() != nil {
		t.Fatal("a glance that nobody asked for")
	}
	if _, err := b.Cause(t.Context(), c, "arm-away"); err != nil {
		t.Fatal(err)
	}
	record(time.Second)
	looks.SetPlace(5)
	looks.Ask(&bench.Glance{})
	record(time.Second)
	g := looks.Take()
	if g == nil || looks.Take() != nil {
		t.Fatal("not one glance for one that was asked for")
	}
	if g.Place != 5 || g.Event.Name != "arm-away" || len(g.Outputs) != len(b.Sampled()) || len(g.Lines) != len(c.Tracks) {
		t.Errorf("%+v", g)
	}
	for i, o := range g.Outputs {
		found := false
		for at, v := range c.Traces[i].Blocks(o.At, o.At+1) {
			k := slices.Index(at, int64(o.At))
			found = found || k >= 0 && float64(v[k]) == o.Volts
		}
		if !o.Seen || !found {
			t.Errorf("%s: %v V at %v is no sample of the capture", c.Traces[i].Signal, o.Volts, o.At)
		}
	}
	moved := 0
	for i, l := range g.Lines {
		closed, known := c.Tracks[i].StateAt(g.At)
		if l.Closed != closed || l.Known != known {
			t.Errorf("%s: %+v", c.Tracks[i].Signal, l)
		}
		if slices.ContainsFunc(c.Tracks[i].Edges, func(e capture.Edge) bool { return e.At == l.Since }) {
			moved++
		}
	}
	if moved == 0 {
		t.Error("no line has moved")
	}
}

// While nobody asks, a glance takes no memory; where somebody does, none of the loop's.
func TestGlances_NoMemory(t *testing.T) {
	var looks bench.Glances
	b, _, _ := open(t, nil, bench.Opts{Glances: []*bench.Glances{&looks}})
	c, err := b.NewCapture()
	if err != nil {
		t.Fatal(err)
	}
	g := &bench.Glance{}
	looks.Ask(g)
	if err := b.Record(t.Context(), c, b.Now().Add(time.Second)); err != nil {
		t.Fatal(err)
	}
	outputs := &looks.Take().Outputs[0]
	looks.Ask(g)
	if err := b.Record(t.Context(), c, b.Now().Add(time.Second)); err != nil {
		t.Fatal(err)
	}
	if again := looks.Take(); again != g || &again.Outputs[0] != outputs {
		t.Error("a second glance has memory of its own")
	}
}
