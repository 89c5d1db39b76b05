package sim

import (
	"testing"
	"time"
)

// Healthy relays keep what the data sheet of the SRD-12VDC-SL relay promises:
// coil 400 ohm ±10 %, must operate at 75 % and must release at 10 % of 12 V,
// operate time at most 10 ms, release time at most 5 ms (the latter without a
// diode; with one, some more is usual: 8 ms here). Bounce of switches in
// published surveys: 1.6 ms on average, 6.2 ms at most; 5 ms is what a workshop
// takes as sound (common practice, no source).
func TestRelay_HealthyKeepsItsDataSheet(t *testing.T) {
	var count, changes int
	var longest time.Duration
	for seed := range uint64(150) {
		w, err := NewWorld(panelRig(), Opts{Seed: seed, Programme: armedHigh, Relays: onOUT3()})
		if err != nil {
			t.Fatal(err)
		}
		r := w.Truth().Relays[0]
		if r.CoilOhms < 360 || r.CoilOhms > 440 || r.PullInVolts > 9 || r.DropOutVolts < 1.2 {
			t.Fatalf("seed %d: relay %+v", seed, r)
		}
		for i := range 6 {
			w.setDrive(w.drives[i%2], true)
			w.AdvanceTo(w.Now().Add(time.Second))
			w.setDrive(w.drives[i%2], false)
		}
		for _, e := range w.Truth().Events[1:] {
			if len(e.Changes) != 1 {
				t.Fatalf("seed %d: %+v", seed, e)
			}
			c := e.Changes[0]
			most := 10 * time.Millisecond
			if !c.In {
				most = 8 * time.Millisecond
			}
			if c.Time <= 0 || c.Time > most || c.Transfer <= 0 || c.Closing.Time > 5*time.Millisecond || c.Closing.Count > 6 {
				t.Errorf("seed %d: %+v", seed, c)
			}
			longest = max(longest, c.Closing.Time)
			count += c.Closing.Count
			changes++
		}
	}
	if mean := float64(count) / float64(changes); mean < 1 || mean > 5 || longest < time.Millisecond {
		t.Errorf("closing contacts bounce %.1f times on average and for %v at most: too little or too much to be of use", mean, longest)
	}
}

// The figures told as truth are those that follow from the edges by definition.
func TestRelay_TruthFollowsFromItsEdges(t *testing.T) {
	s := newStation(t, Opts{Seed: 21})
	s.cycles(10)
	for _, e := range s.w.Truth().Events[1:] {
		if len(e.Changes) != 1 || len(e.Crossings) != 1 {
			t.Fatalf("%+v", e)
		}
		c := e.Changes[0]
		var opening, closing []ContactEdge
		for _, x := range e.Edges {
			if x.Contact == c.Closing.Contact {
				closing = append(closing, x)
			} else {
				opening = append(opening, x)
			}
		}
		n := len(closing) - 1
		want := Change{
			Relay: "K1", Output: "OUT3", In: e.Name == "arm-away", Crossed: e.Crossings[0].At,
			Time:     closing[0].At.Sub(e.Crossings[0].At),
			Transfer: closing[0].At.Sub(opening[len(opening)-1].At),
			Closing:  Bounce{c.Closing.Contact, closing[n].At.Sub(closing[0].At), n / 2},
			Opening:  Bounce{c.Opening.Contact, opening[len(opening)-1].At.Sub(opening[0].At), (len(opening) - 1) / 2},
		}
		if c != want {
			t.Errorf("%s:\ntold %+v\nis   %+v", e.Name, c, want)
		}
		if !closing[0].Closed || !closing[n].Closed || opening[0].Closed {
			t.Errorf("%s: edges %+v", e.Name, e.Edges)
		}
	}
}

// By the textbook's law the armature's current is reached L/R·ln(I/(I-Ip)) after
// the switching; the travel comes on top of it.
func TestRelay_OperateTimeOfExactParts(t *testing.T) {
	p := UnitParams{HighVolts: 12.36, OnOhms: 12, CoilOhms: 400, CoilTau: 1300 * time.Microsecond, PullInVolts: 6, MakeCloses: 4 * time.Millisecond}
	s := newStation(t, Opts{Unit: p, Exact: true})
	s.cycles(1)
	for _, e := range s.w.Truth().Events[1:2] {
		// 12.36 V through 412 ohm is 30 mA, of which 1.625 mA (0.65 V) leak before;
		// 15 mA pull in: ln(28.375/15) of 0.52 H/412 ohm.
		near(t, "operate time", e.Changes[0].Time.Seconds(), 0.004+0.637458*0.52/412, 1e-6)
	}
}
