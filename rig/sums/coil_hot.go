package sums

import (
	"errors"
	"fmt"
	"math"

	"makebreak/rig/unit"
)

// copperZero is how far below 0 °C the line of copper's resistance meets zero, so that it
// changes by 0.393 % a kelvin at 20 °C (textbook, and makers' notes on relays).
const copperZero = 234.5

func (in *CoilInput) checkHot() error {
	hot := in.Hottest + in.Rise
	switch {
	case math.IsNaN(in.Hottest):
		return nil
	case in.Hottest < -40 || in.Hottest > 125 || in.Reference < 0 || in.Reference > 40:
		return errors.New("the hottest air must be from -40 °C to 125 °C, and the coil's figures stated at 0 °C to 40 °C")
	case hot > 200:
		return fmt.Errorf("a coil at %s is destroyed: see the maker's sheet for the most that it stands", show(unit.Celsius, hot))
	}
	return nil
}

// hot adds what warmth makes of the coil. The relay needs the same current as before, so its
// must-operate voltage rises as the coil's resistance does.
func (s *Sheet) hot(in *CoilInput) {
	if math.IsNaN(in.Hottest) {
		return
	}
	at := s.step("coil_celsius", "coil at its hottest", unit.Celsius, in.Hottest+in.Rise,
		fmt.Sprintf("%s + %s", show(unit.Celsius, in.Hottest), show(unit.Kelvin, in.Rise)))
	f := s.step("hot_factor", "copper's resistance grows by", unit.Number, (copperZero+at)/(copperZero+in.Reference),
		fmt.Sprintf("(234.5 + %s)/(234.5 + %s)", plain(at), plain(in.Reference)))
	r := s.step("hot_coil_ohms", "coil when hot", unit.Resistance, in.Resistance*f, fmt.Sprintf("%s × %s", ohms(in.Resistance), plain(f)))
	s.step("hot_coil_amperes", "current when hot", unit.Current, in.Voltage/(r+in.Source), fmt.Sprintf("%s/%s", volts(in.Voltage), ohms(r+in.Source)))
	if !math.IsNaN(in.MustOperate) {
		s.pullInHot(in, f)
	}
}

// pullInHot adds whether the relay is pulled in again when its coil is hot.
func (s *Sheet) pullInHot(in *CoilInput, f float64) {
	needs := s.step("hot_must_operate_volts", "must operate at, when hot", unit.Voltage, in.MustOperate*f, fmt.Sprintf("%s × %s", volts(in.MustOperate), plain(f)))
	gets, r := in.Voltage, in.least()*f
	if in.Source > 0 {
		gets = s.step("hot_least_coil_volts", "at the hot coil, worst case", unit.Voltage, shared(in.Voltage, r, in.Source), sharedSum(in.Voltage, r, in.Source))
	}
	s.step("hot_pull_in_margin_volts", "pull-in margin when hot", unit.Voltage, gets-needs, fmt.Sprintf("%s − %s", volts(gets), volts(needs)))
	most := in.Voltage/in.MustOperate - in.Source/in.least()
	s.step("most_air_celsius", "hottest air at which it pulls in", unit.Celsius, most*(copperZero+in.Reference)-copperZero-in.Rise,
		fmt.Sprintf("%s × (234.5 + %s) − 234.5 − %s", plain(most), plain(in.Reference), plain(in.Rise)))
	if gets >= needs {
		s.answer("pulls_in_hot", true, fmt.Sprintf("It pulls in hot, too: %s at the coil, at least %s are needed then.", volts(gets), volts(needs)))
		return
	}
	s.answer("pulls_in_hot", false, fmt.Sprintf("It may not pull in when hot: %s at the coil, %s are needed then.", volts(gets), volts(needs)))
}
