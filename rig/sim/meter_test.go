package sim_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"makebreak/rig/circuit"
	"makebreak/rig/meter"
	"makebreak/rig/sim"
	"makebreak/rig/wiring/rigfile"
)

// shown is where a meter shows a fault on the built-in panel: what it reads there, and that it
// does not on a healthy bench. NaN is OL.
type shown struct {
	fault      string
	after      []string // events, each followed by 3 s
	off        bool     // with the supplies off
	mode       meter.Mode
	red, black string
	low, high  float64 // base unit of the mode
}

var (
	arm    = []string{"arm-away"}
	disarm = []string{"arm-away", "disarm"}
)

// shownFaults: the figures follow by hand from what the fault is and from the bench's parts (a
// coil of 360 to 440 ohm, outputs of 12 ohm, leakage behind 1 kohm).
var shownFaults = []shown{
	{"wrong-address=OUT4", arm, false, meter.DCVolts, "panel.OUT4", "panel.0V", 13.3, 13.8},
	{"inverted", nil, false, meter.DCVolts, "panel.OUT3", "panel.0V", 12.9, 13.5},
	{"slow-delay=5s", arm, false, meter.DCVolts, "panel.OUT3", "panel.0V", 0.5, 0.8},
	{"missed-cycle=1", arm, false, meter.DCVolts, "panel.OUT3", "panel.0V", 0.5, 0.8},
	{"early-fall", arm, false, meter.DCVolts, "panel.OUT3", "panel.0V", 0.5, 0.8},
	{"one-arming", []string{"arm-stay"}, false, meter.DCVolts, "panel.OUT3", "panel.0V", 0.5, 0.8},
	{"wrong-pulse=10s@OUT5", arm, false, meter.DCVolts, "panel.OUT5", "panel.0V", 13.3, 13.8},
	{"stuck-low", arm, false, meter.DCVolts, "panel.OUT3", "panel.0V", 0.5, 0.8},
	{"stuck-high", nil, false, meter.DCVolts, "panel.OUT3", "panel.0V", 12.9, 13.5},
	{"holding-in", disarm, false, meter.DCVolts, "K1.A1", "K1.A2", 2.5, 2.7},
	{"high-off-level", disarm, false, meter.DCVolts, "K1.A1", "K1.A2", 1.6, 1.8},
	{"weak-battery", arm, false, meter.DCVolts, "supply.+", "supply.-", 11.4, 12.2},
	{"weak-supply", nil, false, meter.DCVolts, "supply.+", "supply.-", 9.6, 9.9},
	{"hum", arm, false, meter.ACVolts, "panel.OUT3", "panel.0V", 0.30, 0.33},
	{"droop", arm, false, meter.DCVolts, "panel.OUT3", "panel.0V", 12.1, 12.7},
	{"joined-outputs", nil, true, meter.Continuity, "panel.OUT3", "panel.OUT4", 0, 1},
	{"coil-joint", nil, true, meter.Ohms, "panel.OUT3", "K1.A1", 320, 370}, // beside the coil and the output in series,
	{"coil-joint", arm, false, meter.DCVolts, "panel.OUT3", "K1.A1", 6.5, 8},
	{"ground-open", nil, true, meter.Ohms, "rig.0V", "panel.0V", 5e3, 10e3},
	{"swapped-contacts", nil, true, meter.Continuity, "rig.K1_NO", "rig.0V", 0, 1},
	{"common-open", nil, true, meter.Ohms, "K1.COM", "rig.0V", 49e3, 51e3}, // by the pull-up of the break contact's line,
	{"common-open", arm, false, meter.DCVolts, "K1.COM", "rig.0V", 3.2, 3.35},
	{"coil-open", nil, true, meter.Ohms, "K1.A1", "K1.A2", 700, 1300},
	{"shorted-turns", nil, true, meter.Ohms, "K1.A1", "K1.A2", 45, 75},
	{"shorted-turns", arm, false, meter.DCVolts, "K1.A1", "K1.A2", 10.5, 11.8},
	{"reversed-flyback", arm, false, meter.DCVolts, "K1.A1", "K1.A2", 0.9, 1.05},
	{"dead-relay", arm, false, meter.DCVolts, "K1.COM", "K1.NO", -3.4, -3.2},
	{"chatter", nil, false, "", "", "", 0, 0}, // too quick for a meter
	{"welded", disarm, true, meter.Continuity, "K1.COM", "K1.NO", 0, 1},
	{"oxidised-contact", arm, false, meter.DCVolts, "K1.COM", "K1.NO", -2.6, -2.3},
	{"oxidised-contact=500ohm", arm, false, meter.DCVolts, "K1.COM", "K1.NO", -0.04, -0.03},
	{"sticking=1", disarm, true, meter.Continuity, "K1.COM", "K1.NO", 0, 1},
	{"reference-inverted", nil, false, meter.DCVolts, "pin.REF", "rig.0V", 3.2, 3.35},
	{"loose-wire", nil, false, "", "", "", 0, 0}, // comes and goes, see below
	{"weak-contact", nil, false, "", "", "", 0, 0},
}

// unseen are faults that no meter shows: they are a matter of milliseconds, or of the rig's
// own converters and computer. A missing diode needs one end of the coil to be taken off: the
// coil leaves a diode test below what opens silicon.
var unseen = []string{"no-flyback", "slow-release", "creeping-operate", "long-bounce", "wearing-bounce", "lost-edges", "lost-ready-edges", "merged-edges", "adc-lost",
	"chip-reset", "supply-reset", "bus-noise", "slow-oscillator", "fast-oscillator"}

// Each fault that a meter can show it shows, at the place where a technician would look, by the
// figure that follows from its parts; there a healthy bench reads otherwise.
func TestNetwork_ShowsFaults(t *testing.T) {
	seen := map[string]bool{}
	for _, name := range unseen {
		seen[name] = true
	}
	for _, x := range shownFaults {
		f, err := sim.ParseFault(x.fault)
		if err != nil {
			t.Fatal(err)
		}
		seen[f.Name] = true
		if x.mode == "" {
			continue
		}
		ill, well := x.read(t, []sim.Fault{f}), x.read(t, nil)
		if !x.holds(ill) {
			t.Errorf("%s: %s to %s reads %v, not %g to %g", x.fault, x.red, x.black, ill, x.low, x.high)
		}
		if x.holds(well) {
			t.Errorf("%s: %s to %s reads %v on a healthy bench as well", x.fault, x.red, x.black, well)
		}
	}
	for _, f := range sim.Faults() {
		if !seen[f.Name] {
			t.Errorf("fault %s: say where a meter shows it, or that none does", f.Name)
		}
	}
}

func (x *shown) read(t *testing.T, faults []sim.Fault) meter.Reading {
	t.Helper()
	rig := rigfile.Builtin()[0]
	rules := program(rig)
	for i := range rules {
		if rules[i].Do == sim.PulseHigh {
			rules[i].For = time.Second
		}
	}
	w, err := sim.NewWorld(rig, sim.Opts{Seed: 11, Programme: rules, Faults: faults})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range x.after {
		if err := w.Bring(e, 3*time.Second); err != nil {
			t.Fatal(err)
		}
	}
	r, err := meter.New(4).Read(solved(t, w, sim.Power(!x.off)), x.mode, x.red, x.black)
	if err != nil || len(r.Dangers) > 0 {
		t.Fatalf("%s: %v, %v", x.fault, r.Dangers, err)
	}
	return r
}

func (x *shown) holds(r meter.Reading) bool {
	if math.IsNaN(x.low) || r.Overload {
		return math.IsNaN(x.low) && r.Overload
	}
	return r.Value >= x.low && r.Value <= x.high
}

// What comes and goes does so on a meter that is watched for half a minute, three readings a
// second.
func TestNetwork_ShowsWhatComesAndGoes(t *testing.T) {
	rig := rigfile.Builtin()[0]
	for _, c := range []struct {
		fault      string
		red, black string
		most       float64 // V between the lowest and the highest reading on a healthy bench
	}{
		{"loose-wire", "panel.OUT3", "rig.OUT3", 0.01}, {"weak-contact", "K1.COM", "K1.NO", 0.01},
	} {
		span := func(faults []sim.Fault) float64 {
			w, err := sim.NewWorld(rig, sim.Opts{Seed: 12, Programme: program(rig), Faults: faults})
			if err != nil {
				t.Fatal(err)
			}
			if err := w.Bring("arm-away", time.Second); err != nil {
				t.Fatal(err)
			}
			low, high := math.Inf(1), math.Inf(-1)
			for range 90 {
				w.AdvanceTo(w.Now().Add(333 * time.Millisecond))
				r, err := meter.New(4).Read(solved(t, w, sim.SupplyOn), meter.DCVolts, c.red, c.black)
				if err != nil {
					t.Fatal(err)
				}
				low, high = min(low, r.Value), max(high, r.Value)
			}
			return high - low
		}
		if ill, well := span([]sim.Fault{{Name: c.fault}}), span(nil); ill < 2 || well > c.most {
			t.Errorf("%s: readings differ by %g V, on a healthy bench by %g V", c.fault, ill, well)
		}
	}
}

// Between any two points of any bench a meter reads what physics allows: the leads turned
// round turn the sign, three points add up, no voltage is beyond what the supplies are, and with
// the supplies off there is none, and resistance is the same both ways.
func TestNetwork_EveryPair(t *testing.T) {
	d := rand.New(rand.NewPCG(9, 9))
	for i, f := range sim.Faults() {
		if testing.Short() && i%8 != 0 {
			continue
		}
		for _, rig := range rigfile.Builtin() {
			opts := sim.Opts{Seed: d.Uint64(), Programme: program(rig), Faults: []sim.Fault{drawFault(d, rig, f)}}
			w, err := sim.NewWorld(rig, opts)
			if err != nil {
				continue
			}
			for _, e := range []string{"", rig.Causes[0].Event} {
				if e != "" {
					if err := w.Bring(e, 2*time.Second); err != nil {
						t.Fatal(err)
					}
				}
				everyPair(t, opts.Faults[0].String(), w, d)
			}
		}
	}
}

// solved is the bench's network as it is now.
func solved(t *testing.T, w *sim.World, power sim.Power) *circuit.Solution {
	t.Helper()
	s, err := w.Network(power).Solve()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func everyPair(t *testing.T, what string, w *sim.World, d *rand.Rand) {
	t.Helper()
	live, dead := solved(t, w, sim.SupplyOn), solved(t, w, sim.SupplyOff)
	points := w.Layout().Points
	for i, a := range points {
		for _, b := range points[i:] {
			v, err := live.Volts(a.Name, b.Name)
			back, _ := live.Volts(b.Name, a.Name)
			if err == nil && (v != -back || math.Abs(v) > 40 || a.Name == b.Name && v != 0) {
				t.Fatalf("%s: %g V from %s to %s and %g V back", what, v, a.Name, b.Name, back)
			}
			if x, err := dead.Volts(a.Name, b.Name); err == nil && math.Abs(x) > 1e-9 {
				t.Fatalf("%s: %g V from %s to %s without supplies", what, x, a.Name, b.Name)
			}
		}
	}
	m := meter.New(1)
	for range 12 {
		a, b := points[d.IntN(len(points))].Name, points[d.IntN(len(points))].Name
		there, back := reads(t, m, dead, a, b), reads(t, m, dead, b, a)
		if there.Overload != back.Overload || there.Value != back.Value && !there.Overload || there.Value < 0 {
			t.Fatalf("%s: %v from %s to %s and %v back", what, there, a, b, back)
		}
	}
}

func reads(t *testing.T, m *meter.Meter, n *circuit.Solution, red, black string) meter.Reading {
	t.Helper()
	r, err := m.Read(n, meter.Ohms, red, black)
	if err != nil || len(r.Dangers) > 0 {
		t.Fatalf("%s to %s: %v, %v", red, black, r.Dangers, err)
	}
	return r
}
