package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"makebreak/rig/calibration"
	"makebreak/rig/capture"
	"makebreak/rig/commission"
	"makebreak/rig/problem"
	"makebreak/rig/prompt"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
	"makebreak/sequences/setup"
)

// calibrateOpts are the flags of rig calibrate.
type calibrateOpts struct {
	points, meter, accuracy, due string
	accept                       bool // points at which meter and rig differ too much
	seed                         uint64
}

func (a *app) rigCalibrateCommand() *cobra.Command {
	var o calibrateOpts
	c := &cobra.Command{
		Use:   "calibrate OUTPUT",
		Short: "Calibrate an output's divider against a meter",
		Long: `Compare what the rig reads with what a meter shows at the same terminal, at two
or more steady voltages, and keep gain and offset beside the rig file, in
RIG.calibration.yaml. Runs correct their levels by it, with the uncertainty of
the meter in the place of the resistors' tolerance.

The meter's accuracy is typed as its manual writes it, as in 0.5 % + 2 digits.
Where meter and rig differ by more than the divider's tolerance, the converter and
the meter explain, the point is asked about; --accept-differences takes it. Without
a terminal and without that flag the command ends with 65. The answer back takes
the last point back, back 2 the second one.

With --points nothing is asked and nothing is read: the file holds what meter
and rig showed.

  meter: "4711"
  accuracy: 0.5 % + 2 digits
  points:
    - {meter: 0.651 V, read: 0.648 V}
    - {meter: 13.47 V, read: 13.312 V}

In its list, too, back takes back the point before it.

A simulated rig says what a meter would show; the calibration then holds for
runs with the same --seed.`,
		Example: `  makebreak rig calibrate OUT3 --rig rig.yaml --by "A. Fitter"
  makebreak rig calibrate OUT3 --rig rig.yaml --points points.yaml`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return problem.New(problem.Usage, "rig calibrate takes one output's name")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			seeded := c.Flags().Changed("seed")
			return a.rigCalibrate(c.Context(), args[0], &o, seeded)
		},
	}
	a.forms(c, "text")
	f := c.Flags()
	f.StringVar(&o.points, "points", "", "take the points from a `file` instead of asking")
	f.StringVar(&o.meter, "meter", "", "`serial` of the meter (default: asked)")
	f.StringVar(&o.accuracy, "accuracy", "", "the meter's `accuracy`, as in \"0.5 % + 2 digits\" (default: asked)")
	f.StringVar(&o.due, "due", "", "`day` from which the calibration is due again, as in 2027-03-31 (default: a year on)")
	f.BoolVar(&o.accept, "accept-differences", false, "take points at which meter and rig differ by more than tolerances explain")
	f.Uint64Var(&o.seed, "seed", 1, "`seed`: the same number gives the same simulated bench")
	return c
}

// rigCalibrate takes the points, fits the line, stores it and shows the result.
func (a *app) rigCalibrate(ctx context.Context, out string, o *calibrateOpts, seeded bool) error {
	rig, stored, err := a.calibrations(out)
	if err != nil {
		return err
	}
	if seeded && !rig.Simulated {
		return badUsage("--seed is for the simulated bench; this rig file is of a real one")
	}
	today := calibration.DayOf(a.now())
	session, err := o.session(ctx, today)
	if err != nil {
		return err
	}
	if o.points == "" {
		t := setup.Terminal(rig.Uncorrected(), out, o.seed)
		err := commission.TakePoints(ctx, rig, out, t, prompt.NewTerminal(a.in, a.prompts()), session, today, a.differences(o))
		if err = errors.Join(err, t.Close()); err != nil {
			return err
		}
	}
	c := session.Calibration(out, today)
	c.By, c.Wiring = a.by, calibration.Wiring(rig, out, o.seed)
	for i := range c.Points {
		c.Points[i].Accepted = c.Points[i].Accepted || o.accept
	}
	done, err := calibration.New(rig, c, today)
	var apart *calibration.DifferenceError
	switch {
	case errors.As(err, &apart):
		return fmt.Errorf("%w. --accept-differences takes it all the same", err)
	case err != nil:
		return err
	}
	stored.Set(done)
	if err := stored.Save(); err != nil {
		return problem.Of(problem.Storage, err)
	}
	return a.print(func(w io.Writer) error { return commission.WriteCalibration(w, rig, done, today, stored.Path) })
}

// differences says who may take a point at which meter and rig differ too much.
func (a *app) differences(o *calibrateOpts) commission.Differences {
	switch _, tty := terminal(a.in); {
	case o.accept:
		return commission.AcceptDifferences
	case tty:
		return commission.AskAboutDifferences
	}
	return commission.RefuseDifferences
}

// session reads the points file and the flags.
func (o *calibrateOpts) session(ctx context.Context, today calibration.Day) (*calibration.Session, error) {
	s := &calibration.Session{Meter: o.meter}
	if o.points != "" {
		if o.meter != "" || o.accuracy != "" {
			return nil, badUsage("--meter and --accuracy are given in the points file: leave them out, or leave out --points")
		}
		src, err := yamlfile.ReadFile(ctx, o.points)
		if err != nil {
			return nil, problem.Reading(fmt.Errorf("points: %w", err))
		}
		if s, err = calibration.ParsePoints(o.points, src); err != nil {
			return nil, inputError(err)
		}
	}
	var err error
	if o.due != "" {
		if s.Due, err = calibration.ParseDay(o.due); err != nil {
			return nil, badUsage("--due: %w", err)
		}
		if err := calibration.CheckDue(s.Due, today); err != nil {
			return nil, badUsage("--due %s: %w", o.due, err)
		}
		s.HasDue = true
	}
	if o.accuracy != "" {
		if s.Accuracy, err = calibration.ParseAccuracy(o.accuracy); err != nil {
			return nil, badUsage("--accuracy: %w", err)
		}
	}
	return s, nil
}

// calibrations returns the rig file asked for and the calibrations beside it.
func (a *app) calibrations(out string) (*wiring.Rig, *calibration.File, error) {
	if !a.ownRig() {
		return nil, nil, badUsage("a calibration is kept beside the rig's file; name the file with --rig FILE")
	}
	rig, err := rigfile.Load(a.ctx, a.rig)
	if err != nil {
		return nil, nil, inputError(err)
	}
	if rig.Output(out) == nil {
		names := words.Texts(rig.Outputs, func(o wiring.Output) string { return o.Name })
		return nil, nil, badUsage("rig %s has no output %s; %s", rig.Name, out, words.UseOneOf(out, names))
	}
	stored, err := calibration.Load(a.ctx, calibration.PathFor(a.rig), rig.Name)
	if err == nil && stored.Rig != rig.Name {
		err = fmt.Errorf("%s holds calibrations of rig %s, and this rig is %s; move it away to begin anew", stored.Path, stored.Rig, rig.Name)
	}
	return rig, stored, inputError(err)
}

// calibrateFor corrects a job's rig by the calibrations beside its file.
func (a *app) calibrateFor(j *job) (err error) {
	if a.place != nil {
		return a.calibratePlace(j)
	}
	j.calibrations, err = a.calibrated(j.rig, setup.OverdueRule(j.rig, j.seq), j.sim.Seed, j.seq.Sampled(j.rig))
	return err
}

// calibrated corrects the rig by the calibrations beside its file and says what is wrong
// with those of the outputs that are sampled; nil: of all. What it returns of each says so,
// too. The seed is the simulated bench's.
func (a *app) calibrated(rig *wiring.Rig, overdue capture.OverdueRule, seed uint64, sampled []string) ([]capture.Calibration, error) {
	if sampled == nil {
		sampled = words.Texts(rig.Outputs, func(o wiring.Output) string { return o.Name })
	}
	if !a.ownRig() {
		return capture.CalibrationsOf(calibration.Uncalibrated(rig), sampled), nil
	}
	f, err := calibration.Load(a.ctx, calibration.PathFor(a.rig), rig.Name)
	if err != nil {
		return nil, inputError(err)
	}
	all := judged(capture.CalibrationsOf(f.Apply(rig, calibration.DayOf(a.now()), seed), sampled), overdue)
	for _, text := range f.Warnings(rig, all) {
		a.note("Warning: calibration: %s", text)
	}
	return all, nil
}

// judged says of calibrations that figures which rest on them are judged when they are
// overdue, where the rule is so.
func judged(all []capture.Calibration, overdue capture.OverdueRule) []capture.Calibration {
	for i := range all {
		all[i].Judged = overdue == capture.OverdueJudged && all[i].Applied()
	}
	return all
}
