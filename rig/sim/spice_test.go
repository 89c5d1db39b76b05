package sim

import (
	"math"
	"testing"
	"time"

	"makebreak/testdata/netlists"
)

// The circuit of testdata/netlists/coil.cir: what stands behind the coil, on and off.
var (
	spiceOn  = source{volts: 13.2, ohms: 12}
	spiceOff = source{volts: 2.275, ohms: 1000}
	heldOff  = source{volts: 9.1, ohms: 1000}
)

// nanos is a time in ns.
func nanos(s float64) int64 { return int64(math.Round(s * 1e9)) }

// follow puts the coil through a file's course, and calls each with the coil's current
// at each of its rows. It returns when the armature's levels were passed; 0: not.
func follow(o *netlists.Output, name string, off source, each func(at, current, byCircuit float64)) (pullIn, dropOut float64) {
	k := testCoil()
	k.c = off.volts / (off.ohms + k.ohms)
	rows := o.Rows[name]
	walk := func(until int64) {
		for len(rows) > 0 && nanos(rows[0][0]) < until {
			each(rows[0][0], k.current(nanos(rows[0][0])), rows[0][2])
			rows = rows[1:]
		}
	}
	passed := func(found *float64, level float64, up bool) {
		if at, ok := k.crossing(k.at, level, up); ok {
			*found = float64(at) * 1e-9
		}
	}
	on, end := nanos(netlists.ToldOn+netlists.Takes), nanos(netlists.ToldOff+netlists.Takes)
	walk(on)
	k.connect(on, spiceOn)
	passed(&pullIn, k.pullIn, true)
	walk(end)
	for at := end; at != never; at = k.until { // the diode's phase, then the leakage's
		k.connect(at, off)
		if dropOut == 0 {
			passed(&dropOut, k.dropOut, false)
		}
		walk(k.until)
	}
	return pullIn, dropOut
}

// The simulated coil against ngspice, which solves the circuit by steps: the current at
// every row, and when the armature is pulled in and let go. ngspice's switch acts at one of its
// steps, a microsecond apart at most, in which a current that changes by (13.2 V + 0.7 V)/0.52 H
// goes 27 µA. A row at a switching is left out, since it may be from before or after.
func TestSpice_CoilCurrent(t *testing.T) {
	netlists.Each(t, "coil", func(t *testing.T, o *netlists.Output) {
		seen, worst := 0, 0.0
		pullIn, dropOut := follow(o, "coil", spiceOff, func(at, current, byCircuit float64) {
			if math.Abs(at-netlists.ToldOn-netlists.Takes) < 1e-6 || math.Abs(at-netlists.ToldOff-netlists.Takes) < 1e-6 {
				return
			}
			seen++
			worst = max(worst, math.Abs(current-byCircuit))
		})
		if seen < 1000 || worst > 27e-6 {
			t.Errorf("of %d rows the furthest off is off by %.3g A", seen, worst)
		}
		near(t, "pull-in", pullIn, o.Figure(t, "pull_in"), 1e-6)
		near(t, "drop-out", dropOut, o.Figure(t, "drop_out"), 2e-6)
		t.Logf("current off by %.2g A at most, pull-in by %.2g s, drop-out by %.2g s", worst, pullIn-o.Figure(t, "pull_in"), dropOut-o.Figure(t, "drop_out"))
	})
}

// What the simulated diode's constant 0.7 V is worth beside a silicon one: drop-out comes
// within 30 µs of it. A leakage of 0.65 V lets the relay go, one of 2.6 V holds it.
func TestSpice_CoilLeakage(t *testing.T) {
	netlists.Each(t, "leakage", func(t *testing.T, o *netlists.Output) {
		var last float64
		take := func(_, current, _ float64) { last = current }
		pullIn, dropOut := follow(o, "leakage", spiceOff, take)
		near(t, "pull-in", pullIn, o.Figure(t, "pull_in"), 1e-6)
		near(t, "drop-out", dropOut, o.Figure(t, "drop_out"), 30e-6)
		near(t, "current in the end", last, o.Figure(t, "low_amps"), 1e-6)
		pullIn, dropOut = follow(o, "held", heldOff, take)
		if pullIn == 0 || dropOut != 0 || last < testCoil().dropOut {
			t.Errorf("held in by 2.6 V: pull-in %g s, drop-out %g s, %g A in the end", pullIn, dropOut, last)
		}
		near(t, "held current", last, o.Figure(t, "held_amps"), 1e-6)
	})
}

// The bench's own relay, contacts and all: what the truth tells is ngspice's pull-in and
// drop-out with the armature's travel on top.
func TestSpice_Relay(t *testing.T) {
	netlists.Each(t, "coil", func(t *testing.T, o *netlists.Output) {
		const travel, back = 4 * time.Millisecond, 2 * time.Millisecond
		s := newStation(t, Opts{Exact: true, Unit: UnitParams{HighVolts: 13.2, OnOhms: 12, LowVolts: 0.65, OffOhms: 1000, CoilOhms: 400,
			CoilTau: 1300 * time.Microsecond, PullInVolts: 6.8, DropOutVolts: 2.2, MakeCloses: travel, BreakCloses: back}})
		s.cycles(1)
		events := s.w.Truth().Events[1:]
		if len(events) < 2 || len(events[0].Changes) != 1 || len(events[1].Changes) != 1 {
			t.Fatalf("%+v", events)
		}
		near(t, "operate time", events[0].Changes[0].Time.Seconds(), o.Figure(t, "pull_in")-netlists.ToldOn-netlists.Takes+travel.Seconds(), 1e-6)
		near(t, "release time", events[1].Changes[0].Time.Seconds(), o.Figure(t, "drop_out")-netlists.ToldOff-netlists.Takes+back.Seconds(), 2e-6)
	})
}
