package sums

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Makers' notes on relays in the warmth: a coil of 320 ohm and 13.0 V at 25 °C has 443.3 ohm and
// 18 V at 125 °C (babcockinc.com); 290 ohm at 25 °C are 403 ohm at 125 °C, read from a chart (Leach,
// note 102); 16 V at 25 °C are 19.7 V at 85 °C, 20.6 V at 100 °C and 12.9 V at −25 °C (Kilovac).
func TestCoil_Hot(t *testing.T) {
	for _, c := range []struct{ ohms, operate, celsius, hotOhms, hotVolts, ohmsWithin float64 }{
		{320, 13, 125, 443.3, 18, 0.05}, {290, 13, 125, 403.3, 18, 2}, {400, 16, 85, 492.5, 19.7, 0.1}, {400, 16, 100, 515.6, 20.6, 0.1}, {400, 16, -25, 322.9, 12.9, 0.1},
	} {
		in := relayCoil()
		in.Voltage, in.Resistance, in.MustOperate, in.Hottest, in.Reference = 28, c.ohms, c.operate, c.celsius, 25
		s, err := Coil(in)
		if err != nil {
			t.Fatal(err)
		}
		hold(t, s, figures{"hot_coil_ohms": {c.hotOhms, c.ohmsWithin}, "hot_must_operate_volts": {c.hotVolts, 0.051}, "hot_coil_amperes": {28 / c.hotOhms, 5e-4}})
		if !yes(t, s, "pulls_in_hot") {
			t.Errorf("28 V do not do for %g V", c.hotVolts)
		}
	}
}

// Copper changes by 0.393 % a kelvin at 20 °C: IEC 60028, from memory.
func TestCoil_CoppersCoefficient(t *testing.T) {
	in := relayCoil()
	in.Hottest = 21
	s, err := Coil(in)
	if err != nil {
		t.Fatal(err)
	}
	hold(t, s, figures{"hot_factor": {1.00393, 5e-6}})
}

// At the hottest air that is named the margin is nothing, in the worst case; a kelvin more is
// answered by no.
func TestCoil_HottestAir(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := relayCoil()
		in.Voltage = rapid.Float64Range(10, 14).Draw(t, "voltage")
		in.MustOperate = in.Voltage * rapid.Float64Range(0.65, 0.8).Draw(t, "must operate")
		in.Source = rapid.SampledFrom([]float64{0, 0.47, 4.7, 18.2}).Draw(t, "source")
		in.Rise = rapid.Float64Range(0, 40).Draw(t, "rise")
		in.Hottest = 20
		s, err := Coil(in)
		if err != nil {
			t.Fatal(err)
		}
		drawn(t, s)
		in.Hottest = s.Value("most_air_celsius")
		if in.Hottest < -39 || in.Hottest+1 > 125 {
			return
		}
		for more, pulls := range map[float64]bool{-0.01: true, 1: false} {
			again := in
			again.Hottest += more
			if s, err = Coil(again); err != nil || yes(t, s, "pulls_in_hot") != pulls {
				t.Fatalf("%g K beyond the hottest air: %v, %v", more, s.Answers, err)
			}
		}
	})
}

func TestCoil_HotRefused(t *testing.T) {
	for want, change := range map[string]func(*CoilInput){
		"the hottest air must be":   func(in *CoilInput) { in.Hottest = 130 },
		"is destroyed":              func(in *CoilInput) { in.Hottest, in.Rise = 110, 100 },
		"stands 10 V cannot switch": func(in *CoilInput) { in.Stands = 10 },
	} {
		in := relayCoil()
		change(&in)
		if _, err := Coil(in); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", want, err)
		}
	}
}
