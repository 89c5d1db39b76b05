package sim

import (
	"context"
	"testing"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/line"
	"makebreak/rig/wiring/rigfile"
)

// Single shots in turn, with the ready pin and by polling, read the outputs that
// the rig file says: one that is on tells itself from one that is off.
func TestWorld_Sweep(t *testing.T) {
	for _, ready := range []bool{true, false} {
		rig := panelRig()
		w, err := NewWorld(rig, Opts{Seed: 8, Initial: map[string]bool{"OUT5": true}})
		if err != nil {
			t.Fatal(err)
		}
		set, err := w.Lines(testLines(rig))
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range rig.Outputs {
			c := rig.Chip(x.Chip)
			d, err := ads1x15.New(w.Bus(), c.Address, &ads1x15.Opts{Model: c.Model, Range: c.Range, Rate: c.Rate, Ready: ready, Retries: 3})
			if err != nil {
				t.Fatal(err)
			}
			if err := d.Setup(); err != nil {
				t.Fatal(err)
			}
			if err := d.Start(x.Channel); err != nil {
				t.Fatal(err)
			}
			began := w.Now()
			finish(t, w, set, d, ready)
			if took := w.Now().Sub(began); took < time.Millisecond || took > 1500*time.Microsecond {
				t.Errorf("%s: a conversion took %v", x.Name, took)
			}
			code, err := d.Read()
			if err != nil {
				t.Fatal(err)
			}
			want := w.Truth().Output(x.Name)
			volts := want.Low
			if x.Name == "OUT5" {
				volts = want.High
			}
			near(t, x.Name, d.Volts(code)*4.9, volts, 0.02*volts+0.005)
		}
	}
}

func finish(t *testing.T, w *World, set line.Set, d *ads1x15.Dev, ready bool) {
	t.Helper()
	for end := w.Now().Add(10 * time.Millisecond); w.Now() < end; {
		if ready {
			if err := set.Wait(context.Background(), end); err != nil {
				t.Fatal(err)
			}
			edges, _ := set.Edges(nil)
			if len(edges) != 1 || edges[0].Line < lineReady || !edges[0].Active {
				t.Fatalf("edges %+v, want one of the ready pin", edges)
			}
			if on, err := set.Active(edges[0].Line); !on || err != nil {
				t.Errorf("the ready line is not active after its edge (%v)", err)
			}
			return
		}
		busy, err := d.Busy()
		if err != nil {
			t.Fatal(err)
		}
		if !busy {
			return
		}
	}
	t.Fatal("the conversion never ended")
}

// The rigs that the program brings along work with the simulated bench.
func TestWorld_BuiltinRigs(t *testing.T) {
	for _, rig := range rigfile.Builtin() {
		w, err := NewWorld(rig, Opts{Seed: 1})
		if err != nil {
			t.Errorf("%s: %v", rig.Name, err)
			continue
		}
		if _, err := w.Lines(testLines(rig)); err != nil {
			t.Errorf("%s: %v", rig.Name, err)
		}
	}
}
