package sim

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"makebreak/rig/capture"
	_ "makebreak/testdata/fixedseed"
)

func testCoil() coil {
	return coil{ohms: 400, henries: 0.52, pullIn: 6.8 / 400, dropOut: 2.2 / 400, until: never}
}

// near fails unless got is as near to want as told.
func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.9g, want %.9g ± %.3g", what, got, want, within)
	}
}

// The textbook's RL circuit: i = V/R (1 - exp(-t R/L)), so 63.212 % after one
// time constant and half after ln 2 of them.
func TestCoil_SwitchedOn(t *testing.T) {
	k := testCoil()
	s := k.connect(0, source{volts: 12})
	tau := 0.52 / 400 * 1e9
	near(t, "current after L/R", k.current(int64(tau)), 0.03*0.6321205588, 1e-8)
	near(t, "current in the end", k.current(int64(30*tau)), 0.03, 1e-12)
	near(t, "terminal without source resistance", s.value(12345), 12, 0)
	at, ok := k.crossing(0, 0.015, true)
	if !ok {
		t.Fatal("the current never reached half")
	}
	near(t, "half the current", float64(at), math.Ln2*tau, 1)
	if _, ok := k.crossing(0, 0.031, true); ok {
		t.Error("the current passed what the supply can drive")
	}
}

// With a diode of 0.7 V the current of a 12 V coil has fallen to that of 3.6 V
// after 1.08299 L/R: ln((12+0.7)/(3.6+0.7)), computed from the textbook's law.
func TestCoil_DecaysThroughTheDiode(t *testing.T) {
	k := testCoil()
	k.c = 12.0 / 400
	s := k.connect(0, source{volts: 0.65 * 1.4, ohms: 1000})
	near(t, "terminal while the diode conducts", s.value(1000), -0.7, 0)
	at, ok := k.crossing(0, 3.6/400, false)
	if !ok {
		t.Fatal("the current did not fall while the diode conducts")
	}
	near(t, "time to 3.6 V's current", float64(at), 1.08299*0.52/400*1e9, 20)
	// The diode stops conducting where the leakage alone carries the current, without a
	// jump of the terminal's voltage.
	s = k.connect(k.until, source{volts: 0.65 * 1.4, ohms: 1000})
	near(t, "terminal as the diode stops conducting", s.value(s.at), -0.7, 1e-5)
	if k.until != never {
		t.Fatal("the diode still conducts")
	}
	near(t, "terminal in the end", s.value(s.at+int64(1e9)), 0.65*1.4*400/1400, 1e-9)
}

// The closed forms against the differential equation L di/dt = V(t) - R i,
// integrated by the classical Runge-Kutta method.
func TestCoil_FollowsItsEquation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := testCoil()
		k.ohms = rapid.Float64Range(100, 2000).Draw(t, "ohms")
		k.henries = rapid.Float64Range(0.05, 2).Draw(t, "henries")
		k.c = rapid.Float64Range(0, 0.01).Draw(t, "before")
		src := source{
			volts: rapid.Float64Range(5, 15).Draw(t, "volts"),
			ohms:  rapid.Float64Range(0, 100).Draw(t, "source ohms"),
			slope: rapid.Float64Range(-10, 0).Draw(t, "slope") * 1e-9,
		}
		i := k.c
		s := k.connect(0, src)
		dt := 1e-6
		di := func(at, i float64) float64 {
			return (src.volts + src.slope*1e9*at - (k.ohms+src.ohms)*i) / k.henries
		}
		for n := range 5000 {
			at := float64(n) * dt
			k1 := di(at, i)
			k2 := di(at+dt/2, i+dt/2*k1)
			k3 := di(at+dt/2, i+dt/2*k2)
			k4 := di(at+dt, i+dt*k3)
			i += dt / 6 * (k1 + 2*k2 + 2*k3 + k4)
		}
		if got := k.current(5e6); math.Abs(got-i) > 1e-9 {
			t.Fatalf("after 5 ms %.12f A, by Runge-Kutta %.12f A", got, i)
		}
		want := src.volts + src.slope*5e6 - src.ohms*i
		if got := s.value(5e6); math.Abs(got-want) > 1e-6 {
			t.Fatalf("terminal after 5 ms %.9f V, want %.9f V", got, want)
		}
	})
}

// The crossing of a current with a sloping supply is searched, not solved: at
// the instant found it has passed the level, one nanosecond before it has not.
func TestCoil_CrossingWithSlope(t *testing.T) {
	k := testCoil()
	k.connect(0, source{volts: 13.5, ohms: 12, slope: -0.5e-9})
	at, ok := k.crossing(0, k.pullIn, true)
	if !ok || k.current(at) < k.pullIn || k.current(at-1) >= k.pullIn {
		t.Errorf("crossing at %d ns (%v): %.12f then %.12f A, level %.12f A", at, ok, k.current(at-1), k.current(at), k.pullIn)
	}
}

// An output with a relay goes to its level with its time constant (the exponential
// law, textbook): on, the terminal passes the middle of its levels after about
// tau·ln 2, a little late as the coil's current takes its share; off, where the
// diode's level is the aim, after tau·ln(swing/rest). The same law gives the time from 10 %
// to 90 %: towards the source's own voltage, since the coil has hardly any current yet, or
// towards the diode's level.
func TestOutput_EdgeTakesItsTime(t *testing.T) {
	const tau = 150 * time.Microsecond
	rig := relayRig()
	w, err := NewWorld(rig, Opts{Seed: 3, Unit: UnitParams{Edge: tau}})
	if err != nil {
		t.Fatal(err)
	}
	o := w.outputs[0]
	high, low := o.level(true), o.level(false)
	for _, up := range []bool{true, false} {
		began := w.now
		w.switchOutput(o, up)
		c := w.truth.open.Crossings[len(w.truth.open.Crossings)-1]
		want, lasts := tau.Seconds()*math.Ln2, tau.Seconds()*math.Log((o.on.volts-0.1*high-0.9*low)/(o.on.volts-0.9*high-0.1*low))
		if !up {
			lasts = tau.Seconds() * math.Log((0.9*high+0.1*low+0.7)/(0.1*high+0.9*low+0.7))
			want = tau.Seconds() * math.Log((high+0.7)/((high+low)/2+0.7))
		}
		if got := c.At.Sub(capture.Instant(began)).Seconds(); math.Abs(got-want) > 0.06*want {
			t.Errorf("on %v: the middle after %.1f µs, want %.1f", up, 1e6*got, 1e6*want)
		}
		if got := c.Duration.Seconds(); math.Abs(got-lasts) > 0.06*lasts {
			t.Errorf("on %v: 10 %% to 90 %% in %.1f µs, want %.1f", up, 1e6*got, 1e6*lasts)
		}
		near(t, "volts at the crossing", o.present.value(int64(c.At)), (high+low)/2, 1e-3)
		near(t, "volts at first", o.present.value(began), o.level(!up), 1e-3)
		w.AdvanceTo(capture.Instant(w.now).Add(200 * time.Millisecond))
		if got, want := o.present.value(w.now), o.level(up); math.Abs(got-want) > 1e-3 {
			t.Errorf("on %v: settled at %.4f V, want %.4f", up, got, want)
		}
	}
}
