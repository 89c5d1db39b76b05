package sums

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"makebreak/rig/ads1x15"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// DividerInput says what a divider is for. Voltages in volts, resistances in ohms.
type DividerInput struct {
	Model     ads1x15.Model // of the converter, ads1x15.ADS1115 or ads1x15.ADS1015
	Highest   float64       // volts that the output can reach
	Supply    float64       // volts, of the converter
	Range     float64       // ± volts, of the converter, one of ads1x15.Ranges
	Lower     float64       // ohms, converter to ground
	Upper     float64       // ohms, terminal to converter; NaN: it is to be found
	Tolerance float64       // of each resistor, a share of one
	Series    wiring.Series // that the upper resistor is to come from

	Source             float64 // ohms behind the output
	Capacitor          float64 // farads across the converter's input; NaN: none
	CapacitorTolerance float64 // of that, a share
	Corner             float64 // hertz that a capacitor is to be found for; NaN: none
	Rate               float64 // conversions a second; NaN: not known
}

// mostTolerance is the widest tolerance that a divider's resistors may have, as in a
// rig file.
const mostTolerance = 0.2

// mostLoad is the current, in amperes, above which a divider is a load worth a word, and
// mostInput the share that the converter's own input may take off without one (common
// practice, no source).
const (
	mostLoad  = 5e-3
	mostInput = 0.01
)

func (in *DividerInput) check() error {
	if in.Model != ads1x15.ADS1115 && in.Model != ads1x15.ADS1015 {
		return fmt.Errorf("there is no converter %q: use %s or %s", in.Model, ads1x15.ADS1115, ads1x15.ADS1015)
	}
	if !slices.Contains(ads1x15.Ranges(), in.Range) {
		var may []string
		for _, r := range ads1x15.Ranges() {
			may = append(may, volts(r))
		}
		return fmt.Errorf("the converter has no range of %s; it has %s", volts(in.Range), strings.Join(may, ", "))
	}
	if in.Supply < wiring.LeastChipSupply || in.Supply > wiring.MostChipSupply {
		return fmt.Errorf("the converter's supply %s must be from %s to %s", volts(in.Supply), volts(wiring.LeastChipSupply), volts(wiring.MostChipSupply))
	}
	if in.Tolerance > mostTolerance {
		return fmt.Errorf("the tolerance %s must be above 0 %% and at most %s", percent(in.Tolerance), percent(mostTolerance))
	}
	return in.checkFilter()
}

// Divider works out a divider: the smallest upper resistor with which the converter's
// input is safe in the worst case, or whether the pair given is.
func Divider(in DividerInput) (*Sheet, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	s := &Sheet{Title: fmt.Sprintf("Divider for an output of up to %s, read by an %s", volts(in.Highest), in.Model)}
	s.Cautions = []string{"the sum holds up to the highest voltage given: a clamp keeps the input safe beyond it", theCodeFirst}
	s.given("highest_volts", "highest voltage of the output", unit.Voltage, in.Highest)
	s.given("supply_volts", "supply of the converter", unit.Voltage, in.Supply)
	s.given("range_volts", "range of the converter (±)", unit.Voltage, in.Range)
	s.given("lower_ohms", "lower resistor", unit.Resistance, in.Lower)
	s.given("tolerance_share", "tolerance of each resistor", unit.Share, in.Tolerance)
	s.givenOfFilter(&in)

	allowed, by := in.Supply, "supply"
	if in.Range < in.Supply {
		allowed, by = in.Range, "range"
	}
	s.step("allowed_volts", "allowed at the converter's input", unit.Voltage, allowed,
		fmt.Sprintf("the lower of supply %s and range %s", volts(in.Supply), volts(in.Range)))
	least := wiring.LeastUpper(in.Lower, in.Tolerance, in.Highest, allowed)
	judged := !math.IsNaN(in.Upper)
	if least <= 0 && !judged {
		s.Steps[0].Sum += fmt.Sprintf("; the output's %s is not above it", volts(in.Highest))
		s.warn(fmt.Sprintf("no divider is needed: the output's %s is not above the %s of %s", volts(in.Highest), by, volts(allowed)))
		return s, nil
	}
	if least > 0 {
		s.step("least_upper_ohms", "smallest upper resistor, worst case", unit.Resistance, least,
			fmt.Sprintf("%s × %s/%s × (%s/%s − 1)", ohms(in.Lower), plain(1+in.Tolerance), plain(1-in.Tolerance), volts(in.Highest), volts(allowed)))
	}
	if judged {
		s.given("upper_ohms", "upper resistor", unit.Resistance, in.Upper)
	} else {
		in.Upper = s.step("upper_ohms", "next preferred value, "+in.Series.String(), unit.Resistance, in.Series.AtLeast(least),
			"not below "+ohms(least))
	}
	if err := s.dividerFigures(in, by); err != nil {
		return nil, err
	}
	if judged {
		s.judgeDivider(in, least, by)
	}
	return s, nil
}

// dividerFigures adds what follows from a divider, by the code that a rig file's
// dividers go through.
func (s *Sheet) dividerFigures(in DividerInput, by string) error {
	const out, chip = "output", "converter"
	d := wiring.Divider{Upper: in.Upper, Lower: in.Lower, Tolerance: in.Tolerance}
	rig := wiring.Rig{
		Chips:   []wiring.Chip{{Name: chip, Model: in.Model, Range: in.Range, Supply: in.Supply}},
		Outputs: []wiring.Output{{Name: out, Chip: chip, Highest: in.Highest, Nominal: in.Highest, Divider: d}},
	}
	f, err := rig.DividerReport(out)
	if err != nil {
		return err
	}
	low, high := 1-in.Tolerance, 1+in.Tolerance
	k := newScale(in.Upper, in.Lower)
	s.step("worst_input_volts", "at the input, worst case", unit.Voltage, f.WorstPinVolts,
		fmt.Sprintf("%s × %s/(%s + %s)", volts(in.Highest), k.of(in.Lower*high), k.of(in.Upper*low), k.of(in.Lower*high)))
	s.step("input_margin_volts", "to spare", unit.Voltage, f.AllowedVolts-f.WorstPinVolts,
		fmt.Sprintf("%s − %s", volts(f.AllowedVolts), volts(f.WorstPinVolts)))
	s.step("clip_volts", "terminal voltage at which the input reaches its "+by, unit.Voltage, f.ClipTerminalVolts,
		fmt.Sprintf("%s × %s", volts(f.AllowedVolts), plain(1/f.LoadedRatio)))
	s.step("step_volts", "one step of the converter, seen at the terminal", unit.Voltage, f.StepVoltsAtTerminal,
		fmt.Sprintf("%s × %s", volts(f.StepVoltsAtTerminal*f.LoadedRatio), plain(1/f.LoadedRatio)))
	load := s.step("load_amperes", "current from the output, worst case", unit.Current, in.Highest/(f.TerminalOhms*low),
		fmt.Sprintf("%s/(%s + %s)", volts(in.Highest), ohms(in.Upper*low), ohms(in.Lower*low)))
	s.step("source_ohms", "resistance that the input sees", unit.Resistance, f.PinOhms,
		fmt.Sprintf("%s and %s in parallel", ohms(in.Upper), ohms(in.Lower)))
	s.step("input_share", "what the converter's input takes off, corrected for", unit.Share, f.InputShare,
		fmt.Sprintf("%s/(%s + %s)", ohms(f.PinOhms), ohms(f.PinOhms), ohms(f.PinOhms*(1/f.InputShare-1))))
	s.step("resistors_uncertainty_share", "standard uncertainty from both resistors", unit.Share, f.ResistorsUncertainty,
		fmt.Sprintf("%s/(%s + %s) × %s × √(2/3)", k.of(in.Upper), k.of(in.Upper), k.of(in.Lower), percent(in.Tolerance)))
	s.resistorPower("upper", in.Upper, in.Lower, in)
	s.resistorPower("lower", in.Lower, in.Upper, in)
	s.sourceShare(&in, f.TerminalOhms)
	s.filter(&in, f)
	s.Circuit = dividerCircuit(&in, f.WorstPinVolts)
	if f.InputShare > mostInput {
		s.warn(fmt.Sprintf("the converter's own input takes off %s: lower values would be known better", percent(f.InputShare)))
	}
	if load > mostLoad {
		s.warn(fmt.Sprintf("the divider draws %s from the output: higher values would load it less", amperes(load)))
	}
	return nil
}

// resistorPower adds the largest power that the tolerances allow in one resistor of two
// in series: V²·R/(R + other)², the other at its low end; R at the end nearer to the
// other, since the power is greatest where both are equal.
func (s *Sheet) resistorPower(name string, r, other float64, in DividerInput) {
	other *= 1 - in.Tolerance
	worst := min(max(other, r*(1-in.Tolerance)), r*(1+in.Tolerance))
	watts := in.Highest * in.Highest * worst / ((worst + other) * (worst + other))
	s.power(name, name+" resistor", watts, fmt.Sprintf("(%s)² × %s/(%s)²", volts(in.Highest), ohms(worst), ohms(worst+other)))
}

// judgeDivider says whether the pair given fits.
func (s *Sheet) judgeDivider(in DividerInput, least float64, by string) {
	pair := fmt.Sprintf("%s over %s", ohms(in.Upper), ohms(in.Lower))
	worst, allowed := s.Value("worst_input_volts"), s.Value("allowed_volts")
	if worst <= allowed {
		s.answer("fits", true, fmt.Sprintf("%s fits: the input sees %s at most, its %s is %s.", pair, volts(worst), by, volts(allowed)))
		return
	}
	s.answer("fits", false, fmt.Sprintf("%s does not fit: the input can see %s, above its %s of %s. An upper resistor of %s (E24) or %s (E96), or more, would fit.",
		pair, volts(worst), by, volts(allowed), ohms(wiring.E24.AtLeast(least)), ohms(wiring.E96.AtLeast(least))))
}

// scale writes the resistances of one formula in one unit, without naming it.
type scale float64

func newScale(all ...float64) scale {
	if slices.Min(all) < 1000 {
		return 1
	}
	return 1e3
}

func (k scale) of(r float64) string { return plain(r / float64(k)) }
