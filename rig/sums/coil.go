package sums

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// CoilInput is a relay's coil and the output that drives it, in volts, ohms, henries and
// seconds. What is not known is NaN.
type CoilInput struct {
	Voltage     float64 // volts of the output when on, with nothing connected
	Resistance  float64 // ohms of the coil
	Tolerance   float64 // of that, a share of one
	Source      float64 // ohms behind the output when on
	Inductance  float64 // henries
	Tau         float64 // seconds, L/R; instead of Inductance
	MustOperate float64 // volts: the relay operates at this voltage or below
	MustRelease float64 // volts: the relay releases at this voltage or above
	Leakage     float64 // volts of the output when off, with nothing connected
	Loaded      float64 // volts: the same with the coil connected, which gives OffSource
	OffSource   float64 // ohms behind the output when off
	Zener       float64 // volts of the suppression that a plain diode is compared with
	CutOff      float64 // seconds: the output's own time to let the current stop
	Snub        float64 // ohms of a resistor across the coil, in place of a diode
	Stands      float64 // volts that the output stands when it switches off
	Hottest     float64 // °C of the air round the relay, the highest
	Rise        float64 // kelvin by which the coil warms itself
	Reference   float64 // °C at which the coil's figures are stated
}

const (
	diodeVolts     = 0.7  // forward voltage of a plain silicon diode (textbook)
	bleedTolerance = 0.05 // of a bleed resistor, E24
	mostBleed      = 1e6  // ohms; more than that is no load worth a resistor
)

func (in *CoilInput) check() error {
	known := func(v float64) bool { return !math.IsNaN(v) }
	switch {
	case known(in.Inductance) && known(in.Tau):
		return errors.New("give the inductance or the time constant, not both: each follows from the other")
	case known(in.Leakage) && !known(in.MustRelease):
		return errors.New("the leakage needs the must-release voltage, to say whether the relay releases")
	case known(in.OffSource) && known(in.Loaded):
		return errors.New("give the resistance behind the leakage or the leakage with the coil connected, not both: each follows from the other")
	case known(in.Loaded) && !known(in.Leakage):
		return errors.New("the leakage with the coil connected needs the leakage without it")
	case known(in.OffSource) && !known(in.Leakage):
		return errors.New("the resistance behind the leakage needs the leakage")
	case known(in.Loaded) && in.Loaded > in.Leakage:
		return fmt.Errorf("the coil cannot raise the leakage: %s with it, %s without", volts(in.Loaded), volts(in.Leakage))
	case known(in.MustOperate) && known(in.MustRelease) && in.MustRelease >= in.MustOperate:
		return fmt.Errorf("the must-release voltage of %s is not below the must-operate voltage of %s", volts(in.MustRelease), volts(in.MustOperate))
	case known(in.MustRelease) && in.MustRelease >= in.Voltage:
		return fmt.Errorf("the must-release voltage of %s is not below the %s of the output", volts(in.MustRelease), volts(in.Voltage))
	case in.Tolerance >= 0.5:
		return fmt.Errorf("the tolerance %s must be below 50 %%", percent(in.Tolerance))
	case known(in.Stands) && in.Stands <= in.Voltage:
		return fmt.Errorf("an output that stands %s cannot switch %s", volts(in.Stands), volts(in.Voltage))
	}
	return in.checkHot()
}

// Coil works out a relay's coil behind an output: what it draws, whether the output
// pulls it in and releases it, and what switching it off does.
func Coil(in CoilInput) (*Sheet, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	s := &Sheet{Title: fmt.Sprintf("Relay coil of %s behind an output of %s", ohms(in.Resistance), volts(in.Voltage))}
	s.Cautions = []string{"the output's own limit of current is in its maker's instructions", theCodeFirst}
	if math.IsNaN(in.Hottest) {
		s.Cautions = slices.Insert(s.Cautions, 0, "a warm coil has more resistance and operates at a higher voltage, 0.393 % a kelvin (copper): --hottest works it out")
	} else {
		// Common practice, no source.
		s.Cautions = slices.Insert(s.Cautions, 0, "the sum knows no limit of the relay's own: most makers allow air of 70 °C to 85 °C at most")
	}
	s.givenOfCoil(&in)
	on := s.coilOn(&in)
	s.pullIn(&in)
	s.hot(&in)
	s.letGo(&in)
	s.switchOff(&in, on)
	s.Circuit = coilCircuit(&in)
	return s, nil
}

func (s *Sheet) givenOfCoil(in *CoilInput) {
	s.given("output_volts", "output when on", unit.Voltage, in.Voltage)
	s.given("coil_ohms", "coil", unit.Resistance, in.Resistance)
	s.given("coil_tolerance_share", "tolerance of the coil", unit.Share, in.Tolerance)
	if in.Source > 0 {
		s.given("source_ohms", "resistance behind the output", unit.Resistance, in.Source)
	}
	s.given("must_operate_volts", "must operate at", unit.Voltage, in.MustOperate)
	s.given("must_release_volts", "must release at", unit.Voltage, in.MustRelease)
	s.given("leakage_volts", "output when off", unit.Voltage, in.Leakage)
	s.given("leakage_loaded_volts", "output when off, coil connected", unit.Voltage, in.Loaded)
	s.given("off_source_ohms", "resistance behind the leakage", unit.Resistance, in.OffSource)
	s.given("inductance_henries", "inductance", unit.Inductance, in.Inductance)
	s.given("tau_seconds", "time constant L/R", unit.Time, in.Tau)
	s.given("snub_ohms", "resistor across the coil, no diode", unit.Resistance, in.Snub)
	s.given("stands_volts", "the output stands", unit.Voltage, in.Stands)
	if !math.IsNaN(in.Hottest) {
		s.given("reference_celsius", "the coil's figures hold at", unit.Celsius, in.Reference)
		s.given("hottest_celsius", "air round the relay, hottest", unit.Celsius, in.Hottest)
		s.given("rise_kelvin", "the coil warms itself by", unit.Kelvin, in.Rise)
	}
}

// least and most are the coil's resistance at the ends of its tolerance.
func (in *CoilInput) least() float64 { return in.Resistance * (1 - in.Tolerance) }
func (in *CoilInput) most() float64  { return in.Resistance * (1 + in.Tolerance) }

// shared is the part of a voltage that falls across one of two resistances in series.
func shared(v, across, other float64) float64 { return v * across / (across + other) }

func sharedSum(v, across, other float64) string {
	return fmt.Sprintf("%s × %s/(%s + %s)", volts(v), plain(across), plain(across), plain(other))
}

// coilOn adds what the coil draws and returns the voltage across it.
func (s *Sheet) coilOn(in *CoilInput) float64 {
	on := in.Voltage
	if in.Source > 0 {
		on = s.step("coil_volts", "at the coil", unit.Voltage, shared(in.Voltage, in.Resistance, in.Source),
			sharedSum(in.Voltage, in.Resistance, in.Source))
	}
	s.step("coil_amperes", "current", unit.Current, on/in.Resistance, fmt.Sprintf("%s/%s", volts(on), ohms(in.Resistance)))
	s.step("coil_watts", "power", unit.Power, on*on/in.Resistance, fmt.Sprintf("(%s)²/%s", volts(on), ohms(in.Resistance)))
	if in.Tolerance > 0 {
		s.step("most_coil_amperes", "current, coil at its low end", unit.Current, in.Voltage/(in.least()+in.Source),
			fmt.Sprintf("%s/%s", volts(in.Voltage), ohms(in.least()+in.Source)))
	}
	return on
}

// pullIn adds whether the output's level operates the relay, the coil at its low end,
// where the resistance behind the output takes most.
func (s *Sheet) pullIn(in *CoilInput) {
	if math.IsNaN(in.MustOperate) {
		return
	}
	worst, r := in.Voltage, in.least()
	if in.Source > 0 {
		worst = s.step("least_coil_volts", "at the coil, worst case", unit.Voltage, shared(in.Voltage, r, in.Source),
			sharedSum(in.Voltage, r, in.Source))
		s.step("least_output_volts", "lowest level of the output that must pull it in", unit.Voltage, in.MustOperate*(r+in.Source)/r,
			fmt.Sprintf("%s × (%s + %s)/%s", volts(in.MustOperate), plain(r), plain(in.Source), plain(r)))
	}
	margin := s.step("pull_in_margin_volts", "pull-in margin", unit.Voltage, worst-in.MustOperate,
		fmt.Sprintf("%s − %s", volts(worst), volts(in.MustOperate)))
	if margin >= 0 {
		s.answer("pulls_in", true, fmt.Sprintf("The output pulls it in: %s at the coil, at least %s are needed.", volts(worst), volts(in.MustOperate)))
		return
	}
	s.answer("pulls_in", false, fmt.Sprintf("The output may not pull it in: %s at the coil, %s are needed.", volts(worst), volts(in.MustOperate)))
}

// letGo adds whether the off level lets the relay go, the coil at its high end, and the
// resistor across the coil that helps where it does not.
func (s *Sheet) letGo(in *CoilInput) {
	if math.IsNaN(in.Leakage) {
		if !math.IsNaN(in.MustRelease) && math.IsNaN(in.Tau) && math.IsNaN(in.Inductance) {
			s.warn("whether the off level lets it go was not worked out: that needs the leakage, the output's voltage when off")
		}
		return
	}
	behind, unknown := in.OffSource, "the resistance behind the off level is not known"
	switch {
	case in.Loaded == in.Leakage:
		behind, unknown = 0, "the coil does not lower the leakage, so the resistance behind it is too small to be told from the two"
	case !math.IsNaN(in.Loaded):
		behind = s.step("off_source_ohms", "resistance behind the leakage", unit.Resistance, in.Resistance*(in.Leakage/in.Loaded-1),
			fmt.Sprintf("%s × (%s/%s − 1)", ohms(in.Resistance), volts(in.Leakage), volts(in.Loaded)))
	case math.IsNaN(behind):
		behind = in.Source
	case behind == 0:
		unknown = "there is no resistance behind the off level to work against"
	}
	off, r := in.Leakage, in.most()
	if behind > 0 {
		off = s.step("off_coil_volts", "at the coil when off, worst case", unit.Voltage, shared(in.Leakage, r, behind),
			sharedSum(in.Leakage, r, behind))
	}
	s.step("drop_out_margin_volts", "drop-out margin", unit.Voltage, in.MustRelease-off,
		fmt.Sprintf("%s − %s", volts(in.MustRelease), volts(off)))
	at := fmt.Sprintf("%s at the coil, it must be below %s", volts(off), volts(in.MustRelease))
	switch {
	case off < in.MustRelease:
		s.answer("drops_out", true, "The relay drops out at the off level: "+at+".")
	case behind > 0:
		s.answer("drops_out", false, fmt.Sprintf("The off level may hold the relay: %s. With %s across the coil it drops out.", at, ohms(s.bleed(in, behind))))
	default:
		s.answer("drops_out", false, "The off level may hold the relay: "+at+".")
		s.warn("no resistor across the coil can be worked out: " + unknown)
	}
}

// bleed adds the largest resistor across the coil with which the off level falls to the
// must-release voltage: with X volts behind Rs, coil and resistor in parallel must be at
// most Rs·V/(X − V). It returns the resistor.
func (s *Sheet) bleed(in *CoilInput, behind float64) float64 {
	both := s.step("parallel_ohms", "most that coil and a resistor across it may be together", unit.Resistance,
		behind*in.MustRelease/(in.Leakage-in.MustRelease),
		fmt.Sprintf("%s × %s/(%s − %s)", ohms(behind), volts(in.MustRelease), volts(in.Leakage), volts(in.MustRelease)))
	r := in.most()
	most := s.step("most_bleed_ohms", "largest resistor across the coil", unit.Resistance, math.Min(mostBleed, 1/(1/both-1/r)/(1+bleedTolerance)),
		fmt.Sprintf("1/(1/%s − 1/%s)/%s", ohms(both), ohms(r), plain(1+bleedTolerance)))
	bleed := s.step("bleed_ohms", "next preferred value below, E24", unit.Resistance, below(wiring.E24, most), "below "+ohms(most))
	parallel := func(coil, share float64) float64 { return 1 / (1/coil + 1/(bleed*share)) }
	p := parallel(r, 1+bleedTolerance)
	s.step("bled_off_volts", "at the coil when off, with it", unit.Voltage, shared(in.Leakage, p, behind), sharedSum(in.Leakage, p, behind))
	if in.Source > 0 {
		p = parallel(in.least(), 1-bleedTolerance)
		on := s.step("bled_coil_volts", "at the coil when on, with it", unit.Voltage, shared(in.Voltage, p, in.Source), sharedSum(in.Voltage, p, in.Source))
		if on < in.MustOperate {
			s.warn(fmt.Sprintf("with %s across the coil the output may no longer pull the relay in: %s at the coil, %s are needed", ohms(bleed), volts(on), volts(in.MustOperate)))
		}
	}
	least := bleed * (1 - bleedTolerance)
	s.step("bleed_amperes", "further current from the output", unit.Current, in.Voltage/least, fmt.Sprintf("%s/%s", volts(in.Voltage), ohms(least)))
	s.power("bleed", "resistor across the coil", in.Voltage*in.Voltage/least, fmt.Sprintf("(%s)²/%s", volts(in.Voltage), ohms(least)))
	if bleed < in.Resistance/4 {
		s.warn(fmt.Sprintf("%s across the coil takes more than four times the coil's own current: look for the leakage first", ohms(bleed)))
	}
	return bleed
}

// below is the largest preferred value that is less than the resistance.
func below(series wiring.Series, r float64) float64 { return series.AtMost(r * (1 - 1e-6)) }

// switchOff adds what becomes of the coil's current. Through a suppressor of v volts the
// current of a coil at V volts falls to that of W volts in L/R·ln((V + v)/(W + v)), by
// the law of an RL circuit.
func (s *Sheet) switchOff(in *CoilInput, on float64) {
	tau, l := in.Tau, in.Inductance
	switch {
	case !math.IsNaN(tau):
		l = s.step("inductance_henries", "inductance", unit.Inductance, tau*in.Resistance, fmt.Sprintf("%s × %s", seconds(tau), ohms(in.Resistance)))
	case !math.IsNaN(l):
		tau = s.step("tau_seconds", "time constant L/R", unit.Time, l/in.Resistance, fmt.Sprintf("%s/%s", show(unit.Inductance, l), ohms(in.Resistance)))
	default:
		return
	}
	i := on / in.Resistance
	bare := s.step("bare_volts", fmt.Sprintf("back-EMF without suppression, cut off within %s", seconds(in.CutOff)), unit.Voltage, l*i/in.CutOff,
		fmt.Sprintf("%s × %s/%s", show(unit.Inductance, l), amperes(i), seconds(in.CutOff)))
	s.step("diode_volts", "the same with a plain diode", unit.Voltage, diodeVolts, "the diode's forward voltage")
	s.warn(fmt.Sprintf("without suppression the coil answers with up to some %s: what gives way first, the winding's capacitance or the output, bounds it", volts(rounded(bare, 2))))
	if math.IsNaN(in.MustRelease) {
		return
	}
	if on <= in.MustRelease {
		s.warn(fmt.Sprintf("how long the current takes to fall cannot be worked out: the coil gets %s when on, not more than the %s at which it must release", volts(on), volts(in.MustRelease)))
		return
	}
	decay := func(v float64) float64 { return tau * math.Log((on+v)/(in.MustRelease+v)) }
	sum := func(v float64) string {
		return fmt.Sprintf("%s × ln((%s + %s)/(%s + %s))", seconds(tau), plain(on), plain(v), plain(in.MustRelease), plain(v))
	}
	slow := s.step("diode_decay_seconds", "current down to the must-release level, plain diode", unit.Time, decay(diodeVolts), sum(diodeVolts))
	v := diodeVolts + in.Zener
	s.step("zener_decay_seconds", fmt.Sprintf("the same, diode and a zener of %s", volts(in.Zener)), unit.Time, decay(v), sum(v))
	s.step("diode_lengthening_seconds", "the plain diode holds it longer, at most by", unit.Time, slow-in.CutOff,
		fmt.Sprintf("%s − %s", seconds(slow), seconds(in.CutOff)))
	s.step("zener_voltage_volts", "what the output must stand with the zener", unit.Voltage, in.Voltage+v,
		fmt.Sprintf("%s + %s + %s", volts(in.Voltage), volts(in.Zener), volts(diodeVolts)))
	s.snubbed(in, on, tau)
	s.stands(in)
}
