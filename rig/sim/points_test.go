package sim

import (
	"testing"
	"time"

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
			for _, p := range w.Layout().Points {
				if r, err := m.Read(w.Network(SupplyOn), meter.DCVolts, p.Name, zero); err != nil || r.Overload {
					t.Errorf("%s on: %v, %v", p.Name, r, err)
				}
				if r, err := m.Read(w.Network(SupplyOff), meter.Ohms, p.Name, zero); err != nil || len(r.Dangers) > 0 {
					t.Errorf("%s off: %v, %v", p.Name, r, err)
				}
			}
		}
		for _, x := range w.Layout().Wires {
			if !w.layout.has(x.From) || !w.layout.has(x.To) {
				t.Errorf("wire %+v ends at no point", x)
			}
			if r, err := m.Read(w.Network(SupplyOff), meter.Continuity, x.From, x.To); err != nil || !r.Beeps {
				t.Errorf("wire %+v: %v, %v", x, r, err)
			}
		}
	}
}
