package sim

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"makebreak/rig/line"
	"makebreak/rig/wiring/rigfile"
)

// A supply that settles drives a coil by L·di/dt + R·i = V + gap·exp(-t/tau) (textbook).
// The law is held to that equation, integrated in small steps (midpoint rule), also where
// the time constants are the same or nearly so.
func TestCoil_SettlingSupply(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := testCoil()
		k.c = rapid.Float64Range(0, 0.03).Draw(t, "amperes at the start")
		src := source{volts: rapid.Float64Range(0, 15).Draw(t, "volts"), ohms: rapid.Float64Range(1, 50).Draw(t, "ohms")}
		r := k.ohms + src.ohms
		src.tau = k.henries / r * 1e9 * rapid.SampledFrom([]float64{0.05, 0.3, 0.999, 1, 1 + 1e-9, 1 + 2e-6, 3}).Draw(t, "tau")
		src.gap = rapid.Float64Range(0, 15).Draw(t, "at the start") - src.volts
		i := k.c
		s := k.connect(0, src)
		if k.until != never {
			return // the diode carries the current
		}
		const step = 1000.0 // ns
		volts := func(at float64) float64 { return src.volts + src.gap*math.Exp(-at/src.tau) }
		slope := func(at, i float64) float64 { return (volts(at) - r*i) / k.henries * 1e-9 }
		for at := 0.0; at < 4e6; at += step {
			i += step * slope(at+step/2, i+step/2*slope(at, i))
		}
		if got := k.current(4e6); math.Abs(got-i) > 1e-7 {
			t.Fatalf("after 4 ms %g A, want %g A", got, i)
		}
		if got, want := s.value(4e6), volts(4e6)-src.ohms*k.current(4e6); math.Abs(got-want) > 1e-4 {
			t.Fatalf("after 4 ms %g V at the terminal, want %g V", got, want)
		}
		if got := s.value(0); math.Abs(got-(volts(0)-src.ohms*k.current(0))) > 1e-9 {
			t.Fatalf("%g V at the terminal at the start", got)
		}
	})
}

// The mean over a settling supply is its integral, here by the trapezoid rule.
func TestSegment_SettlingSupply(t *testing.T) {
	s := segment{at: 1000, c: 12, a: -3, tau: 1.3e6, b: 2, tauB: 2e5}
	s.settle()
	sum, n := 0.0, 100_000
	for i := range n {
		at := 1000 + 3e6*(float64(i)+0.5)/float64(n)
		sum += s.value(int64(at))
	}
	near(t, "mean", s.integral(1000, 1000+3e6)/3e6, sum/float64(n), 1e-6)
	if want := int64(1000 + settledAfter*13e5); s.flatFrom != want {
		t.Errorf("flat from %d, want %d", s.flatFrom, want)
	}
	near(t, "value where it counts as flat", s.value(s.flatFrom), 12, 1e-9)
}

// suppliedRelay is the world of the built-in rig with a supply, its lines asked for.
func suppliedRelay(t *testing.T, opts Opts) (*World, line.Set) {
	t.Helper()
	rig := rigfile.Builtin()[2]
	w, err := NewWorld(rig, opts)
	if err != nil {
		t.Fatal(err)
	}
	set, err := w.Lines(testLines(rig))
	if err != nil {
		t.Fatal(err)
	}
	return w, set
}

func write(t *testing.T, w *World, code int) {
	t.Helper()
	if err := w.Bus().Tx(0x60, []byte{byte(code >> 8), byte(code)}, nil); err != nil {
		t.Fatal(err)
	}
}

// The outputs follow the supply: on with all of it, off in proportion.
func TestSupply_FeedsOutputs(t *testing.T) {
	w, _ := suppliedRelay(t, Opts{Exact: true})
	// As it comes from the factory the chip stands at half of full scale.
	near(t, "before anybody writes", w.Truth().Supply.Volts, 8.25, 1e-9)
	write(t, w, 2979) // 12.000 V, by hand: 2979 · 3.3 V · 5 / 4096
	w.AdvanceTo(w.Now().Add(supplyTau))
	near(t, "after one time constant", w.Truth().Supply.Volts, 12.0004-3.7504*math.Exp(-1), 0.02) // from the stop bit on
	w.AdvanceTo(w.Now().Add(10 * time.Millisecond))
	truth := w.Truth()
	near(t, "settled", truth.Supply.Volts, 12.00037, 1e-5)
	near(t, "on", truth.Output("COIL").High, 12.00037*400/412, 1e-4)
	near(t, "off", truth.Output("COIL").Low, 0.65*12.00037/13.55, 1e-4)
	write(t, w, 0)
	w.AdvanceTo(w.Now().Add(10 * time.Millisecond))
	truth = w.Truth()
	if truth.Supply.Volts > 1e-9 || truth.Output("COIL").High > 1e-9 || truth.Output("COIL").Low > 1e-9 {
		t.Errorf("at code 0: %+v, %+v", truth.Supply, truth.Output("COIL"))
	}
}

// What is drawn of the amplifier lies within its spread, is drawn anew with the seed, and
// makes the voltage what it is.
func TestSupply_Draws(t *testing.T) {
	seen := map[float64]bool{}
	for seed := range uint64(200) {
		w, _ := suppliedRelay(t, Opts{Seed: seed})
		write(t, w, 3426)
		w.AdvanceTo(w.Now().Add(20 * time.Millisecond))
		s := w.Truth().Supply
		if math.Abs(s.GainError) > supplyGainSpread || math.Abs(s.OffsetVolts) > supplyOffsetSpread || s.Tau < supplyTau*8/10 || s.Tau > supplyTau*12/10 {
			t.Fatalf("seed %d: %+v", seed, s)
		}
		near(t, "volts", s.Volts, 13.80103*(1+s.GainError)+s.OffsetVolts, 1e-5)
		seen[s.GainError] = true
	}
	if len(seen) < 199 {
		t.Errorf("%d different gains of 200 seeds", len(seen))
	}
}

// The relay changes over where the supply carries its coil's voltage past its own
// figures: a code below it does not, a code above it does.
func TestSupply_RelayChangesOver(t *testing.T) {
	w, set := suppliedRelay(t, Opts{Seed: 8})
	write(t, w, 0)
	if _, _, err := set.Drive(2, true); err != nil {
		t.Fatal(err)
	}
	s := w.Truth().Supply
	on := w.outputs[0].on.ohms
	code := func(coil float64) int {
		volts := (coil*(1+on/w.relays[0].coil.ohms) - s.OffsetVolts) / (1 + s.GainError)
		return int(volts / (3.3 * 5 / 4096))
	}
	for _, c := range []struct {
		name  string
		volts float64
		step  int
		in    bool
	}{{"pull-in", w.PullIn("K1"), 1, true}, {"drop-out", w.DropOut("K1"), -1, false}} {
		at := code(c.volts)
		before, after := at-c.step, at+2*c.step
		write(t, w, before)
		w.AdvanceTo(w.Now().Add(100 * time.Millisecond))
		if w.relays[0].in == c.in {
			t.Errorf("%s: it has changed over a step before it", c.name)
		}
		write(t, w, after)
		w.AdvanceTo(w.Now().Add(100 * time.Millisecond))
		if w.relays[0].in != c.in {
			t.Errorf("%s: it has not changed over a step after it", c.name)
		}
	}
	if got := w.Truth().Relays[0]; got.PullInVolts != w.PullIn("K1") || got.DropOutVolts != w.DropOut("K1") {
		t.Errorf("%+v, %g, %g", got, w.PullIn("K1"), w.DropOut("K1"))
	}
	if !math.IsNaN(w.PullIn("K9")) || !math.IsNaN(w.DropOut("")) {
		t.Error("a relay that is not there has figures")
	}
}

// Release and Close say the last word, also on a bus that fails now and then.
func TestSupply_SafeWrite(t *testing.T) {
	w, set := suppliedRelay(t, Opts{})
	for _, say := range []func() error{set.Release, set.Close} {
		write(t, w, 3426)
		w.bus.NAKNext(3)
		if err := say(); err != nil {
			t.Fatal(err)
		}
		w.listen()
		if got := w.SupplyChip().Volts(); got != 0 {
			t.Errorf("%g V at the chip", got)
		}
	}
}

// A fault of the unit's own supply line lets through a share of what the rig supplies.
func TestSupply_WeakSupply(t *testing.T) {
	w, _ := suppliedRelay(t, Opts{Exact: true, Faults: mustParse(t, "weak-supply=9.5 V")})
	write(t, w, 2979)
	near(t, "on", w.Truth().Output("COIL").High, 12.00037*9.5/13.55*400/412, 1e-4)
}

// Ramped in steps of 2 ms, an output's past reaches back over the conversion of the
// slowest converter, at the slow end of its tolerance.
func TestSignal_RememberedUnderARamp(t *testing.T) {
	g := signal{segs: []segment{constant(0, 0)}, fed: true}
	const gap, steps = int64(2 * time.Millisecond), 2000
	for i := int64(1); i <= steps; i++ {
		g.push(constant(i*gap, float64(i)))
		if i < 100 {
			continue
		}
		end := i*gap + gap
		back := int64(138 * time.Millisecond)
		// The mean of a staircase over whole steps, by hand.
		if got, want := g.mean(end-back, end), float64(i)-float64(back/gap-1)/2; math.Abs(got-want) > 1e-9 {
			t.Fatalf("step %d: mean %g, want %g", i, got, want)
		}
	}
}

// A rig without a supply has none of this.
func TestSupply_None(t *testing.T) {
	w, err := NewWorld(rigfile.Builtin()[1], Opts{})
	if err != nil {
		t.Fatal(err)
	}
	if w.SupplyChip() != nil || w.Truth().Supply != nil {
		t.Error("there is a supply")
	}
	if err := w.Bus().Tx(0x60, []byte{0, 0}, nil); err == nil {
		t.Error("something answers at 0x60")
	}
}

// A converter that is reset puts out half of its scale at the instant planted, and the
// unit's supply follows; a rig without one cannot have the fault.
func TestFault_SupplyReset(t *testing.T) {
	for _, planted := range []bool{false, true} {
		opts := Opts{Exact: true}
		if planted {
			opts.Faults = mustParse(t, "supply-reset=2 s")
		}
		w, _ := suppliedRelay(t, opts)
		write(t, w, 3426)
		w.AdvanceTo(Start.Add(2*time.Second - 1))
		near(t, "the supply before", w.Truth().Supply.Settled, 13.801, 1e-3)
		w.AdvanceTo(Start.Add(2*time.Second + 10*time.Millisecond))
		want := 13.801
		if planted {
			want = 8.25 // 3.3 V · 5 / 2
		}
		near(t, "the supply after", w.Truth().Supply.Volts, want, 1e-3)
	}
	if _, err := NewWorld(panelRig(), Opts{Faults: mustParse(t, "supply-reset")}); err == nil {
		t.Error("a rig without such a converter takes the fault")
	}
}
