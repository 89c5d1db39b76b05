package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"makebreak/analyze"
	"makebreak/rig/bench"
	"makebreak/rig/calibration"
	"makebreak/rig/capture"
	"makebreak/rig/commission"
	"makebreak/rig/problem"
	"makebreak/rig/prompt"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/sequences/setup"
)

func (a *app) rigCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "rig",
		Short: "Look for, write, draw, check, watch and calibrate the rig",
		Args:  noSuchCommand,
		RunE: func(c *cobra.Command, _ []string) error {
			return c.Help()
		},
	}
	c.AddCommand(a.rigScanCommand(), a.rigInitCommand(), a.rigWiringCommand(), a.rigDrawCommand(), a.rigCheckCommand(), a.rigWatchCommand(), a.rigCalibrateCommand())
	return c
}

func (a *app) rigScanCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "scan",
		Short: "List the hardware that is there, without a rig file",
		Long: `List the hardware that is there, without a rig file:

  - the computer: board, kernel, the processor's clock and heat, whether its supply
    suffices, swap, what the kernel grants this user, with advice where something is off;
  - the I²C buses, and what answers there at the addresses that converters can have
    (0x48 to 0x4B) and that a DAC can have (0x60 to 0x67);
  - the GPIO chips, with the lines of a Raspberry Pi's header (GPIO0 to GPIO27), their
    pins and what the kernel calls them, and lines in use; on another board, all lines
    that have a name;
  - buses and chips that this user may not open, with what helps.

Nothing is changed. At each address one byte is read. Where a chip answers at a
converter's address its registers are read; for that, only their numbers are written.
Chips that a driver of the kernel holds are left alone.

The exit status is 69 where there is nothing that this user can open.`,
		Args: noArguments,
		RunE: func(*cobra.Command, []string) error {
			found := commission.Scan()
			err := a.print(a.chosen(writers{"text": found.Text, "json": asJSON(found)}))
			if err == nil && found.Empty() {
				err = problem.New(problem.Rig, "there is no I²C bus and no GPIO chip that this user can open")
			}
			return err
		},
	}
	a.forms(c, "text", "json")
	return c
}

// checkOpts are the flags of rig check.
type checkOpts struct {
	steps, asked bool // asked: --steps was typed
	loopBack     string
	yes          bool
}

func (a *app) rigCheckCommand() *cobra.Command {
	var o checkOpts
	c := &cobra.Command{
		Use:   "check",
		Short: "Check the rig file, and on a real rig whether all of it is there and works",
		Long: `Check the rig file: each divider's worst case, each name. On a real rig the chips'
registers are read, the bus's speed is measured, the lines are looked for, and the
computer's state is shown, with advice. Without a rig file, makebreak rig scan says
what there is.

Where a person is at a terminal, or --steps is given, a real rig is then tried step by
step:

  - converters: their rates and ready lines;
  - each divider, with nothing connected and with a known voltage;
  - each contact, by hand;
  - each drive, once yes is typed for it;
  - a supply, by a meter.

--loop-back needs other wires: with it the steps are done only where --steps is given.

The report is for a second person to review; -o writes it to a file. The exit status is
0 where all steps were done and no fault was found, and 2 where steps were not done. A
loop-back alone ends with 2; what it measured is stored all the same.`,
		Example: `  makebreak rig check --rig rig.yaml
  makebreak rig check --rig rig.yaml --by "A. Fitter" -o check.txt
  makebreak rig check --rig rig.yaml --loop-back KEY_AWAY,K1_NO,OUT3`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if o.asked = c.Flags().Changed("steps"); !o.asked {
				_, tty := terminal(a.in)
				o.steps = tty && o.loopBack == "" // what is looped back is not wired for the steps
			}
			return a.rigCheck(c.Context(), &o)
		},
	}
	a.forms(c, "text")
	c.Flags().StringVar(&o.loopBack, "loop-back", "", "measure how late the lines are, with `DRIVE,LINE[,OUTPUT]` wired together, and store it")
	c.Flags().BoolVar(&o.yes, "yes", false, "accept the safety notes beforehand (for a --loop-back in a script)")
	c.Flags().BoolVar(&o.steps, "steps", false, "try the rig step by step (default: on a real rig, at a terminal, without --loop-back)")
	return c
}

// rigCheck looks at the rig file and, on hardware or where asked, tries the rig.
func (a *app) rigCheck(ctx context.Context, o *checkOpts) error {
	rig, err := a.namedRig()
	if err != nil {
		return err
	}
	var loop *commission.LoopBack
	if o.loopBack != "" {
		if loop, err = commission.ParseLoopBack(o.loopBack, rig); err != nil {
			return fmt.Errorf("--loop-back: %w", err)
		}
	}
	if loop != nil && !rig.Simulated {
		n, on, all := loop.Pulses(rig)
		fmt.Fprintf(a.prompts(), "%s will be on %d times for %v, which takes some %v.\n", loop.Drive, n, on, (all + time.Second).Round(time.Second))
		if err := a.acknowledged(ctx, o.yes); err != nil {
			return err
		}
	}
	if loop == nil && a.ownRig() {
		if rig.Latency, err = rigfile.LoadLatency(a.ctx, rigfile.LatencyPath(a.rig)); err != nil {
			return inputError(err)
		}
	}
	stored, err := a.storedCalibrations(rig)
	if err != nil {
		return err
	}
	r, err := look(rig)
	if err != nil {
		return err
	}
	r.By, r.Calibrations = a.by, stored
	err = r.Err()
	if r.Whole() {
		err = a.tryRig(ctx, r, o.steps && (o.asked || !rig.Simulated), loop)
	}
	if !r.Proven() {
		a.verdict = analyze.Undecided
	}
	return errors.Join(a.print(r.Text), err)
}

// storedCalibrations returns what is known of the calibrations of a rig that is checked, and
// corrects a real one by them: a simulated one is calibrated for one seed.
func (a *app) storedCalibrations(rig *wiring.Rig) ([]capture.Calibration, error) {
	if !a.ownRig() {
		return nil, nil
	}
	f, err := calibration.Load(a.ctx, calibration.PathFor(a.rig), rig.Name)
	if err != nil {
		return nil, inputError(err)
	}
	today := calibration.DayOf(a.now())
	if !rig.Simulated {
		return judged(f.Apply(rig, today, 0), rig.Overdue), nil
	}
	return judged(f.On(rig, today, nil), rig.Overdue), nil
}

// look looks for a rig's parts, of a simulated one at its bus.
func look(rig *wiring.Rig) (*commission.Report, error) {
	if !rig.Simulated {
		return commission.Look(rig), nil
	}
	world, err := sim.NewWorld(rig, sim.Opts{})
	if err != nil {
		return nil, problem.Of(problem.Input, err)
	}
	return commission.LookSimulated(rig, world.Bus(), world.Now), nil
}

// tryRig tries the rig step by step, by a loop-back, or both.
func (a *app) tryRig(ctx context.Context, r *commission.Report, stepwise bool, loop *commission.LoopBack) error {
	if stepwise {
		b, err := a.openAtRest(r.Rig)
		if err != nil {
			return r.Fail(err)
		}
		err = r.Try(ctx, b, prompt.NewTerminal(a.in, a.prompts()))
		if closeErr := commission.Closed(b.Close()); closeErr != nil {
			err = r.Fail(errors.Join(err, closeErr))
		}
		if err != nil {
			return err
		}
	}
	if loop != nil {
		if err := a.loopBack(ctx, r, loop); err != nil {
			return err
		}
	}
	return r.Err()
}

// loopBack measures a loop-back and stores the latency beside the rig file.
func (a *app) loopBack(ctx context.Context, r *commission.Report, l *commission.LoopBack) error {
	seq := &sequences.Sequence{Sample: wiring.Follow}
	seq.Plan.Outputs = []analyze.OutputPlan{{Signal: l.Output}}
	if l.Output == "" {
		seq.Plan = analyze.Plan{OthersUnmoved: true}
	}
	r.Rig.Latency = nil // what an earlier loop-back found must not correct this one
	b, err := a.openWith(r.Rig, seq, setup.Simulation{RealTime: true}, bench.Opts{SupplyAtRest: true})
	if err != nil {
		return r.Fail(err)
	}
	path := ""
	if a.ownRig() {
		path = rigfile.LatencyPath(a.rig)
	}
	err = r.LoopBack(ctx, l, b, path)
	if closeErr := commission.Closed(b.Close()); closeErr != nil {
		err = r.Fail(errors.Join(err, closeErr))
	}
	return err
}

// namedRig is the rig file asked for, or the simulated bench, by its own names.
func (a *app) namedRig() (*wiring.Rig, error) {
	if len(a.only) > 0 {
		return nil, badUsage("--only: this is by the rig's own names; leave it out")
	}
	return a.readRig()
}

// seenRig is namedRig as the unit sees it that --only names.
func (a *app) seenRig() (*wiring.Rig, error) {
	rig, err := a.readRig()
	if err != nil {
		return nil, err
	}
	return a.asMeant(rig)
}

func (a *app) readRig() (*wiring.Rig, error) {
	if a.rig == "" {
		return rigfile.Builtin()[0], nil
	}
	rig, err := rigfile.Load(a.ctx, a.rig)
	return rig, inputError(err)
}

// acknowledged shows the cautions and waits until the person has typed yes, unless they
// were accepted beforehand.
func (a *app) acknowledged(ctx context.Context, yes bool) error {
	if yes {
		return nil
	}
	_, tty := terminal(a.in)
	return prompt.Acknowledge(ctx, a.in, a.prompts(), tty)
}
