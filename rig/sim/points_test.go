package sim

import (
	"testing"
	"time"

	"makebreak/rig/circuit"
	"makebreak/rig/meter"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// programmed programmes the panel's OUT3 for arming, where the rig has a panel.
func programmed(rig *wiring.Rig, opts Opts) Opts {
	if rig.Cause("arm-away") != nil {
		opts.Programme = []Rule{{Output: "OUT3", Event: "arm-away", Do: GoHigh}, {Output: "OUT3", Event: "disarm", Do: GoLow}}
	}
	return opts
}

// solved is the bench's network as it is now.
func solved(t testing.TB, w *World, power Power) *circuit.Solution {
	t.Helper()
	s, err := w.Network(power).Solve()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A meter reads at each point of the drawing, on and off, and each wire has its ends there.
func TestLayout_EveryPointReads(t *testing.T) {
	for _, rig := range rigfile.Builtin() {
		w, err := NewWorld(rig, programmed(rig, Opts{Seed: 3}))
		if err != nil {
			t.Fatal(err)
		}
		m := meter.New(1)
		zero := pointName(w.layout.Unit(), zeroVolts)
		for _, event := range []string{"", rig.Causes[0].Event} {
			if event != "" {
				if err := w.Bring(event, time.Second); err != nil {
					t.Fatal(err)
				}
			}
			on, off := solved(t, w, SupplyOn), solved(t, w, SupplyOff)
			for _, p := range w.Layout().Points {
				if r, err := m.Read(on, meter.DCVolts, p.Name, zero); err != nil || r.Overload {
					t.Errorf("%s on: %v, %v", p.Name, r, err)
				}
				if r, err := m.Read(off, meter.Ohms, p.Name, zero); err != nil || len(r.Dangers) > 0 {
					t.Errorf("%s off: %v, %v", p.Name, r, err)
				}
			}
		}
		off := solved(t, w, SupplyOff)
		for _, x := range w.Layout().Wires {
			if !w.layout.has(x.From) || !w.layout.has(x.To) {
				t.Errorf("wire %+v ends at no point", x)
			}
			if r, err := m.Read(off, meter.Continuity, x.From, x.To); err != nil || !r.Beeps {
				t.Errorf("wire %+v: %v, %v", x, r, err)
			}
		}
	}
}

// A drive pulls its input of the panel to 0 V through its optocoupler, and the positions of one
// key-switch by resistors that differ; by the divider rule. The reference sees each.
func TestNetwork_Inputs(t *testing.T) {
	rig := rigfile.Builtin()[0]
	w, err := NewWorld(rig, programmed(rig, Opts{Seed: 3}))
	if err != nil {
		t.Fatal(err)
	}
	at := func(power Power, point string) float64 {
		v, err := solved(t, w, power).Volts(point, "panel.0V")
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	supply := at(SupplyOn, "supply.+")
	near(t, "key-switch at rest", at(SupplyOn, "panel.KEY"), supply, 1e-3)
	near(t, "reference's line at rest", at(SupplyOn, "pin.REF"), 0, 1e-3)
	for i, name := range []string{"KEY_AWAY", "KEY_STAY", "KEY_OFF"} {
		d := w.drive(name)
		w.setDrive(d, true)
		w.AdvanceTo(w.Now().Add(time.Millisecond))
		ohms := 100 + 1000*float64(i)
		near(t, name, at(SupplyOn, "panel.KEY"), supply*ohms/(4700+ohms), 1e-3)
		near(t, name+" at another input", at(SupplyOn, "panel.ZONE"), supply, 1e-3)
		near(t, "reference's line", at(SupplyOn, "pin.REF"), 3.3, 1e-3)
		if r, err := meter.New(2).Read(solved(t, w, SupplyOff), meter.Ohms, "panel.KEY", "rig.COM"); err != nil || r.Value < 4600 || r.Value > 5000 {
			t.Errorf("%s without supply: %v, %v", name, r, err)
		}
		w.setDrive(d, false)
		w.AdvanceTo(w.Now().Add(time.Millisecond))
		near(t, name+" released", at(SupplyOn, "panel.KEY"), supply, 1e-3)
	}
}
