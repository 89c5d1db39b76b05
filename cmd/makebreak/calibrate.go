package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"makebreak/rig/bench"
	"makebreak/rig/calibration"
	"makebreak/rig/hardware"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
)

// calibrateOpts are the flags of rig calibrate.
type calibrateOpts struct {
	points, meter, accuracy, due string
	seed                         uint64
}

// pointTime is how long the rig reads a point.
const pointTime = 500 * time.Millisecond

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
With --points nothing is asked and nothing is read: the file holds what meter
and rig showed.

  meter: "4711"
  accuracy: 0.5 % + 2 digits
  points:
    - {meter: 0.651 V, read: 0.648 V}
    - {meter: 13.47 V, read: 13.312 V}

A simulated rig says what a meter would show; the calibration then holds for
runs with the same --seed.`,
		Example: `  makebreak rig calibrate OUT3 --rig rig.yaml --by "A. Fitter"
  makebreak rig calibrate OUT3 --rig rig.yaml --points points.yaml`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return failed(exitUsage, errors.New("rig calibrate takes one output's name"))
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
	f.Uint64Var(&o.seed, "seed", 1, "`number` that the simulated bench is drawn from")
	return c
}

// rigCalibrate takes the points, fits the line, stores it and shows what came of it.
func (a *app) rigCalibrate(ctx context.Context, out string, o *calibrateOpts, seeded bool) error {
	rig, stored, err := a.calibrations(out)
	if err != nil {
		return err
	}
	if seeded && !rig.Simulated {
		return failed(exitUsage, errors.New("--seed is for the simulated bench; this rig file is of a real one"))
	}
	given, err := o.given()
	if err != nil {
		return err
	}
	if o.points == "" {
		if err := a.askPoints(ctx, rig, out, given, o.seed); err != nil {
			return err
		}
	}
	today := calibration.DayOf(time.Now())
	c := given.of(out, today)
	c.By, c.Wiring = a.by, calibration.Wiring(rig, out, o.seed)
	done, err := calibration.New(rig, c)
	if err != nil {
		return failed(exitInput, err)
	}
	stored.Set(done)
	if err := stored.Save(); err != nil {
		return failed(exitLog, err)
	}
	return a.deliver(func(w io.Writer) error { return writeCalibration(w, rig, done, today, stored.Path) })
}

// given is what is known of a calibration before anybody is asked.
type given struct {
	calibration.Session
	accuracy calibration.Accuracy
}

// given reads the points file and the flags, which come before it.
func (o *calibrateOpts) given() (*given, error) {
	g := &given{}
	if o.points != "" {
		src, err := yamlfile.ReadFile(o.points)
		if err != nil {
			return nil, failed(exitInput, fmt.Errorf("points: %w", err))
		}
		session, err := calibration.ParsePoints(o.points, src)
		if err != nil {
			return nil, inputError(err)
		}
		if o.meter != "" || o.accuracy != "" {
			return nil, failed(exitUsage, errors.New("--meter and --accuracy stand in the points file where there is one"))
		}
		g.Session = *session
	}
	var err error
	if o.due != "" {
		if g.Due, err = calibration.ParseDay(o.due); err != nil {
			return nil, failed(exitUsage, fmt.Errorf("--due: %w", err))
		}
		g.HasDue = true
	}
	if o.accuracy != "" {
		if g.accuracy, err = calibration.ParseAccuracy(o.accuracy); err != nil {
			return nil, failed(exitUsage, fmt.Errorf("--accuracy: %w", err))
		}
	}
	if o.meter != "" {
		g.Meter = o.meter
	}
	return g, nil
}

// of makes a calibration of it, dated today where no day was given.
func (g *given) of(out string, today calibration.Day) calibration.Calibration {
	c := calibration.Calibration{Output: out, Meter: g.Meter, Date: today, Points: g.Points}
	if g.Dated {
		c.Date = g.Date
	}
	c.Due = c.Date.YearLater()
	if g.HasDue {
		c.Due = g.Due
	}
	return c
}

// calibrations returns the rig file asked for and the calibrations beside it.
func (a *app) calibrations(out string) (*wiring.Rig, *calibration.File, error) {
	if !a.ownRig() {
		return nil, nil, failed(exitUsage, errors.New("a calibration is kept beside the rig's file; name the file with --rig FILE"))
	}
	rig, err := rigfile.Load(a.rig)
	if err != nil {
		return nil, nil, inputError(err)
	}
	if rig.Output(out) == nil {
		names := make([]string, len(rig.Outputs))
		for i, o := range rig.Outputs {
			names[i] = o.Name
		}
		return nil, nil, failed(exitUsage, fmt.Errorf("rig %s has no output %s; its outputs: %s", rig.Name, out, strings.Join(words.NearestFirst(out, names), ", ")))
	}
	stored, err := calibration.Load(calibration.PathFor(a.rig), rig.Name)
	if err == nil && stored.Rig != rig.Name {
		err = fmt.Errorf("%s holds calibrations of rig %s, and this rig is %s; move it away to begin anew", stored.Path, stored.Rig, rig.Name)
	}
	return rig, stored, inputError(err)
}

// askPoints leads the person through the points.
func (a *app) askPoints(ctx context.Context, rig *wiring.Rig, out string, g *given, seed uint64) error {
	q := &pointSteps{steps: steps{app: a, rig: rig.Uncorrected(), input: readLines(a.in)}, out: rig.Output(out), given: g, seed: seed}
	defer q.close()
	if err := q.open(); err != nil {
		return err
	}
	q.say("Calibration of %s against a meter\n  Hold the meter on the terminal of %s. Two or more steady voltages are needed, %.3g V or\n  more apart, as high as will be measured later.\n", out, out, calibration.LeastSpread*q.out.Highest)
	for _, step := range []func(context.Context) error{q.askMeter, q.askAccuracy, q.askAll} {
		if err := step(ctx); err != nil {
			return err
		}
	}
	return nil
}

// pointSteps are the questions of a calibration.
type pointSteps struct {
	steps
	out   *wiring.Output
	given *given
	seed  uint64
	shows float64 // volts at the simulated terminal
}

// open opens the bench. The simulated one is opened anew for each point, with the
// output low and high in turn.
func (q *pointSteps) open() error {
	opts := bench.Opts{Outputs: []string{q.out.Name}, Mode: wiring.Follow}
	var err error
	switch {
	case q.rig.Simulated:
		if err = q.close(); err == nil {
			q.bench, err = q.openWorld(opts)
		}
	case q.bench == nil:
		opts.SupplyAtRest = true // nothing is switched on; the voltages are the person's
		q.bench, err = hardware.OpenBench(q.rig, opts)
	}
	if err != nil {
		return err
	}
	q.c, err = q.bench.NewCapture()
	return err
}

func (q *pointSteps) openWorld(opts bench.Opts) (*bench.Bench, error) {
	high := len(q.given.Points)%2 == 1
	world, err := sim.NewWorld(q.rig, sim.Opts{Seed: q.seed, RealTime: true, Initial: map[string]bool{q.out.Name: high}})
	if err != nil {
		return nil, failed(exitInput, err)
	}
	lines, err := world.Lines(bench.Requests(q.rig))
	if err != nil {
		return nil, failed(exitInput, err)
	}
	b, err := bench.Open(q.rig, world.Bus(), lines, opts)
	if err != nil {
		return nil, err
	}
	truth := world.Truth().Output(q.out.Name) // with the supply as the bench has set it
	q.shows = truth.Low
	if high {
		q.shows = truth.High
	}
	return b, nil
}

func (q *pointSteps) close() error {
	if q.bench == nil {
		return nil
	}
	return hardware.CloseBench(q.bench)
}

// insist asks until take is content with the answer.
func (q *pointSteps) insist(ctx context.Context, take func(answer string) error, format string, args ...any) error {
	for {
		answer, there, err := q.ask(ctx, format, args...)
		switch {
		case err != nil:
			return err
		case !there:
			return failed(exitUsage, errors.New("standard input has ended before the calibration was complete; nothing was stored. --points FILE does it without a keyboard"))
		}
		err = take(answer)
		switch {
		case err == nil:
			return nil
		case ctx.Err() != nil, q.absent, errors.Is(err, bench.ErrLost):
			return err
		}
		q.say("  %s\n", plain(err))
	}
}

func (q *pointSteps) askMeter(ctx context.Context) error {
	if q.given.Meter != "" {
		return nil
	}
	return q.insist(ctx, func(answer string) error {
		q.given.Meter = answer
		return calibration.CheckSerial(answer)
	}, "Serial of the meter:")
}

func (q *pointSteps) askAccuracy(ctx context.Context) error {
	if q.given.accuracy.Text != "" {
		return nil
	}
	return q.insist(ctx, func(answer string) error {
		var err error
		q.given.accuracy, err = calibration.ParseAccuracy(answer)
		return err
	}, "The meter's accuracy, as its manual writes it (0.5 %% + 2 digits):")
}

// askAll asks for points until an empty line ends them.
func (q *pointSteps) askAll(ctx context.Context) error {
	for {
		if len(q.given.Points) > 0 {
			if err := q.open(); err != nil {
				return err
			}
		}
		end, n := false, len(q.given.Points)+1
		if q.rig.Simulated {
			q.say("  A meter at the simulated terminal shows %s now.\n", meterShows(q.shows))
		}
		more := ""
		if n > 2 {
			more = "; Enter alone: no more points"
		}
		err := q.insist(ctx, func(answer string) error {
			if end = answer == "" && n > 2; end {
				return nil
			}
			return q.takePoint(ctx, answer)
		}, "Point %d: volts that the meter shows, all digits%s:", n, more)
		if err != nil || end {
			return err
		}
	}
}

// meterShows is the display of an exact meter of 6,000 counts.
func meterShows(volts float64) string {
	if math.Abs(volts) < 6 {
		return strconv.FormatFloat(volts, 'f', 3, 64) + " V"
	}
	return strconv.FormatFloat(volts, 'f', 2, 64) + " V"
}

// takePoint reads what was typed, then the rig.
func (q *pointSteps) takePoint(ctx context.Context, answer string) error {
	if answer == "" {
		return errors.New("two points at least are needed; type what the meter shows, as in 13.40")
	}
	if strings.Trim(answer, "0123456789.-") == "" {
		answer += " V" // the question asks for volts
	}
	shown, err := calibration.ParseReading(answer)
	if err != nil {
		return err
	}
	if err := q.askRange(ctx, shown); err != nil {
		return err
	}
	if err := q.fresh(ctx, pointTime); err != nil {
		return err
	}
	p, err := calibration.Mean(q.c.Traces[0], q.out.Highest)
	if err != nil {
		return err
	}
	p.Meter, p.Accuracy = shown, q.given.accuracy
	if err := calibration.CheckPoint(q.rig, q.out.Name, &p); err != nil {
		return err
	}
	q.given.Points = append(q.given.Points, p)
	q.say("  The rig reads %.4f V without calibration.\n", p.ReadVolts)
	return nil
}

// askRange asks for the accuracy again where the meter has changed its range.
func (q *pointSteps) askRange(ctx context.Context, shown calibration.Reading) error {
	n := len(q.given.Points)
	if n == 0 || q.given.Points[n-1].Meter.Digit == shown.Digit {
		return nil
	}
	return q.insist(ctx, func(answer string) error {
		if answer == "" {
			return nil
		}
		accuracy, err := calibration.ParseAccuracy(answer)
		if err == nil {
			q.given.accuracy = accuracy
		}
		return err
	}, "Another range: the meter's accuracy there (Enter: %s):", q.given.accuracy.Text)
}

// writeCalibration shows the points with their residuals and what was gained.
func writeCalibration(w io.Writer, rig *wiring.Rig, c *calibration.Calibration, today calibration.Day, path string) error {
	fmt.Fprintf(w, "Calibration of %s, rig %s, %s, meter %s\n\n", c.Output, rig.Name, c.Date, c.Meter)
	head := []string{"point", "meter", "accuracy", "rig read", "corrected", "residual"}
	err := writeTable(w, head, func(row func(...any)) {
		for i := range c.Points {
			p := &c.Points[i]
			row(i+1, p.Meter.Text, fmt.Sprintf("± %.1f mV", p.Half()*1e3), fmt.Sprintf("%.4f V ± %.1f mV", p.ReadVolts, coverage95*p.ReadStandard*1e3),
				fmt.Sprintf("%.4f V", c.Corrected(p.ReadVolts)), residualWords(c, i))
		}
	})
	if err != nil {
		return err
	}
	before, err := rig.Uncorrected().DividerReport(c.Output)
	if err != nil {
		return err
	}
	by := c.Correction(today)
	rig.Correct(c.Output, &by)
	after, err := rig.DividerReport(c.Output)
	nominal := rig.Output(c.Output).Nominal
	fmt.Fprintf(w, "\nGain %.5f, offset %+.1f mV", c.Gain, c.Offset*1e3)
	if n := len(c.Points); n > 2 {
		fmt.Fprintf(w, "; chi-square %.2g with %s", c.ChiSquare, words.Count(n-2, "degree of freedom", "degrees of freedom"))
	}
	fmt.Fprintf(w, ".\nAt %g V a level is known to ± %.0f mV now, to ± %.0f mV without calibration (95 %%).\n", nominal, 1e3*coverage95*after.NominalUncertainty, 1e3*coverage95*before.NominalUncertainty)
	fmt.Fprintf(w, "Stored in %s; due on %s.\n", path, c.Due)
	return err
}

// residualWords is a point's residual and how much of it is usual.
func residualWords(c *calibration.Calibration, i int) string {
	if c.Tolerated[i] == 0 {
		return fmt.Sprintf("%+.1f mV", c.Residuals[i]*1e3)
	}
	return fmt.Sprintf("%+.1f mV of ± %.1f mV", c.Residuals[i]*1e3, 3*c.Tolerated[i]*1e3)
}

// calibrated corrects the rig by the calibrations beside its file, and says where
// they are due or no longer hold. The seed is the simulated bench's.
func (a *app) calibrated(rig *wiring.Rig, seed uint64) error {
	if !a.ownRig() || len(rig.Corrections) > 0 {
		return nil
	}
	f, err := calibration.Load(calibration.PathFor(a.rig), rig.Name)
	if err != nil {
		return inputError(err)
	}
	for _, text := range f.Apply(rig, calibration.DayOf(time.Now()), seed) {
		a.note("Warning: %s", text)
	}
	return nil
}

// notes joins what a run's log is to say besides its figures: the calibrations used
// among it.
func notes(rig *wiring.Rig, more string) string {
	var all []string
	if more != "" {
		all = append(all, more)
	}
	for _, o := range rig.Outputs {
		if c, ok := rig.Correction(o.Name); ok {
			all = append(all, c.Note)
		}
	}
	return strings.Join(all, "; ")
}
