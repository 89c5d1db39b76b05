package sums

import (
	"errors"
	"fmt"
	"math"

	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// LampInput is an indicator LED with its series resistor, in volts, amperes and ohms.
type LampInput struct {
	Supply   float64 // volts, nominal
	Highest  float64 // volts: battery on float; NaN: 1.15 times the nominal
	Lowest   float64 // volts: battery at its end; NaN: 0.875 times the nominal
	LED      float64 // volts: forward voltage
	Current  float64 // amperes wanted; NaN where the resistor is given
	Resistor float64 // ohms; NaN where the current is given
	Off      float64 // volts that an output that is off still shows
}

const (
	// A lead-acid battery of six cells, nominally 12 V, floats at 2.25 to 2.30 V a cell and
	// is empty at 1.75 V a cell: makers' sheets.
	floatLow, floatHigh, empty = 6 * 2.25 / 12, 6 * 2.30 / 12, 6 * 1.75 / 12

	lampTolerance = 0.05  // of the series resistor, E24
	mostLED       = 20e-3 // amperes that a small LED stands for long (common practice, no source)
)

func (in *LampInput) check() error {
	switch {
	case math.IsNaN(in.Current) == math.IsNaN(in.Resistor):
		return errors.New("either a current or a resistor is needed: each follows from the other")
	case in.LED >= in.Supply:
		return fmt.Errorf("the LED's %s are not below the supply of %s: it cannot light", volts(in.LED), volts(in.Supply))
	case in.Highest < in.Supply:
		return fmt.Errorf("the highest supply of %s is below the nominal one of %s", volts(in.Highest), volts(in.Supply))
	case in.Lowest > in.Supply:
		return fmt.Errorf("the lowest supply of %s is above the nominal one of %s", volts(in.Lowest), volts(in.Supply))
	}
	return nil
}

// Lamp works out an indicator LED and its resistor.
func Lamp(in LampInput) (*Sheet, error) {
	if math.IsNaN(in.Highest) {
		in.Highest = in.Supply * floatHigh
	}
	if math.IsNaN(in.Lowest) {
		in.Lowest = in.Supply * empty
	}
	if err := in.check(); err != nil {
		return nil, err
	}
	s := &Sheet{Title: fmt.Sprintf("Indicator LED of %s at %s", volts(in.LED), volts(in.Supply))}
	s.Cautions = []string{
		"an output that cannot drive lamps drives a relay board instead, and the lamp has a supply of its own",
		theCodeFirst,
	}
	s.given("supply_volts", "supply", unit.Voltage, in.Supply)
	s.given("highest_volts", "supply at most (battery on float)", unit.Voltage, in.Highest)
	s.given("lowest_volts", "supply at least (battery at its end)", unit.Voltage, in.Lowest)
	s.given("led_volts", "LED's forward voltage", unit.Voltage, in.LED)
	s.given("wanted_amperes", "current wanted", unit.Current, in.Current)
	s.given("off_volts", "output when off", unit.Voltage, in.Off)
	s.lampResistor(&in)
	s.lampCurrents(&in)
	s.lampOff(&in)
	s.Circuit = lampCircuit(&in)
	return s, nil
}

// lampResistor finds the resistor where it is not given.
func (s *Sheet) lampResistor(in *LampInput) {
	if !math.IsNaN(in.Resistor) {
		s.given("resistor_ohms", "resistor", unit.Resistance, in.Resistor)
		if nearest := wiring.E24.Nearest(in.Resistor); math.Abs(nearest/in.Resistor-1) > 1e-6 {
			s.step("preferred_ohms", "nearest preferred value, E24", unit.Resistance, nearest, "nearest to "+ohms(in.Resistor))
		}
		return
	}
	exact := s.step("exact_ohms", "resistor for this current", unit.Resistance, (in.Supply-in.LED)/in.Current,
		fmt.Sprintf("(%s − %s)/%s", volts(in.Supply), volts(in.LED), amperes(in.Current)))
	in.Resistor = s.step("resistor_ohms", "nearest preferred value, E24", unit.Resistance, wiring.E24.Nearest(exact), "nearest to "+ohms(exact))
}

// lampCurrents adds the currents over the life of a battery's charge.
func (s *Sheet) lampCurrents(in *LampInput) {
	at := func(name, when string, supply, r float64) float64 {
		return s.step(name, "current "+when, unit.Current, math.Max(0, supply-in.LED)/r,
			fmt.Sprintf("(%s − %s)/%s", volts(supply), volts(in.LED), ohms(r)))
	}
	at("amperes", "at "+volts(in.Supply), in.Supply, in.Resistor)
	if low := in.Supply * floatLow; low < in.Highest {
		at("float_amperes", "on float, "+volts(low), low, in.Resistor)
	}
	at("highest_amperes", "at most supply, "+volts(in.Highest), in.Highest, in.Resistor)
	at("lowest_amperes", "at the battery's end, "+volts(in.Lowest), in.Lowest, in.Resistor)
	least := in.Resistor * (1 - lampTolerance)
	worst := at("worst_amperes", "worst case, resistor 5 % low", in.Highest, least)
	across := in.Highest - in.LED
	s.power("resistor", "resistor", across*across/least, fmt.Sprintf("(%s − %s)²/%s", volts(in.Highest), volts(in.LED), ohms(least)))
	if worst > mostLED {
		s.warn(fmt.Sprintf("%s is more than the %s that a small LED usually stands; see its data sheet", amperes(worst), amperes(mostLED)))
	}
	if in.Lowest <= in.LED {
		s.warn(fmt.Sprintf("at %s the LED is dark", volts(in.Lowest)))
	}
}

// lampOff adds whether what an output shows when off lights the LED.
func (s *Sheet) lampOff(in *LampInput) {
	if math.IsNaN(in.Off) {
		return
	}
	if in.Off < in.LED {
		s.answer("stays_dark", true, fmt.Sprintf("Off it stays dark: %s are below the LED's %s.", volts(in.Off), volts(in.LED)))
		return
	}
	i := s.step("off_amperes", "current when off", unit.Current, (in.Off-in.LED)/in.Resistor,
		fmt.Sprintf("(%s − %s)/%s", volts(in.Off), volts(in.LED), ohms(in.Resistor)))
	s.answer("stays_dark", false, fmt.Sprintf("Off it may glow: %s are not below the LED's %s, %s flow.", volts(in.Off), volts(in.LED), amperes(i)))
}
