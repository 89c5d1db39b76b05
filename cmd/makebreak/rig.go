package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"
	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/ads1x15"
	"makebreak/rig/bench"
	"makebreak/rig/gpioline"
	"makebreak/rig/i2cbus"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

func (a *app) rigCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "rig",
		Short: "Look for, check, watch and calibrate the rig",
		Args:  noSuchCommand,
		RunE: func(c *cobra.Command, _ []string) error {
			return c.Help()
		},
	}
	c.AddCommand(a.rigScanCommand())
	c.AddCommand(a.rigCheckCommand())
	c.AddCommand(a.rigWatchCommand())
	c.AddCommand(a.rigCalibrateCommand())
	return c
}

func (a *app) rigCheckCommand() *cobra.Command {
	var stepwise, yes bool
	var loop string
	c := &cobra.Command{
		Use:   "check",
		Short: "Check the rig file, and on a real rig whether all of it is there and works",
		Long: `Check the rig file: every divider's worst case, every name. On a real rig the
chips are asked for their registers, the bus's speed is measured and the lines are
looked for. Without a rig file, "rig scan" says what there is.

Then, on a real rig with a person at a terminal, or where --steps is given, the
rig is tried step by step: converters' rates and ready lines, each divider with
nothing connected and with a known voltage, each contact by hand, each drive when
yes is typed for it, a supply by a meter. With --loop-back, which needs other wires,
only where --steps is given. It ends in a report that a second person can review; -o
writes it to a file.`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if !c.Flags().Changed("steps") {
				_, tty := terminal(a.in)
				stepwise = tty && loop == "" // what is looped back is not wired for the steps
			}
			return a.rigCheck(c.Context(), stepwise, c.Flags().Changed("steps"), loop, yes)
		},
	}
	a.forms(c, "text")
	c.Flags().StringVar(&loop, "loop-back", "", "time a `DRIVE,LINE[,OUTPUT]` that are wired together, and store how late the lines are")
	c.Flags().BoolVar(&yes, "yes", false, "the cautions have been read (for a --loop-back in a script)")
	c.Flags().BoolVar(&stepwise, "steps", false, "try the rig step by step (default: on a real rig, at a terminal, without --loop-back)")
	return c
}

// rigCheck validates the rig file and, on hardware or where asked, tries the rig.
func (a *app) rigCheck(ctx context.Context, stepwise, asked bool, loop string, yes bool) error {
	rig, err := a.namedRig()
	if err != nil {
		return err
	}
	back, err := parseLoopBack(loop, rig)
	if err != nil {
		return err
	}
	if back != nil && !rig.Simulated {
		fmt.Fprintf(a.err, "%s will be on %d times for %v.\n", back.drive, loopPulses, loopTime)
		if err := a.acknowledged(ctx, yes); err != nil {
			return err
		}
	}
	if !rig.Simulated { // a simulated one is calibrated for one seed
		if err := a.calibrated(rig, 0); err != nil {
			return err
		}
	}
	var page bytes.Buffer
	fmt.Fprintf(&page, "Rig %s: %s\n\n", rig.Name, rig.About)
	if err := writeDividers(&page, rig); err != nil {
		return err
	}
	writeSupply(&page, rig)
	warned := writeProblems(&page, rig)
	speed, lost := lookAt(&page, rig)
	warned = speed != nil && speed.warn(&page) || warned
	if stepwise = stepwise && (asked || !rig.Simulated); lost == nil && (stepwise || back != nil) {
		results, err := a.tryRig(ctx, rig, stepwise, back)
		lost = errors.Join(err, a.writeSteps(&page, rig, results, err))
		if lost == nil {
			lost = stepsOutcome(results)
		}
	} else if lost == nil && !rig.Simulated {
		fmt.Fprintln(&page, "\nNot tried: converters' rates, dividers, contacts and drives. Use a terminal, or --steps.")
	}
	switch {
	case lost != nil:
	case warned:
		fmt.Fprintln(&page, "\nThe rig can be used, with the warnings above.")
	default:
		fmt.Fprintln(&page, "\nThe rig is in order, as far as it was tried.")
	}
	err = a.deliver(func(w io.Writer) error {
		_, err := page.WriteTo(w)
		return err
	})
	return errors.Join(err, lost)
}

// tryRig tries the rig step by step, by a loop-back, or both.
func (a *app) tryRig(ctx context.Context, rig *wiring.Rig, stepwise bool, back *loopBack) ([]stepResult, error) {
	var all []stepResult
	if stepwise {
		results, err := a.rigSteps(ctx, rig)
		if all = results; err != nil {
			return all, err
		}
	}
	if back == nil {
		return append(all, noLoopBack(rig)...), nil
	}
	results, err := a.rigLoopBack(ctx, rig, back)
	return append(all, results...), err
}

// noLoopBack says what only a loop-back would show, where the rig has the parts for one.
func noLoopBack(rig *wiring.Rig) []stepResult {
	if len(rig.Drives) == 0 || len(rig.Contacts)+len(rig.References) == 0 {
		return nil
	}
	return []stepResult{{"clock check", stepSkipped, "wire a drive into a line and an output, then use --loop-back DRIVE,LINE,OUTPUT"}}
}

// coverage95 is the factor from a standard uncertainty to the expanded one: 95 % of a normal
// distribution.
const coverage95 = 1.96

// writeDividers writes each output's divider with its worst case.
func writeDividers(w io.Writer, rig *wiring.Rig) error {
	var err error
	head := []string{"output", "chip", "divider", "at pin, worst", "allowed", "clips at", "step", "± at nominal"}
	tableErr := writeTable(w, head, func(row func(...any)) {
		for _, o := range rig.Outputs {
			d, e := rig.DividerReport(o.Name)
			if e != nil {
				err = e
				return
			}
			row(o.Name, fmt.Sprintf("%s.%d", o.Chip, o.Channel), dividerWords(o.Divider),
				fmt.Sprintf("%.3f V at %g V", d.WorstPinVolts, o.Highest),
				fmt.Sprintf("%.3f V (%s)", d.AllowedVolts, d.AllowedBy), fmt.Sprintf("%.1f V", d.ClipTerminalVolts),
				fmt.Sprintf("%.2f mV", d.StepVoltsAtTerminal*1e3), fmt.Sprintf("%.0f mV at %g V", coverage95*d.NominalUncertainty*1e3, o.Nominal))
		}
	})
	return errors.Join(tableErr, err)
}

func dividerWords(d wiring.Divider) string {
	if d.Upper == 0 {
		return "none"
	}
	return fmt.Sprintf("%s / %s, %s", unit.Resistance.Format(d.Upper), unit.Resistance.Format(d.Lower), unit.Share.Format(d.Tolerance))
}

func writeProblems(w io.Writer, rig *wiring.Rig) (warned bool) {
	for _, p := range rig.Check() {
		fmt.Fprintf(w, "\nWarning: %s\n", p)
		warned = true
	}
	return warned
}

// lookAt looks for all of a real rig, and measures the speed of its bus; of a simulated
// one there is nothing but the bus. The speed is nil where it could not be measured.
func lookAt(w io.Writer, rig *wiring.Rig) (*busSpeed, error) {
	if !rig.Simulated {
		speed, missing := probe(w, rig)
		if missing == 0 {
			return speed, nil
		}
		return speed, failed(exitRig, errors.New(words.Count(missing, "part of the rig is missing or does not answer", "parts of the rig are missing or do not answer")+"; see the report"))
	}
	speed, err := simulatedSpeed(rig)
	if err != nil {
		return nil, failed(exitInput, err)
	}
	fmt.Fprintf(w, "\nBus, simulated: %s.\n", speed)
	return speed, nil
}

// probe asks the chips of a real rig for their registers, times its bus and looks for
// its lines. It goes on after a failure, so that one call shows all that is missing, and
// returns how many parts are.
func probe(w io.Writer, rig *wiring.Rig) (speed *busSpeed, missing int) {
	fmt.Fprintln(w)
	say := func(what string, err error, ok string) {
		if err != nil {
			missing++
			fmt.Fprintf(w, "%-24s %s\n", what, plain(err))
			return
		}
		fmt.Fprintf(w, "%-24s %s\n", what, ok)
	}
	bus, err := i2cbus.OpenBus(rig.Bus)
	say("bus "+rig.Bus, err, "open")
	if err == nil {
		defer bus.Close()
		answers := uint16(0)
		for i := range rig.Chips {
			c := &rig.Chips[i]
			id, err := identify(bus, c)
			if err == nil {
				err = otherThan(c.Model, id)
			}
			say(fmt.Sprintf("chip %s at %#02x", c.Name, c.Address), err, fmt.Sprintf("%s, %s: %s", c.Model, stateOf(id), id))
			if err == nil {
				answers = c.Address
			}
		}
		if answers != 0 {
			speed, err = measureSpeed(bus, rig, answers)
			say("bus speed", err, speed.String())
		}
		if s := rig.ProgrammedSupply(); s != nil {
			text, err := probeSupply(bus, s)
			say(fmt.Sprintf("supply at %#02x", s.Address), err, text)
		}
	}
	for _, r := range bench.Requests(rig) {
		path, offset, err := gpioline.Find(r.Line)
		say(fmt.Sprintf("%s %s", r.Role, r.Line.Name), err, fmt.Sprintf("%s line %d", path, offset))
	}
	return speed, missing
}

// identify asks a chip of the rig for its registers.
func identify(bus i2c.Bus, c *wiring.Chip) (ads1x15.Identity, error) {
	opts := ads1x15.DefaultOpts
	opts.Model, opts.Range, opts.Rate, opts.Ready = c.Model, c.Range, c.Rate, c.Ready != nil
	dev, err := ads1x15.New(bus, c.Address, &opts)
	if err != nil {
		return ads1x15.Identity{}, err
	}
	return dev.Identify()
}

// otherThan says that registers cannot be those of the model that the rig file names; nil
// where they can.
func otherThan(m ads1x15.Model, id ads1x15.Identity) error {
	switch can := id.Models(); {
	case len(can) == 0:
		return fmt.Errorf("it does not look like an %s: %s; it is another chip, or a program has set it up otherwise: switch its supply off and on, and check again", m, id)
	case !slices.Contains(can, m):
		return fmt.Errorf("it is an %s, and the rig file says %s: %s", can[0], m, id)
	}
	return nil
}

// stateOf says in what state a chip's registers are.
func stateOf(id ads1x15.Identity) string {
	if id.AtReset() {
		return "as after power-up"
	}
	return "set up by a program"
}
