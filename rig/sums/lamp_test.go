package sums

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func panelLamp() LampInput {
	return LampInput{Supply: 12, Highest: unknown, Lowest: unknown, LED: 1.8, Current: unknown, Resistor: 1000, Off: 0.65}
}

// An LED of about 1.8 V and 1 kohm at 12 V take 10.2 mA (common practice, no source).
// A lead-acid battery of six cells floats at 13.5 to 13.8 V (makers' data sheets: 2.25 to
// 2.30 V a cell) and is empty at 10.5 V (1.75 V a cell, from memory). The rest by Ohm's
// law: 11.7, 12.0 and 8.7 mA; 12 V on 950 ohm: 12.6316 mA, 151.579 mW.
func TestLamp_Resistor(t *testing.T) {
	s, err := Lamp(panelLamp())
	if err != nil {
		t.Fatal(err)
	}
	hold(t, s, figures{
		"highest_volts": {13.8, 1e-12}, "lowest_volts": {10.5, 1e-12},
		"amperes": {10.2e-3, 1e-12}, "float_amperes": {11.7e-3, 1e-12}, "highest_amperes": {12e-3, 1e-12}, "lowest_amperes": {8.7e-3, 1e-12},
		"worst_amperes": {12.6316e-3, 5e-8}, "resistor_watts": {151.579e-3, 5e-7}, "resistor_rating_watts": {0.5, 0},
	})
	if !yes(t, s, "stays_dark") || !strings.Contains(strings.Join(s.Cautions, "\n"), "relay board") || len(s.Warnings) != 0 {
		t.Errorf("answers %v, warnings %v, cautions %v", s.Answers, s.Warnings, s.Cautions)
	}
}

// Forward voltages of makers' data sheets (Vishay 83012, 83043: at 20 mA, typical; 83030:
// at 2 mA, typical), the resistors worked by hand and rounded to E24: (12 − 2.0)/20 mA =
// 500 so 510; (12 − 2.4)/20 mA = 480 so 470; (12 − 1.9)/2 mA = 5050 so 5.1 k; (12 − 2.4)/2 mA
// = 4800 so 4.7 k; 1.8 V and 10 mA: 1020 so 1 k.
func TestLamp_Current(t *testing.T) {
	for _, c := range []struct{ led, amperes, exact, ohms float64 }{
		{2.0, 20e-3, 500, 510}, {2.4, 20e-3, 480, 470}, {1.9, 2e-3, 5050, 5100}, {2.4, 2e-3, 4800, 4700}, {1.8, 10e-3, 1020, 1000},
	} {
		in := panelLamp()
		in.LED, in.Current, in.Resistor = c.led, c.amperes, unknown
		s, err := Lamp(in)
		if err != nil {
			t.Fatal(err)
		}
		hold(t, s, figures{"exact_ohms": {c.exact, 1e-9}, "resistor_ohms": {c.ohms, 1e-9}})
	}
}

// The resistor found gives the current wanted within half a step of E24, of which the
// widest is from 13 to 15 (IEC 60063, from memory).
func TestLamp_NearTheCurrent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := panelLamp()
		in.Supply = rapid.Float64Range(5, 30).Draw(t, "supply")
		in.LED = rapid.Float64Range(1.5, 3.5).Draw(t, "led")
		in.Current, in.Resistor = rapid.Float64Range(0.5e-3, 30e-3).Draw(t, "current"), unknown
		s, err := Lamp(in)
		if err != nil {
			t.Fatal(err)
		}
		if got := s.Value("amperes"); math.Abs(math.Log(got/in.Current)) > math.Log(15.0/13)/2+1e-9 {
			t.Fatalf("%g A instead of %g A", got, in.Current)
		}
		if low, mid, high := s.Value("lowest_amperes"), s.Value("amperes"), s.Value("worst_amperes"); !(low <= mid && mid < high) {
			t.Fatalf("currents %g, %g, %g A do not rise with the supply", low, mid, high)
		}
	})
}

func TestLamp_Warnings(t *testing.T) {
	in := panelLamp()
	in.Resistor = 470
	s, err := Lamp(in) // 12 V on 446.5 ohm: 26.9 mA
	if err != nil || len(s.Warnings) != 1 || !strings.Contains(s.Warnings[0], "26.88 mA") {
		t.Errorf("470 ohm: %v, %v", s.Warnings, err)
	}
	in = panelLamp()
	in.Off = 2.8 // 1 V on 1 kohm
	if s, err = Lamp(in); err != nil || yes(t, s, "stays_dark") || math.Abs(s.Value("off_amperes")-1e-3) > 1e-12 {
		t.Errorf("2.8 V when off: %v, %g A, %v", s.Answers, s.Value("off_amperes"), err)
	}
	in = panelLamp()
	in.Resistor, in.Lowest = 1020, 1.7
	if s, err = Lamp(in); err != nil || s.Value("preferred_ohms") != 1000 || s.Value("lowest_amperes") != 0 || len(s.Warnings) != 1 {
		t.Errorf("1020 ohm: %g, %v, %v", s.Value("preferred_ohms"), s.Warnings, err)
	}
}

func TestLamp_Refused(t *testing.T) {
	for want, change := range map[string]func(*LampInput){
		"either a current or a resistor":          func(in *LampInput) { in.Resistor = unknown },
		"either a current or a resistor is":       func(in *LampInput) { in.Current = 1e-3 },
		"cannot light":                            func(in *LampInput) { in.LED = 12 },
		"highest supply of 11 V is below":         func(in *LampInput) { in.Highest = 11 },
		"lowest supply of 13 V is above the nomi": func(in *LampInput) { in.Lowest = 13 },
	} {
		in := panelLamp()
		change(&in)
		if _, err := Lamp(in); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", want, err)
		}
	}
}
