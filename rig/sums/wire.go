package sums

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"

	"makebreak/rig/unit"
)

// DropInput is a load at the end of a cable of two conductors, in volts, amperes, watts, ohms,
// metres, mm² and °C. What is not known is NaN.
type DropInput struct {
	Voltage     float64 // volts at the near end; the least it can be
	Least       float64 // volts that the load needs; NaN: nothing is judged
	Current     float64 // amperes of the load; or
	Load        float64 // ohms of the load; or
	Power       float64 // watts of a load that takes the more current the less voltage there is
	Length      float64 // metres of the cable, one way; NaN: the longest is to be found
	Area        float64 // mm² of each conductor; NaN: the least is to be found
	Parallel    int     // conductors in parallel, each way
	Temperature float64 // °C of the conductors, the highest
	Tolerance   float64 // by how much a conductor may have more resistance, a share
	Joints      float64 // ohms of all joints and terminals together
}

const (
	// Annealed copper at 20 °C, IEC 60028: 1/58 ohm mm²/m and 0.393 % a kelvin.
	copperOhms  = 1.0 / 58
	copperAlpha = 0.00393
	coldOhms    = 20.0 // °C that both hold at

	mostParallel = 16
)

// areas are cross-sections, in mm², that conductors are made with: from 0.5 by IEC 60228,
// thinner ones are usual in alarm cables (common practice, no source).
var areas = []float64{0.14, 0.22, 0.34, 0.5, 0.75, 1, 1.5, 2.5, 4, 6, 10, 16, 25, 35}

// gaugeText is a gauge as it is written: 22, AWG 22, 22AWG, 2/0.
var gaugeText = regexp.MustCompile(`^(?i:awg\s*)?(\d{1,2})(/0)?(?i:\s*awg)?$`)

// GaugeArea returns the cross-section in mm² of an American wire gauge from 4/0 to 40, by the
// formula of ASTM B258: the diameter is 0.005 in × 92^((36 − n)/39).
func GaugeArea(text string) (float64, error) {
	m := gaugeText.FindStringSubmatch(text)
	if m == nil {
		return 0, fmt.Errorf("%q is not a gauge: write 22 or 2/0", text)
	}
	n, err := strconv.Atoi(m[1])
	if err != nil {
		return 0, err
	}
	if m[2] != "" {
		n = 1 - n
	}
	if n < -3 || n > 40 || m[2] != "" && n > 0 {
		return 0, fmt.Errorf("the gauge %q must be from 4/0 to 40", text)
	}
	return gaugeArea(n), nil
}

func gaugeArea(n int) float64 {
	d := 0.127 * math.Pow(92, float64(36-n)/39) // mm
	return math.Pi / 4 * d * d
}

// gaugeName is a gauge as it is written: 2/0 for -1.
func gaugeName(n int) string {
	if n < 1 {
		return fmt.Sprintf("%d/0 AWG", 1-n)
	}
	return fmt.Sprintf("%d AWG", n)
}

func (in *DropInput) check() error {
	loads := 0
	for _, v := range []float64{in.Current, in.Load, in.Power} {
		if !math.IsNaN(v) {
			loads++
		}
	}
	switch {
	case loads != 1:
		return errors.New("one of the load's current, resistance and power is needed")
	case math.IsNaN(in.Length) && math.IsNaN(in.Area):
		return errors.New("the length or the cross-section is needed: the other one follows from it")
	case (math.IsNaN(in.Length) || math.IsNaN(in.Area)) && math.IsNaN(in.Least):
		return errors.New("the least voltage is needed, to find a length or a cross-section by")
	case in.Least >= in.Voltage:
		return fmt.Errorf("the least voltage of %s is not below the %s at the near end", volts(in.Least), volts(in.Voltage))
	case in.Parallel < 1 || in.Parallel > mostParallel:
		return fmt.Errorf("%d conductors in parallel: must be 1 to %d", in.Parallel, mostParallel)
	case in.Temperature < -40 || in.Temperature > 90:
		return fmt.Errorf("the temperature %s must be from -40 °C to 90 °C", show(unit.Celsius, in.Temperature))
	}
	return nil
}

// Drop works out the voltage that a cable leaves for a load, and the longest length and least
// cross-section with which it leaves enough.
func Drop(in DropInput) (*Sheet, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	s := &Sheet{Title: "Voltage drop from " + volts(in.Voltage) + " to a load of " + in.loadText()}
	s.Cautions = []string{
		"take the least voltage that there can be: of a 12 V battery at its end that is 10.5 V",
		"loads that share a conductor add up, and their common 0 V conductor shifts what each of them sees",
		"the fuse protects the cable: how much current it may carry is in the electrical code, not in this sum",
		theCodeFirst,
	}
	s.givenOfDrop(&in)
	per := s.copper(&in)
	most := s.mostLoop(&in)
	given := !math.IsNaN(in.Length) && !math.IsNaN(in.Area)
	if given {
		s.dropAlong(&in, per)
	}
	switch {
	case math.IsNaN(most):
		return s, nil
	case most <= 0 && given:
		return s, nil // answered by no
	case most <= 0:
		s.answer("works", false, fmt.Sprintf("Nothing works: joints of %s alone take more than there is.", ohms(in.Joints)))
		return s, nil
	}
	s.findCable(&in, per, most)
	if !given && !math.IsNaN(in.Length) && !math.IsNaN(in.Area) {
		in.Least = math.NaN() // kept by what was found
		s.dropAlong(&in, per)
	}
	return s, nil
}

// findCable adds the longest cable and the least cross-section, and puts in what was not known.
func (s *Sheet) findCable(in *DropInput, per, most float64) {
	length := in.Length
	if !math.IsNaN(in.Area) {
		longest := s.step("longest_metres", "longest cable", unit.Length, most*in.Area*float64(in.Parallel)/(2*per),
			fmt.Sprintf("%s × %s/(2 × %s)", ohms(most), in.metal(), ohmsMetre(per)))
		if math.IsNaN(length) {
			in.Length = longest
		}
	}
	if !math.IsNaN(length) {
		if size := s.leastArea(in, per, most); math.IsNaN(in.Area) {
			in.Area = size
		}
	}
}

func (in *DropInput) loadText() string {
	switch {
	case !math.IsNaN(in.Current):
		return amperes(in.Current)
	case !math.IsNaN(in.Load):
		return ohms(in.Load)
	}
	return show(unit.Power, in.Power)
}

// metal is the copper of one way, as it stands in a formula.
func (in *DropInput) metal() string {
	if in.Parallel == 1 {
		return show(unit.Area, in.Area)
	}
	return fmt.Sprintf("%d × %s", in.Parallel, show(unit.Area, in.Area))
}

func ohmsMetre(v float64) string { return plain(v) + " ohm mm²/m" }

func (s *Sheet) givenOfDrop(in *DropInput) {
	s.given("near_volts", "voltage at the near end", unit.Voltage, in.Voltage)
	s.given("least_volts", "least voltage of the load", unit.Voltage, in.Least)
	s.given("load_amperes", "load", unit.Current, in.Current)
	s.given("load_ohms", "load", unit.Resistance, in.Load)
	s.given("load_watts", "load, the same power at any voltage", unit.Power, in.Power)
	s.given("length_metres", "length of the cable, one way", unit.Length, in.Length)
	s.given("area_square_millimetres", "cross-section of a conductor", unit.Area, in.Area)
	s.given("parallel", "conductors in parallel, each way", unit.Number, float64(in.Parallel))
	s.given("conductor_celsius", "conductors at", unit.Celsius, in.Temperature)
	s.given("tolerance_share", "a conductor may have more resistance by", unit.Share, in.Tolerance)
	if in.Joints > 0 {
		s.given("joints_ohms", "joints and terminals together", unit.Resistance, in.Joints)
	}
}

// copper adds the resistivity in the worst case, in ohm mm²/m, and returns it.
func (s *Sheet) copper(in *DropInput) float64 {
	warm := 1 + copperAlpha*(in.Temperature-coldOhms)
	return s.step("resistivity_ohm_square_millimetres_a_metre", "resistivity of copper, worst case", ohmSquare, copperOhms*warm*(1+in.Tolerance),
		fmt.Sprintf("1/58 × (1 + 0.00393 × (%s − 20)) × %s", plain(in.Temperature), plain(1+in.Tolerance)))
}

// ohmSquare is the unit of a resistivity as cables are worked out with.
var ohmSquare = unit.Of("ohm mm²/m")

// currentAt is the load's current, in amperes, at a voltage.
func (in *DropInput) currentAt(v float64) float64 {
	switch {
	case !math.IsNaN(in.Current):
		return in.Current
	case !math.IsNaN(in.Load):
		return v / in.Load
	}
	return in.Power / v
}

// far is the voltage at the load behind a resistance; 0 where a load of constant power finds
// none at which it can run.
func (in *DropInput) far(loop float64) float64 {
	switch {
	case !math.IsNaN(in.Current):
		return in.Voltage - in.Current*loop
	case !math.IsNaN(in.Load):
		return in.Voltage * in.Load / (in.Load + loop)
	}
	d := 1 - 4*in.Power*loop/(in.Voltage*in.Voltage)
	if d < -1e-9 {
		return 0
	}
	return in.Voltage * (1 + math.Sqrt(math.Max(0, d))) / 2
}

func (in *DropInput) farSum(loop float64) string {
	switch {
	case !math.IsNaN(in.Current):
		return fmt.Sprintf("%s − %s × %s", volts(in.Voltage), amperes(in.Current), ohms(loop))
	case !math.IsNaN(in.Load):
		return sharedSum(in.Voltage, in.Load, loop)
	}
	if in.far(loop) == 0 {
		return fmt.Sprintf("none: (%s)² is below 4 × %s × %s", volts(in.Voltage), show(unit.Power, in.Power), ohms(loop))
	}
	return fmt.Sprintf("(%s + √((%s)² − 4 × %s × %s))/2", volts(in.Voltage), volts(in.Voltage), show(unit.Power, in.Power), ohms(loop))
}

// mostLoop adds the most resistance that both conductors may have, and returns it; NaN where no
// least voltage is known.
func (s *Sheet) mostLoop(in *DropInput) float64 {
	if math.IsNaN(in.Least) {
		return math.NaN()
	}
	at := in.Least
	if !math.IsNaN(in.Power) && at < in.Voltage/2 {
		at = s.step("least_stable_volts", "a load of constant power needs half the voltage", unit.Voltage, in.Voltage/2, volts(in.Voltage)+"/2")
	}
	i := s.step("least_volts_amperes", "current of the load at "+volts(at), unit.Current, in.currentAt(at), in.currentSum(at))
	sum := fmt.Sprintf("(%s − %s)/%s", volts(in.Voltage), volts(at), amperes(i))
	if in.Joints > 0 {
		sum += " − " + ohms(in.Joints)
	}
	return s.step("most_loop_ohms", "most resistance of both conductors", unit.Resistance, (in.Voltage-at)/i-in.Joints, sum)
}

func (in *DropInput) currentSum(v float64) string {
	switch {
	case !math.IsNaN(in.Current):
		return "the load's"
	case !math.IsNaN(in.Load):
		return fmt.Sprintf("%s/%s", volts(v), ohms(in.Load))
	}
	return fmt.Sprintf("%s/%s", show(unit.Power, in.Power), volts(v))
}

// dropAlong adds what the cable at hand leaves, and judges it.
func (s *Sheet) dropAlong(in *DropInput, per float64) {
	loop := s.step("loop_ohms", "both conductors", unit.Resistance, 2*per*in.Length/(in.Area*float64(in.Parallel)),
		fmt.Sprintf("2 × %s × %s/(%s)", ohmsMetre(per), show(unit.Length, in.Length), in.metal()))
	if in.Joints > 0 {
		loop = s.step("loop_with_joints_ohms", "with joints", unit.Resistance, loop+in.Joints, fmt.Sprintf("%s + %s", ohms(loop), ohms(in.Joints)))
	}
	far := s.step("far_volts", "voltage at the load", unit.Voltage, in.far(loop), in.farSum(loop))
	s.Circuit = dropCircuit(in, loop, far)
	if far <= 0 {
		s.answer("works", false, fmt.Sprintf("It does not work: the cable's %s cannot carry this load.", ohms(loop)))
		return
	}
	drop := s.step("drop_volts", "drop along the cable", unit.Voltage, in.Voltage-far, fmt.Sprintf("%s − %s", volts(in.Voltage), volts(far)))
	i := s.step("far_amperes", "current of the load there", unit.Current, in.currentAt(far), in.currentSum(far))
	s.step("drop_share", "drop as a share", unit.Share, drop/in.Voltage, fmt.Sprintf("%s/%s", volts(drop), volts(in.Voltage)))
	s.step("cable_watts", "power in the cable", unit.Power, drop*i, fmt.Sprintf("%s × %s", volts(drop), amperes(i)))
	if math.IsNaN(in.Least) {
		return
	}
	margin := s.step("margin_volts", "to spare", unit.Voltage, far-in.Least, fmt.Sprintf("%s − %s", volts(far), volts(in.Least)))
	if margin >= 0 {
		s.answer("works", true, fmt.Sprintf("It works: %s at the load, at least %s are needed.", volts(far), volts(in.Least)))
		return
	}
	s.answer("works", false, fmt.Sprintf("It may not work: %s at the load, %s are needed.", volts(far), volts(in.Least)))
}

// leastArea adds the least cross-section for the length, and the sizes that have it, and
// returns the next size; NaN where there is none.
func (s *Sheet) leastArea(in *DropInput, per, most float64) float64 {
	least := s.step("least_area_square_millimetres", "least cross-section of a conductor", unit.Area, 2*per*in.Length/(most*float64(in.Parallel)),
		in.leastSum(per, most))
	for _, a := range areas {
		if a >= least*(1-1e-9) {
			s.gauge(least)
			return s.step("size_square_millimetres", "next size", unit.Area, a, "not below "+show(unit.Area, least))
		}
	}
	none := fmt.Sprintf("usual conductor has %s: shorten the cable, raise the voltage, or feed the load from nearby", show(unit.Area, least))
	if math.IsNaN(in.Area) {
		s.answer("usual_size", false, "No "+none+".")
	} else {
		s.warn("no " + none)
	}
	return math.NaN()
}

func (in *DropInput) leastSum(per, most float64) string {
	sum := fmt.Sprintf("2 × %s × %s/%s", ohmsMetre(per), show(unit.Length, in.Length), ohms(most))
	if in.Parallel > 1 {
		sum += fmt.Sprintf("/%d", in.Parallel)
	}
	return sum
}

// gauge adds the thinnest American wire gauge that has a cross-section.
func (s *Sheet) gauge(least float64) {
	for n := 40; n >= -3; n-- {
		if a := gaugeArea(n); a >= least*(1-1e-9) {
			s.step("gauge_square_millimetres", "next gauge", unit.Area, a, gaugeName(n))
			return
		}
	}
}
