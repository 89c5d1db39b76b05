package sums

import (
	"fmt"
	"math"

	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// snubbed adds what a resistor across the coil does when the coil is switched off: the current
// falls with L/(R + Rs), and drives its own voltage across the resistor.
func (s *Sheet) snubbed(in *CoilInput, on, tau float64) {
	if math.IsNaN(in.Snub) {
		return
	}
	part := in.Resistance / (in.Resistance + in.Snub)
	s.step("snub_decay_seconds", "current down to the must-release level, resistor", unit.Time, tau*part*math.Log(on/in.MustRelease),
		fmt.Sprintf("%s × %s/(%s + %s) × ln(%s/%s)", seconds(tau), plain(in.Resistance), plain(in.Resistance), plain(in.Snub), plain(on), plain(in.MustRelease)))
	most := in.Voltage / (in.least() + in.Source)
	s.step("snub_voltage_volts", "what the output must stand with the resistor", unit.Voltage, in.Voltage+most*in.Snub,
		fmt.Sprintf("%s + %s × %s", volts(in.Voltage), amperes(most), ohms(in.Snub)))
	s.power("snub", "resistor across the coil", in.Voltage*in.Voltage/in.Snub, fmt.Sprintf("(%s)²/%s", volts(in.Voltage), ohms(in.Snub)))
}

// stands adds the fastest suppression that the output stands, and judges what was given.
func (s *Sheet) stands(in *CoilInput) {
	if math.IsNaN(in.Stands) {
		return
	}
	room := in.Stands - in.Voltage
	if zener := room - diodeVolts; zener > 0 {
		s.step("most_zener_volts", "largest zener that the output stands", unit.Voltage, zener,
			fmt.Sprintf("%s − %s − %s", volts(in.Stands), volts(in.Voltage), volts(diodeVolts)))
	}
	most := in.Voltage / (in.least() + in.Source)
	s.step("most_snub_ohms", "largest resistor across the coil that it stands, E24", unit.Resistance, wiring.E24.AtMost(room/most/(1+bleedTolerance)),
		fmt.Sprintf("(%s − %s)/%s/%s", volts(in.Stands), volts(in.Voltage), amperes(most), plain(1+bleedTolerance)))
	s.standsPart(in, "zener", fmt.Sprintf("a zener of %s", volts(in.Zener)), s.Value("zener_voltage_volts"))
	if !math.IsNaN(in.Snub) {
		must := s.step("most_snub_voltage_volts", "at the output, resistor 5 % high", unit.Voltage, in.Voltage+most*in.Snub*(1+bleedTolerance),
			fmt.Sprintf("%s + %s × %s × %s", volts(in.Voltage), amperes(most), ohms(in.Snub), plain(1+bleedTolerance)))
		s.standsPart(in, "snub", fmt.Sprintf("a resistor of %s", ohms(in.Snub)), must)
	}
}

func (s *Sheet) standsPart(in *CoilInput, name, part string, must float64) {
	if must <= in.Stands {
		s.answer("stands_"+name, true, fmt.Sprintf("The output stands %s: it sees %s, it stands %s.", part, volts(must), volts(in.Stands)))
		return
	}
	s.answer("stands_"+name, false, fmt.Sprintf("The output does not stand %s: it sees %s, it stands %s.", part, volts(must), volts(in.Stands)))
}
