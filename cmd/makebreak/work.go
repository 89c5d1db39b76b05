package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"makebreak/analyze"
	"makebreak/analyze/picture"
	"makebreak/rig/ads1x15"
	"makebreak/rig/problem"
	"makebreak/rig/sums"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

func (a *app) workCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "work",
		Short: "Work the sums of the bench: battery, drop, coil, divider, lamp",
		Long: `Work the sums of the bench step by step, with the figures put in: the worst case
over the tolerances, the nearest preferred value (IEC 60063), each resistor's power
and rating, and a small drawing.

Quantities carry their unit, as in 12V or "1.2 kohm". The exit status is 0 where
every question is answered by yes, 1 where one is answered by no: a battery or a
cable that does not do, a divider that does not fit, a relay that may not pull in
or release, a lamp that may glow.`,
		Args: noSuchCommand,
		RunE: func(c *cobra.Command, _ []string) error {
			return c.Help()
		},
	}
	c.AddCommand(a.workBatteryCommand(), a.workDropCommand(), a.workDividerCommand(), a.workCoilCommand(), a.workLampCommand())
	return c
}

func (a *app) workDividerCommand() *cobra.Command {
	in := sums.DividerInput{}
	var model, series string
	c := &cobra.Command{
		Use:   "divider",
		Short: "Find the divider for an output, or judge one",
		Long: `Find the smallest upper resistor with which the converter's input is safe in the
worst case of the tolerances, or, with --upper, judge that one.

With a capacitor across the converter's input: the corner frequency, the time until
a level is read to half a step, and by how much the output's delays read late.`,
		Example: `  makebreak work divider --highest 15V --supply 3.3V
  makebreak work divider --highest 15V --supply 3.3V --capacitor 100nF --rate 860/s
  makebreak work divider --highest 15V --supply 3.3V --corner 200Hz --source 100ohm
  makebreak work divider --highest 15V --supply 3.3V --upper 33kohm --lower 10kohm`,
	}
	a.sumCommand(c, quantities{
		{name: "highest", kind: unit.Voltage, into: &in.Highest, text: "15V", most: mostVolts, usage: "highest `voltage` that the output can reach"},
		{name: "supply", kind: unit.Voltage, into: &in.Supply, text: "3.3V", most: mostVolts, usage: "the converter's supply `voltage`"},
		{name: "range", kind: unit.Voltage, into: &in.Range, text: "4.096V", most: mostVolts, usage: "the converter's range, ± `voltage`"},
		{name: "upper", kind: unit.Resistance, into: &in.Upper, most: mostOhms, usage: "`resistance` from terminal to converter, to be judged (default: it is found)"},
		{name: "lower", kind: unit.Resistance, into: &in.Lower, text: "10kohm", most: mostOhms, usage: "`resistance` from converter to ground"},
		{name: "tolerance", kind: unit.Share, into: &in.Tolerance, text: "1%", most: 0.2, usage: "tolerance of each resistor, a `share`"},
		{name: "source", kind: unit.Resistance, into: &in.Source, text: "0ohm", zero: true, most: mostOhms, usage: "`resistance` behind the output"},
		{name: "capacitor", kind: unit.Capacitance, into: &in.Capacitor, most: 1, usage: "`capacitance` across the converter's input, against aliases"},
		{name: "capacitor-tolerance", kind: unit.Share, into: &in.CapacitorTolerance, text: "10%", zero: true, most: 0.8, usage: "tolerance of the capacitor, a `share`"},
		{name: "corner", kind: unit.Frequency, into: &in.Corner, most: 1e6, usage: "corner `frequency` to find a capacitor for; instead of --capacitor"},
		{name: "rate", kind: unit.Frequency, into: &in.Rate, most: 1e6, usage: "conversions a second, a `rate`"},
	}, func() (*sums.Sheet, error) {
		var err error
		if in.Series, err = seriesOf(series); err != nil {
			return nil, err
		}
		in.Model = ads1x15.Model(model)
		if c.Flags().Changed("capacitor-tolerance") && math.IsNaN(in.Capacitor) && math.IsNaN(in.Corner) {
			return nil, errors.New("--capacitor-tolerance needs --capacitor or --corner")
		}
		return sums.Divider(in)
	})
	f := c.Flags()
	f.StringVar(&model, "model", string(ads1x15.ADS1115), "the converter's `model`, ADS1115 or ADS1015")
	f.StringVar(&series, "series", "E24", "`series` of preferred values, E24 or E96")
	return c
}

// seriesOf is the series of a name, in capitals or not.
func seriesOf(name string) (wiring.Series, error) {
	for _, s := range []wiring.Series{wiring.E24, wiring.E96} {
		if strings.EqualFold(name, s.String()) {
			return s, nil
		}
	}
	return 0, fmt.Errorf("--series %q: must be E24 or E96", name)
}

func (a *app) workCoilCommand() *cobra.Command {
	in := sums.CoilInput{}
	c := &cobra.Command{
		Use:   "coil",
		Short: "Work out a relay's coil behind an output",
		Long: `Work out what a relay's coil draws, whether the output pulls it in and releases it,
which resistor across the coil helps against leakage, and what switching it off
does with a diode, a zener, a resistor across the coil, or nothing.

With --hottest: what warmth makes of the coil. Copper's resistance grows by 0.393 %
a kelvin, and so does the voltage at which the relay operates.`,
		Example: `  makebreak work coil --voltage 12V --resistance 400ohm --must-operate 9V --must-release 1.2V --leakage 0.65V
  makebreak work coil --voltage 13V --resistance 400ohm --must-release 1.2V --leakage 5V --leakage-loaded 1.7V
  makebreak work coil --voltage 12V --resistance 400ohm --tau 1.3ms --must-release 1.2V
  makebreak work coil --voltage 12V --resistance 400ohm --must-operate 9V --hottest 55C --rise 35K
  makebreak work coil --voltage 12V --resistance 400ohm --tau 1.3ms --must-release 1.2V --across 680ohm --stands 45V`,
	}
	a.sumCommand(c, quantities{
		{name: "voltage", kind: unit.Voltage, into: &in.Voltage, text: "12V", most: mostVolts, usage: "the output's `voltage` when on"},
		{name: "resistance", kind: unit.Resistance, into: &in.Resistance, needed: true, most: mostOhms, usage: "`resistance` of the coil"},
		{name: "tolerance", kind: unit.Share, into: &in.Tolerance, text: "10%", zero: true, most: 0.5, usage: "tolerance of the coil's resistance, a `share`"},
		{name: "source", kind: unit.Resistance, into: &in.Source, text: "0ohm", zero: true, most: mostOhms, usage: "`resistance` behind the output"},
		{name: "must-operate", kind: unit.Voltage, into: &in.MustOperate, most: mostVolts, usage: "`voltage` at which the relay must operate"},
		{name: "must-release", kind: unit.Voltage, into: &in.MustRelease, most: mostVolts, usage: "`voltage` at which the relay must release"},
		{name: "leakage", kind: unit.Voltage, into: &in.Leakage, most: mostVolts, usage: "the output's `voltage` when off, with nothing connected"},
		{name: "leakage-loaded", kind: unit.Voltage, into: &in.Loaded, most: mostVolts, usage: "the same `voltage` with the coil connected, from which the resistance behind it follows"},
		{name: "off-source", kind: unit.Resistance, into: &in.OffSource, zero: true, most: mostOhms, usage: "`resistance` behind the leakage (default: that of --source)"},
		{name: "inductance", kind: unit.Inductance, into: &in.Inductance, most: 1000, usage: "`inductance` of the coil"},
		{name: "tau", kind: unit.Time, into: &in.Tau, most: 10, usage: "time constant L/R of the coil, a `time`; instead of --inductance"},
		{name: "zener", kind: unit.Voltage, into: &in.Zener, text: "24V", most: mostVolts, usage: "`voltage` of the zener that a plain diode is compared with"},
		{name: "cut-off", kind: unit.Time, into: &in.CutOff, text: "10us", most: 1, usage: "`time` that the output takes to cut the current off"},
		{name: "across", kind: unit.Resistance, into: &in.Snub, most: mostOhms, usage: "`resistance` across the coil, in place of a diode"},
		{name: "stands", kind: unit.Voltage, into: &in.Stands, most: mostVolts, usage: "`voltage` that the output stands when it switches off"},
		{name: "hottest", kind: unit.Celsius, into: &in.Hottest, least: -40, most: 125, usage: "the hottest air round the relay, a `temperature`"},
		{name: "rise", kind: unit.Kelvin, into: &in.Rise, text: "0K", zero: true, most: 200, usage: "by how much the coil warms itself, a `rise`"},
		{name: "stated-at", kind: unit.Celsius, into: &in.Reference, text: "20C", zero: true, most: 40, usage: "`temperature` at which the coil's figures are stated"},
	}, func() (*sums.Sheet, error) {
		if err := coilNeeds(c, &in); err != nil {
			return nil, err
		}
		return sums.Coil(in)
	})
	return c
}

// coilNeeds says what else must be known for what was asked of a coil that is switched off.
func coilNeeds(c *cobra.Command, in *sums.CoilInput) error {
	unknown := math.IsNaN
	switch zener, cutOff := c.Flags().Changed("zener"), c.Flags().Changed("cut-off"); {
	case (!unknown(in.Snub) || !unknown(in.Stands)) && (unknown(in.Inductance) && unknown(in.Tau) || unknown(in.MustRelease)):
		return errors.New("--across and --stands need --inductance or --tau, and --must-release: the current is followed down to that")
	case (c.Flags().Changed("rise") || c.Flags().Changed("stated-at")) && unknown(in.Hottest):
		return errors.New("--rise and --stated-at need --hottest, the hottest air round the relay")
	case (zener || cutOff) && unknown(in.Inductance) && unknown(in.Tau):
		return errors.New("--zener and --cut-off need --inductance or --tau: without them nothing is known of the coil when it is switched off")
	case zener && unknown(in.MustRelease):
		return errors.New("--zener needs --must-release, the voltage down to which the current is followed")
	}
	return nil
}

func (a *app) workLampCommand() *cobra.Command {
	in := sums.LampInput{}
	c := &cobra.Command{
		Use:   "lamp",
		Short: "Work out an indicator LED and its resistor",
		Long: `Work out the resistor for an LED's current, or the current for a resistor, from a full
to an empty battery, and whether an output that is off leaves it dark.`,
		Example: `  makebreak work lamp --supply 12V --led 1.8V --current 10mA
  makebreak work lamp --supply 12V --led 1.8V --resistor 1kohm`,
	}
	a.sumCommand(c, quantities{
		{name: "supply", kind: unit.Voltage, into: &in.Supply, text: "12V", most: mostVolts, usage: "supply `voltage`"},
		{name: "supply-highest", kind: unit.Voltage, into: &in.Highest, most: mostVolts, usage: "the highest it can be, a `voltage` (default: 13.8 V for 12 V, a battery on float)"},
		{name: "supply-lowest", kind: unit.Voltage, into: &in.Lowest, most: mostVolts, usage: "the lowest it can be, a `voltage` (default: 10.5 V for 12 V, a battery at its end)"},
		{name: "led", kind: unit.Voltage, into: &in.LED, text: "1.8V", most: mostVolts, usage: "forward `voltage` of the LED"},
		{name: "current", kind: unit.Current, into: &in.Current, most: 10, usage: "the `current` wanted"},
		{name: "resistor", kind: unit.Resistance, into: &in.Resistor, most: mostOhms, usage: "the `resistance` there is; instead of --current (default: 1 kohm, as is usual at 12 V)"},
		{name: "off-level", kind: unit.Voltage, into: &in.Off, text: "0.65V", zero: true, most: mostVolts, usage: "`voltage` that the output still shows when off"},
	}, func() (*sums.Sheet, error) {
		if math.IsNaN(in.Current) && math.IsNaN(in.Resistor) {
			in.Resistor = 1000 // common practice, no source
		}
		return sums.Lamp(in)
	})
	return c
}

// What a bench of extra-low voltage can have to do with.
const (
	mostVolts = 1000
	mostOhms  = 100e6
)

// quantity is a flag that takes a quantity with its unit.
type quantity struct {
	name   string
	kind   unit.Kind
	into   *float64 // NaN where it is not given
	text   string   // as typed, or what stands for it
	needed bool
	zero   bool    // 0 is allowed
	least  float64 // the smallest value allowed, in base units; 0: it must be more than 0
	most   float64 // the largest value allowed, in base units
	usage  string
}

type quantities []quantity

func (q quantities) flags(c *cobra.Command) {
	for i := range q {
		c.Flags().StringVar(&q[i].text, q[i].name, q[i].text, q[i].usage)
	}
}

// parse reads the quantities that were typed.
func (q quantities) parse(c *cobra.Command) error {
	for i := range q {
		if err := q[i].parse(c); err != nil {
			return problem.Of(problem.Usage, err)
		}
	}
	return nil
}

func (q *quantity) parse(c *cobra.Command) error {
	*q.into = math.NaN()
	if q.text == "" && !c.Flags().Changed(q.name) {
		if q.needed {
			return fmt.Errorf("%s needs --%s, %s, as in %s", strings.TrimPrefix(c.CommandPath(), "makebreak "), q.name, q.kind.Name, q.kind.Example)
		}
		return nil
	}
	v, err := q.read()
	if err != nil {
		return fmt.Errorf("--%s: %w", q.name, err)
	}
	if v <= q.most && (v > 0 && v >= q.least || v == 0 && q.zero || q.least < 0 && v >= q.least) {
		*q.into = v
		return nil
	}
	least := "above 0"
	switch {
	case q.least != 0:
		least = q.kind.Format(q.least) + " or more"
	case q.zero:
		least = "0 or more"
	}
	return fmt.Errorf("--%s %s: must be %s, at most %s", q.name, q.text, least, q.kind.Format(q.most))
}

// read reads what was typed. A plain number has no unit, which a kind would ask for.
func (q *quantity) read() (float64, error) {
	if q.kind.Name != unit.Number.Name {
		return q.kind.Parse(q.text)
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(q.text), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is not a number: write %s", q.text, q.kind.Example)
	}
	return v, nil
}

// sumCommand gives a command its quantities and forms, and the sum that it does.
func (a *app) sumCommand(c *cobra.Command, q quantities, sum func() (*sums.Sheet, error)) {
	c.Args = noArguments
	c.RunE = func(c *cobra.Command, _ []string) error { return a.work(c, q, sum) }
	q.flags(c)
	a.forms(c, workForms...)
}

// work reads the quantities, does the sum and writes it.
func (a *app) work(c *cobra.Command, q quantities, sum func() (*sums.Sheet, error)) error {
	what := strings.TrimPrefix(c.CommandPath(), "makebreak ")
	if err := q.parse(c); err != nil {
		return err
	}
	s, err := sum()
	if err != nil {
		return badUsage("%s: %w", what, err)
	}
	if err := a.print(a.chosen(writers{"text": s.Text, "json": s.JSON, "svg": drawn(s).SVG})); err != nil {
		return err
	}
	if !s.Yes() {
		a.verdict = analyze.Fail // a sum whose answer is no
	}
	return nil
}

// workForms are the forms of a sum; svg has its drawing and its answers.
var workForms = []string{"text", "json", "svg"}

// drawn is what a sum draws, as a picture.
func drawn(s *sums.Sheet) interface{ SVG(io.Writer) error } {
	var words []string
	for _, a := range s.Answers {
		words = append(words, a.Text)
	}
	c := s.Circuit
	if c == nil {
		return &picture.Shares{Heading: s.Title, Words: words, Shares: sharesOf(s.Bars)}
	}
	l := &picture.Ladder{Heading: s.Title, Words: words, Top: c.Top, Bottom: c.Bottom, Series: c.Series, Return: c.Return, Along: c.Along, End: c.End}
	for _, p := range c.Across {
		l.Rungs = append(l.Rungs, picture.Rung{Symbol: symbols[p.Kind], Text: p.Text})
	}
	return l
}

var symbols = map[sums.PartKind]picture.Symbol{
	sums.PartResistor: picture.ResistorSymbol, sums.PartCoil: picture.CoilSymbol, sums.PartDiode: picture.DiodeSymbol,
	sums.PartCapacitor: picture.CapacitorSymbol, sums.PartLED: picture.LEDSymbol, sums.PartLoad: picture.LoadSymbol,
}

func sharesOf(bars []sums.Bar) (all []picture.Share) {
	roles := map[sums.Fill]picture.ShareRole{sums.BarWhole: picture.WholeShare, sums.BarUsed: picture.UsedShare, sums.BarLeft: picture.LeftShare}
	for _, b := range bars {
		all = append(all, picture.Share{Name: b.Name, From: b.From, To: b.To, Role: roles[b.Fill], Text: b.Text})
	}
	return all
}
