package sim

import (
	"math"
	"testing"
	"time"

	"makebreak/rig/capture"
	"makebreak/testdata/netlists"
)

// The circuits of testdata/netlists/faulty.cir: one relay on one output, with one fault.
func faultyWorld(t *testing.T, fault string, edge time.Duration) (*World, *output) {
	t.Helper()
	unit := UnitParams{HighVolts: 13.2, OnOhms: 12, LowVolts: 0.65, OffOhms: 1000, Edge: edge,
		CoilOhms: 400, CoilTau: 1300 * time.Microsecond, PullInVolts: 6.8, DropOutVolts: 2.2}
	w, err := NewWorld(relayRig(), Opts{Seed: 1, Unit: unit, Faults: mustParse(t, fault)})
	if err != nil {
		t.Fatal(err)
	}
	return w, w.outputs[0]
}

// throughRows switches the output on and off as the netlist does. Each is called with the rows that
// lie far enough from a switching, and with the instant of each in the world.
func throughRows(t *testing.T, w *World, o *output, rows [][]float64, each func(row []float64, at int64)) {
	t.Helper()
	begin := w.now
	on, off := netlists.ToldOn+netlists.Takes, netlists.ToldOff+netlists.Takes
	switchings := []struct {
		at   float64
		high bool
	}{{on, true}, {off, false}}
	for _, r := range rows {
		for len(switchings) > 0 && switchings[0].at <= r[0] {
			w.AdvanceTo(capture.Instant(begin + nanos(switchings[0].at)))
			w.switchOutput(o, switchings[0].high)
			switchings = switchings[1:]
		}
		at := begin + nanos(r[0])
		w.AdvanceTo(capture.Instant(at))
		if math.Abs(r[0]-on) > 2e-6 && math.Abs(r[0]-off) > 2e-6 {
			each(r, at)
		}
	}
}

// Coils with faults against ngspice, which solves their circuits by steps: a joint in the wire,
// shorted turns as two windings on one core, a diode the wrong way round, and none with half
// a microfarad across the coil. ngspice's switch acts at one of its steps, a microsecond apart
// at most, in which a current changes by some 30 µA. The swing without a diode is shown by
// straight stretches of 50 µs.
func TestSpice_Faults(t *testing.T) {
	netlists.Each(t, "faulty", func(t *testing.T, s *netlists.Output) {
		for _, c := range []struct {
			fault         string
			edge          time.Duration
			volts, amps   int // columns of the rows; 0: not compared
			volt, ampere  float64
			level, lowest string
		}{
			{"coil-joint=150 ohm", 1, 1, 2, 0.05, 40e-6, "joint_level", "joint_low"},
			{"shorted-turns=30 %", 1, 3, 4, 0.05, 60e-6, "turns_level", "turns_low"},
			{"reversed-flyback", 1, 5, 0, 0.02, 0, "rev_level", "rev_low"},
			{"no-flyback", 120 * time.Microsecond, 6, 7, 0.1, 60e-6, "", ""},
		} {
			w, o := faultyWorld(t, c.fault, c.edge)
			seen, worstV, worstA := 0, 0.0, 0.0
			edge := netlists.ToldOn + netlists.Takes + 80*c.edge.Seconds() // its rise, and the current after it, have another law
			throughRows(t, w, o, s.Rows["faulty"], func(r []float64, at int64) {
				if c.edge > 1000 && r[0] > netlists.ToldOn && r[0] < edge {
					return
				}
				seen++
				worstV = max(worstV, math.Abs(o.present.value(at)-r[c.volts]))
				if c.amps > 0 {
					worstA = max(worstA, math.Abs(o.relay.coil.current(at)-r[c.amps]))
				}
			})
			if seen < 900 || worstV > c.volt || worstA > c.ampere {
				t.Errorf("%s: of %d rows the furthest off is off by %.3g V and %.3g A", c.fault, seen, worstV, worstA)
			}
			t.Logf("%s: off by %.2g V and %.2g A at most", c.fault, worstV, worstA)
			if c.level != "" {
				near(t, c.fault+", on", o.level(true), s.Figure(t, c.level), 1e-3)
				near(t, c.fault+", off", o.level(false), s.Figure(t, c.lowest), 1e-3)
			}
		}
	})
}

// When the armature is pulled in and let go, by the current of the circuit's solution.
func TestSpice_FaultsMove(t *testing.T) {
	netlists.Each(t, "faulty", func(t *testing.T, s *netlists.Output) {
		for _, c := range []struct{ fault, in, out string }{
			{"coil-joint=150 ohm", "joint_in", "joint_out"}, {"shorted-turns=30 %", "turns_in", "turns_out"}, {"no-flyback", "", "none_out"},
		} {
			edge := time.Duration(1)
			if c.in == "" {
				edge = 120 * time.Microsecond
			}
			w, o := faultyWorld(t, c.fault, edge)
			k, begin := &o.relay.coil, w.now
			in, out, before := 0.0, 0.0, 0.0
			throughRows(t, w, o, s.Rows["faulty"], func(r []float64, at int64) {
				now := k.current(at)
				// Between two rows the current is as good as straight.
				passed := func(level float64) float64 { return float64(at-begin)*1e-9 - 50e-6*(now-level)/(now-before) }
				if in == 0 && now >= k.pullIn {
					in = passed(k.pullIn)
				}
				if in > 0 && out == 0 && now <= k.dropOut {
					out = passed(k.dropOut)
				}
				before = now
			})
			if c.in != "" {
				near(t, c.fault+", pulled in", in, s.Figure(t, c.in), 5e-6)
			}
			near(t, c.fault+", let go", out, s.Figure(t, c.out), 10e-6)
		}
	})
}
