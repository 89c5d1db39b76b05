package sums

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"makebreak/rig/wiring"
	_ "makebreak/testdata/fixedseed"
)

// relayCoil is 12 V on 400 ohm with nothing else known.
func relayCoil() CoilInput {
	return CoilInput{Voltage: 12, Resistance: 400, Tolerance: 0.1, Inductance: unknown, Tau: unknown, MustOperate: unknown,
		MustRelease: unknown, Leakage: unknown, Loaded: unknown, OffSource: unknown, Zener: 24, CutOff: 10e-6,
		Snub: unknown, Stands: unknown, Hottest: unknown, Reference: 20}
}

// Makers' sheets state current and power beside the coil's resistance: SRD-12VDC-SL
// 400 ohm, 30 mA, about 0.36 W; G5LE-1 12 V 360 ohm, 33.3 mA, about 400 mW, 24 V
// 1440 ohm, 16.7 mA; a 30 A type of Panasonic's 300 ohm, 40 mA, 480 mW. Their figures
// are rounded, the power to 0.01 W.
func TestCoil_MakersSheets(t *testing.T) {
	for _, c := range []struct{ volts, ohms, amperes, watts float64 }{
		{12, 400, 30e-3, 0.36}, {12, 360, 33.3e-3, 0.40}, {24, 1440, 16.7e-3, 0.40}, {5, 63, 79.4e-3, 0.40}, {12, 300, 40e-3, 0.48},
		{24, 1600, 15e-3, 0.36},
	} {
		in := relayCoil()
		in.Voltage, in.Resistance = c.volts, c.ohms
		s, err := Coil(in)
		if err != nil {
			t.Fatal(err)
		}
		hold(t, s, figures{"coil_amperes": {c.amperes, 0.05e-3}, "coil_watts": {c.watts, 0.005}})
	}
}

// Current that falls from that of 12 V to that of 3.6 V takes ln(12.7/4.3) = 1.08299 L/R
// through a plain diode of 0.7 V and ln(36.7/28.3) = 0.25991 L/R with a 24 V zener:
// law of the RL circuit. 520 mH × 30 mA/10 µs = 1560 V.
func TestCoil_SwitchedOff(t *testing.T) {
	in := relayCoil()
	in.Tau, in.MustRelease = 1.3e-3, 3.6
	s, err := Coil(in)
	if err != nil {
		t.Fatal(err)
	}
	hold(t, s, figures{
		"inductance_henries":        {0.52, 1e-12},
		"bare_volts":                {1560, 1e-9},
		"diode_volts":               {0.7, 0},
		"diode_decay_seconds":       {1.3e-3 * 1.08299, 1.3e-3 * 5e-6},
		"zener_decay_seconds":       {1.3e-3 * 0.25991, 1.3e-3 * 5e-6},
		"diode_lengthening_seconds": {1.3e-3*1.08299 - 10e-6, 1.3e-3 * 5e-6},
		"zener_voltage_volts":       {36.7, 1e-12},
	})
	in.Inductance, in.Tau = 0.52, unknown
	again, err := Coil(in)
	if err != nil {
		t.Fatal(err)
	}
	hold(t, again, figures{"tau_seconds": {1.3e-3, 1e-12}, "diode_decay_seconds": {s.Value("diode_decay_seconds"), 1e-12}})
}

// The decay by the logarithm is that of the circuit's own equation, L di/dt = -R i - v,
// followed in small steps (Runge and Kutta's classical rule).
func TestCoil_DecayFollowsTheCircuit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := relayCoil()
		in.Resistance = rapid.Float64Range(50, 2000).Draw(t, "ohms")
		in.Inductance = rapid.Float64Range(0.01, 2).Draw(t, "henries")
		in.MustRelease = rapid.Float64Range(0.5, 6).Draw(t, "must release")
		in.Source = rapid.Float64Range(0, 500).Draw(t, "source")
		s, err := Coil(in)
		if err != nil {
			t.Fatal(err)
		}
		decay := s.Value("diode_decay_seconds")
		on := in.Voltage * in.Resistance / (in.Resistance + in.Source)
		if on <= in.MustRelease {
			if !math.IsNaN(decay) {
				t.Fatalf("from %g V at the coil the current falls to that of %g V in %g s", on, in.MustRelease, decay)
			}
			return
		}
		i := on / in.Resistance
		slope := func(i float64) float64 { return (-in.Resistance*i - 0.7) / in.Inductance }
		const steps = 400
		h := decay / steps
		for range steps {
			a := slope(i)
			b := slope(i + h/2*a)
			c := slope(i + h/2*b)
			d := slope(i + h*c)
			i += h / 6 * (a + 2*b + 2*c + d)
		}
		if want := in.MustRelease / in.Resistance; decay <= 0 || math.Abs(i-want) > 1e-6*want {
			t.Fatalf("after %g s %g A flow, want %g A", decay, i, want)
		}
	})
}

// A coil that gets no more than its must-release voltage has no time to fall to it.
// 12 V behind 400 ohm are 6 V at a coil of 400 ohm.
func TestCoil_NothingToFall(t *testing.T) {
	for mustRelease, falls := range map[float64]bool{5.9: true, 6: false, 7: false} {
		in := relayCoil()
		in.Source, in.Tau, in.MustRelease = 400, 1.3e-3, mustRelease
		s, err := Coil(in)
		if err != nil {
			t.Fatal(err)
		}
		if got := s.Value("diode_decay_seconds"); (got > 0) != falls || math.IsNaN(got) == falls {
			t.Errorf("to %g V: %g s", mustRelease, got)
		}
		said := slices.ContainsFunc(s.Warnings, func(w string) bool { return strings.Contains(w, "the coil gets 6 V when on") })
		if said == falls {
			t.Errorf("to %g V: warnings %q", mustRelease, s.Warnings)
		}
	}
}

// 12 V behind 20 ohm, coil 360 to 440 ohm: 12 × 360/380 = 11.36842 V, margin 2.36842 V
// to 9 V, and 9 × 380/360 = 9.5 V of the output would do. Leakage of 5 V that falls to
// 1.71 V: 400 × (5/1.71 − 1) = 769.591 ohm behind it; 5 × 440/1209.591 = 1.818797 V; both in
// parallel at most 769.591 × 1.2/3.8 = 243.0286 ohm; 1/(1/243.0286 − 1/440)/1.05 = 517.034,
// so 510 ohm. Worked by hand.
func TestCoil_PulledInAndLetGo(t *testing.T) {
	in := relayCoil()
	in.Source, in.MustOperate, in.MustRelease, in.Leakage, in.Loaded = 20, 9, 1.2, 5, 1.71
	s, err := Coil(in)
	if err != nil {
		t.Fatal(err)
	}
	hold(t, s, figures{
		"least_coil_volts":      {11.36842, 5e-6},
		"pull_in_margin_volts":  {2.36842, 5e-6},
		"least_output_volts":    {9.5, 1e-12},
		"most_coil_amperes":     {12.0 / 380, 1e-12},
		"off_source_ohms":       {769.591, 5e-4},
		"off_coil_volts":        {1.818797, 5e-6},
		"drop_out_margin_volts": {-0.618797, 5e-6},
		"parallel_ohms":         {243.0286, 5e-4},
		"most_bleed_ohms":       {517.034, 5e-3},
		"bleed_ohms":            {510, 0},
		"bleed_amperes":         {12 / 484.5, 1e-12},
		"bleed_watts":           {144 / 484.5, 1e-12},
		"bleed_rating_watts":    {1, 0},
	})
	if !yes(t, s, "pulls_in") || yes(t, s, "drops_out") || s.Yes() {
		t.Errorf("answers %v", s.Answers)
	}
	if on := s.Value("bled_coil_volts"); !(on > 9 && on < 11.36842) {
		t.Errorf("with the resistor %g V are at the coil", on)
	}
	in.Leakage, in.Loaded, in.OffSource = 0.65, unknown, 100
	if s, err = Coil(in); err != nil || !yes(t, s, "drops_out") || !s.Yes() {
		t.Errorf("0.65 V: %v, %v", s.Answers, err)
	}
	in.Source = 200 // 12 × 360/560 = 7.71 V
	if s, err = Coil(in); err != nil || yes(t, s, "pulls_in") {
		t.Errorf("behind 200 ohm: %v, %v", s.Answers, err)
	}
}

// With the resistor that is proposed, the off level lets the relay go wherever in their
// tolerance coil and resistor lie.
func TestCoil_BleedIsEnough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := relayCoil()
		in.MustRelease = rapid.Float64Range(0.3, 3).Draw(t, "must release")
		in.Leakage = rapid.Float64Range(0.1, 12).Draw(t, "leakage")
		in.OffSource = rapid.Float64Range(1, 1e5).Draw(t, "off source")
		in.Resistance = rapid.Float64Range(50, 2000).Draw(t, "ohms")
		s, err := Coil(in)
		if err != nil {
			t.Fatal(err)
		}
		off := rapid.Float64Range(-1, 1)
		coil := in.Resistance * (1 + in.Tolerance*off.Draw(t, "coil is off by"))
		both := coil
		if !yes(t, s, "drops_out") {
			bleed := s.Value("bleed_ohms") * (1 + 0.05*off.Draw(t, "resistor is off by"))
			if !(bleed > 0) {
				t.Fatalf("no resistor: %v", s.Steps)
			}
			both = 1 / (1/coil + 1/bleed)
		}
		if at := in.Leakage * both / (both + in.OffSource); !(at < in.MustRelease) {
			t.Fatalf("%g V at the coil hold it in", at)
		}
	})
}

// The next larger preferred resistor would not do.
func TestCoil_BleedIsTheLargest(t *testing.T) {
	in := relayCoil()
	in.MustRelease, in.Leakage, in.OffSource = 1.2, 6, 1000
	s, err := Coil(in)
	if err != nil {
		t.Fatal(err)
	}
	larger := wiring.E24.AtLeast(s.Value("bleed_ohms")*1.001) * 1.05
	both := 1 / (1/440.0 + 1/larger)
	if at := 6 * both / (both + 1000); at < 1.2 {
		t.Errorf("%g ohm would do as well: %g V", larger, at)
	}
}

func TestCoil_Warnings(t *testing.T) {
	for want, change := range map[string]func(*CoilInput){
		"is not known":         func(in *CoilInput) { in.MustRelease, in.Leakage = 1.2, 2 },
		"look for the leakage": func(in *CoilInput) { in.MustRelease, in.Leakage, in.OffSource = 1.2, 10, 100 },
		"no longer pull the relay in": func(in *CoilInput) {
			in.MustRelease, in.MustOperate, in.Leakage, in.OffSource, in.Source = 1.2, 9, 8, 1000, 90
		},
		"without suppression":      func(in *CoilInput) { in.Inductance = 0.5 },
		"more than half of any":    func(in *CoilInput) { in.Voltage, in.MustRelease, in.Leakage, in.OffSource = 200, 1.2, 10, 100 },
		"up to some 1500 V: what ": func(in *CoilInput) { in.Inductance = 0.5 },
	} {
		in := relayCoil()
		change(&in)
		s, err := Coil(in)
		if err != nil || !strings.Contains(strings.Join(s.Warnings, "\n"), want) {
			t.Errorf("%q: %v, %v", want, s.Warnings, err)
		}
	}
}

func TestCoil_Refused(t *testing.T) {
	for want, change := range map[string]func(*CoilInput){
		"the time constant, not both":       func(in *CoilInput) { in.Tau, in.Inductance = 1e-3, 1 },
		"needs the must-release":            func(in *CoilInput) { in.Leakage = 1 },
		"with the coil connected, not both": func(in *CoilInput) { in.MustRelease, in.Leakage, in.Loaded, in.OffSource = 1.2, 2, 1, 100 },
		"needs the leakage without":         func(in *CoilInput) { in.MustRelease, in.Loaded = 1.2, 1 },
		"cannot raise":                      func(in *CoilInput) { in.MustRelease, in.Leakage, in.Loaded = 1.2, 1, 2 },
		"not below the must-operate":        func(in *CoilInput) { in.MustOperate, in.MustRelease = 2, 3 },
		"not below the 12 V of":             func(in *CoilInput) { in.MustRelease = 12 },
		"below 50 %":                        func(in *CoilInput) { in.Tolerance = 0.5 },
	} {
		in := relayCoil()
		change(&in)
		if _, err := Coil(in); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", want, err)
		}
	}
}

// What cannot be told is said, and no figure is made up for it: two equal readings say
// nothing of the resistance behind a leakage, and a must-release voltage alone nothing of
// letting go.
func TestCoil_NotToBeTold(t *testing.T) {
	in := relayCoil()
	in.MustRelease, in.Leakage, in.Loaded = 1.2, 2, 2
	s, err := Coil(in)
	if err != nil || !math.IsNaN(s.Value("off_source_ohms")) || yes(t, s, "drops_out") || len(s.Warnings) != 1 || !strings.Contains(s.Warnings[0], "too small to be told") {
		t.Errorf("equal readings: off_source_ohms %g, warnings %v, %v", s.Value("off_source_ohms"), s.Warnings, err)
	}
	in.Leakage, in.Loaded = unknown, unknown
	if s, err = Coil(in); err != nil || len(s.Answers) != 0 || len(s.Warnings) != 1 || !strings.Contains(s.Warnings[0], "that needs the leakage") {
		t.Errorf("no leakage: answers %v, warnings %v, %v", s.Answers, s.Warnings, err)
	}
	in.OffSource = 100
	if _, err = Coil(in); err == nil || !strings.Contains(err.Error(), "needs the leakage") {
		t.Errorf("a resistance behind no leakage: %v", err)
	}
}

// The resistor's own tolerance counts, too. By hand: 12 V and 30 mA through 680 ohm are 32.4 V, and
// with 5 % more 33.42 V.
func TestCoil_ResistorAtItsHighEnd(t *testing.T) {
	in := relayCoil()
	in.Tolerance, in.Tau, in.MustRelease, in.Snub, in.Stands = 0, 1.3e-3, 1.2, 680, 33
	s, err := Coil(in)
	if err != nil {
		t.Fatal(err)
	}
	hold(t, s, figures{"snub_voltage_volts": {32.4, 1e-9}, "most_snub_voltage_volts": {33.42, 1e-9}})
	if yes(t, s, "stands_snub") {
		t.Errorf("33 V are not enough: %v", s.Answers)
	}
}
