package sim

import (
	"math"
	"slices"
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
		want := Travel{
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

// One opening in six closes again once, shortly; a closing bounces for 3.5 ms at most.
func TestRelay_Steps(t *testing.T) {
	k := &relay{draw: newDraws(1, "relay", false)}
	const tries = 100_000
	again, longest := 0, int64(0)
	for range tries {
		k.steps = k.steps[:0]
		k.opening(0, true)
		switch s := k.steps; {
		case len(s) == 1 && !s[0].closed:
		case len(s) == 3 && !s[0].closed && s[1].closed && !s[2].closed && s[1].at >= 20e3 && s[2].at <= 200e3:
			again++
		default:
			t.Fatalf("an opening's steps: %+v", s)
		}
		k.steps = k.steps[:0]
		k.closing(0, false)
		longest = max(longest, k.steps[len(k.steps)-1].at)
	}
	// Six standard deviations of the binomial distribution about a sixth.
	if math.Abs(float64(again)-tries/6) > 6*math.Sqrt(tries*5.0/36) {
		t.Errorf("%d of %d openings close again, want about a sixth", again, tries)
	}
	if longest > int64(3500*time.Microsecond) || longest < int64(2500*time.Microsecond) {
		t.Errorf("the longest bounce of %d closings lasts %v, want nearly 3.5 ms", tries, time.Duration(longest))
	}
}

// A relay that releases slowly opens its make contact as much later as it closes the break
// contact.
func TestRelay_SlowRelease(t *testing.T) {
	steps := func(faults ...Fault) *Travel {
		w, err := NewWorld(panelRig(), Opts{Exact: true, Programme: armedHigh, Relays: onOUT3(), Initial: map[string]bool{"OUT3": true}, Faults: faults})
		if err != nil {
			t.Fatal(err)
		}
		w.Act("disarm")
		w.answer()
		w.AdvanceTo(Start.Add(time.Second))
		events := w.Truth().Events
		changes := events[len(events)-1].Changes
		if len(changes) != 1 {
			t.Fatalf("%d travels, want one", len(changes))
		}
		return &changes[0]
	}
	healthy, slow := steps(), steps(Fault{Name: "slow-release", Value: 0.02})
	if slow.Time-healthy.Time != 20*time.Millisecond || slow.Transfer != healthy.Transfer {
		t.Errorf("slow by %v with a transfer of %v, want 20 ms and %v", slow.Time-healthy.Time, slow.Transfer, healthy.Transfer)
	}
}

// Every n-th edge of a contact is lost, with its number; edges on one line keep their order.
func TestContact_LosesEveryNth(t *testing.T) {
	w, err := NewWorld(panelRig(), Opts{Exact: true})
	if err != nil {
		t.Fatal(err)
	}
	set, err := w.Lines(testLines(w.rig))
	if err != nil {
		t.Fatal(err)
	}
	c := w.contacts[0]
	c.loses = 3
	for i := range 6 {
		w.report(c, int64(Start)+int64(i), i%2 == 0)
	}
	edges, err := set.Edges(nil)
	if err != nil {
		t.Fatal(err)
	}
	var got []uint32
	for _, e := range edges {
		got = append(got, e.Seq)
	}
	if want := []uint32{1, 2, 4, 5}; !slices.Equal(got, want) {
		t.Errorf("edges numbered %v, want %v", got, want)
	}
}

// Two edges of a contact that follow closely are stamped in their order, however late each
// is stamped.
func TestContact_StampsInOrder(t *testing.T) {
	w, err := NewWorld(panelRig(), Opts{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	set, err := w.Lines(testLines(w.rig))
	if err != nil {
		t.Fatal(err)
	}
	c := w.contacts[0]
	for range 200 {
		w.setContact(c, !c.closed)
		w.AdvanceTo(w.Now() + 1)
	}
	w.AdvanceTo(w.Now().Add(time.Millisecond))
	edges, err := set.Edges(nil)
	if err != nil || len(edges) != 200 {
		t.Fatalf("%d edges, %v, want 200", len(edges), err)
	}
	for i := 1; i < len(edges); i++ {
		if edges[i].At <= edges[i-1].At || edges[i].Active == edges[i-1].Active {
			t.Fatalf("edge %d at %v after one at %v", i, edges[i].At, edges[i-1].At)
		}
	}
}

// What is drawn from the normal distribution is cut off at three standard deviations.
func TestCut(t *testing.T) {
	for x, want := range map[float64]float64{-9: -3, -3: -3, -2.5: -2.5, 0: 0, 3: 3, 3.1: 3} {
		if got := cut(x); got != want {
			t.Errorf("cut(%g) = %g, want %g", x, got, want)
		}
	}
}
