package sums

import (
	"errors"
	"fmt"
	"math"

	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

func (in *DividerInput) checkFilter() error {
	if !math.IsNaN(in.Capacitor) && !math.IsNaN(in.Corner) {
		return errors.New("give the capacitor or the corner frequency, not both: each follows from the other")
	}
	return nil
}

func (s *Sheet) givenOfFilter(in *DividerInput) {
	if in.Source > 0 {
		s.given("output_source_ohms", "resistance behind the output", unit.Resistance, in.Source)
	}
	s.given("capacitor_farads", "capacitor across the input", unit.Capacitance, in.Capacitor)
	s.given("wanted_corner_hertz", "corner frequency wanted", hertz, in.Corner)
	s.given("rate_hertz", "conversions a second", unit.Frequency, in.Rate)
}

// hertz is a frequency as it is written for filters.
var hertz = unit.Of("Hz")

// sourceShare adds what the divider takes off the output's own level.
func (s *Sheet) sourceShare(in *DividerInput, terminal float64) {
	if in.Source > 0 {
		s.step("source_share", "what the divider takes off the output's level", unit.Share, in.Source/(in.Source+terminal),
			fmt.Sprintf("%s/(%s + %s)", ohms(in.Source), ohms(in.Source), ohms(terminal)))
	}
}

// filter adds what a capacitor across the converter's input does.
func (s *Sheet) filter(in *DividerInput, f wiring.DividerFigures) {
	if math.IsNaN(in.Capacitor) && math.IsNaN(in.Corner) {
		return
	}
	input := f.PinOhms * (1/f.InputShare - 1)
	r := s.step("filter_ohms", "resistance that the capacitor sees", unit.Resistance, 1/(1/(in.Upper+in.Source)+1/in.Lower+1/input),
		fmt.Sprintf("%s, %s and %s in parallel", ohms(in.Upper+in.Source), ohms(in.Lower), ohms(input)))
	if math.IsNaN(in.Capacitor) {
		exact := s.step("exact_capacitor_farads", "capacitor for this corner", unit.Capacitance, 1/(2*math.Pi*r*in.Corner),
			fmt.Sprintf("1/(2π × %s × %s)", ohms(r), show(hertz, in.Corner)))
		in.Capacitor = s.step("capacitor_farads", "nearest preferred value, E6", unit.Capacitance, nearestCapacitor(exact), "nearest to "+show(unit.Capacitance, exact))
	}
	tau := s.step("filter_tau_seconds", "time constant", unit.Time, r*in.Capacitor, fmt.Sprintf("%s × %s", ohms(r), show(unit.Capacitance, in.Capacitor)))
	corner := s.step("corner_hertz", "corner frequency (−3 dB)", hertz, 1/(2*math.Pi*tau), fmt.Sprintf("1/(2π × %s)", seconds(tau)))
	s.filterDelay(in, tau)
	s.settling(in, f, tau)
	s.aliases(in, corner)
}

// nearestCapacitor is the nearest preferred value of E6. The series counts from 1, so it is
// asked in picofarads.
func nearestCapacitor(farads float64) float64 { return wiring.E6.Nearest(farads*1e12) / 1e12 }

// filterDelay adds by how much the output's crossing is seen late: a step reaches half its
// height after τ·ln 2, and a ramp much longer than τ is late by τ.
func (s *Sheet) filterDelay(in *DividerInput, tau float64) {
	step := s.step("crossing_delay_seconds", "a sudden edge is seen late by", unit.Time, tau*math.Ln2, seconds(tau)+" × ln 2")
	off := (1 + in.Tolerance) * (1 + in.CapacitorTolerance)
	low := (1 - in.Tolerance) * (1 - in.CapacitorTolerance)
	s.step("least_delay_seconds", "at least, parts at their low end", unit.Time, step*low, fmt.Sprintf("%s × %s × %s", seconds(step), plain(1-in.Tolerance), plain(1-in.CapacitorTolerance)))
	most := s.step("most_delay_seconds", "at most: a slow ramp, parts at their high end", unit.Time, tau*off, fmt.Sprintf("%s × %s × %s", seconds(tau), plain(1+in.Tolerance), plain(1+in.CapacitorTolerance)))
	s.warn(fmt.Sprintf("delays of the output read late by %s to %s: take %s off, or have a loop-back measure it (rig check --loop-back)", seconds(step*low), seconds(most), seconds(step)))
}

// settling adds the time until a level is read to half a step of the converter.
func (s *Sheet) settling(in *DividerInput, f wiring.DividerFigures, tau float64) {
	ratio := in.Highest / f.StepVoltsAtTerminal
	off := (1 + in.Tolerance) * (1 + in.CapacitorTolerance)
	settled := s.step("settling_seconds", "settled to half a step of the converter, worst case", unit.Time, tau*off*math.Log(2*ratio),
		fmt.Sprintf("%s × %s × ln(2 × %s/%s)", seconds(tau), plain(off), volts(in.Highest), volts(f.StepVoltsAtTerminal)))
	if !math.IsNaN(in.Rate) {
		s.step("settling_conversions", "that is conversions", unit.Number, math.Ceil(settled*in.Rate), fmt.Sprintf("%s × %s, rounded up", seconds(settled), show(unit.Frequency, in.Rate)))
	}
}

// aliases adds what is left of a ripple at half the rate and at the rate.
func (s *Sheet) aliases(in *DividerInput, corner float64) {
	if math.IsNaN(in.Rate) {
		return
	}
	left := func(name, what string, f float64) float64 {
		return s.step(name, what, unit.Share, 1/math.Sqrt(1+f*f/(corner*corner)), fmt.Sprintf("1/√(1 + (%s/%s)²)", show(hertz, f), show(hertz, corner)))
	}
	half := left("half_rate_share", "left of a ripple at half the rate", in.Rate/2)
	left("rate_share", "left of a ripple at the rate", in.Rate)
	if half > math.Sqrt2/2 {
		s.warn(fmt.Sprintf("the corner of %s is above half the rate: a ripple faster than that is read as a slower one", show(hertz, corner)))
	}
}
