package commission

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/calibration"
	"makebreak/rig/hardware"
	"makebreak/rig/problem"
	"makebreak/rig/table"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

// pointTime is how long the rig reads a point.
const pointTime = 500 * time.Millisecond

// A Terminal is an output's terminal that is calibrated: a bench that reads it, and what is
// known of its voltage.
type Terminal interface {
	// Bench opens the bench for the nth point, counted from 0. It may be that of the point
	// before. Shows is what a meter shows at the terminal; NaN where only a meter knows.
	Bench(n int) (b *bench.Bench, shows unit.Volts, err error)
	// Close closes the bench, where one is open.
	Close() error
}

// realTerminal is a terminal whose voltages a person makes: nothing is switched on.
type realTerminal struct {
	rig    *wiring.Rig
	output string
	bench  *bench.Bench
}

// RealTerminal returns the terminal of an output of a real rig. The rig must be without
// corrections.
func RealTerminal(rig *wiring.Rig, output string) Terminal {
	return &realTerminal{rig: rig, output: output}
}

func (t *realTerminal) Bench(int) (*bench.Bench, unit.Volts, error) {
	var err error
	if t.bench == nil {
		t.bench, err = hardware.OpenBench(t.rig, bench.Opts{Outputs: []string{t.output}, Mode: wiring.Follow, SupplyAtRest: true})
	}
	return t.bench, unit.Volts(math.NaN()), err
}

func (t *realTerminal) Close() error {
	if t.bench == nil {
		return nil
	}
	return Closed(t.bench.Close())
}

// Closed is the error of a bench that could not be closed, of the kind Rig; nil for nil.
func Closed(err error) error {
	if err == nil {
		return nil
	}
	return problem.Of(problem.Rig, fmt.Errorf("the rig could not be closed; see that its drives are off: %w", err))
}

// points are the questions of a calibration.
type points struct {
	dialogue
	out      *wiring.Output
	session  *calibration.Session
	today    calibration.Day
	differ   Differences
	refused  bool // a point was refused for good
	terminal Terminal
	shows    unit.Volts // a meter at the terminal; NaN: not known
}

// Differences says what becomes of a point at which meter and rig differ by more than
// tolerances explain.
type Differences int

// What may become of them.
const (
	AskAboutDifferences Differences = iota // whoever is there may take the point all the same
	RefuseDifferences                      // the calibration ends
	AcceptDifferences                      // they were accepted beforehand
)

// TakePoints leads a person through a calibration of a rig's output: the meter's serial and
// accuracy, where the session has none, and the points, until an empty answer ends them.
// They are added to the session; a point is taken back by back. The terminal is not closed.
// The error is of the kind Usage where nobody is there any more, of the kind Input where a
// point is refused for good.
func TakePoints(ctx context.Context, rig *wiring.Rig, output string, terminal Terminal, asker Asker, session *calibration.Session, today calibration.Day, differ Differences) error {
	p := &points{dialogue: dialogue{asker: asker, rig: rig.Uncorrected()}, out: rig.Output(output), session: session, today: today, differ: differ, terminal: terminal}
	if err := p.open(); err != nil {
		return err
	}
	p.say("Calibration of %s against a meter\n  Hold the meter on the terminal of %s. Two or more steady voltages are needed, %.3g V or\n  more apart, as high as will be measured later.\n", output, output, calibration.LeastSpread*p.out.Highest)
	for _, step := range []func(context.Context) error{p.askMeter, p.askAccuracy, p.askAll} {
		if err := step(ctx); err != nil {
			return err
		}
	}
	return nil
}

// open opens the bench for the next point.
func (p *points) open() error {
	b, shows, err := p.terminal.Bench(len(p.session.Points))
	if err != nil {
		return err
	}
	if p.shows = shows; b == p.bench {
		return nil
	}
	p.bench = b
	p.c, err = b.NewCapture()
	return err
}

// errAgain asks once more; why has been said.
var errAgain = errors.New("once more")

var errNobody error = problem.New(problem.Usage, "standard input has ended before the calibration was complete; nothing was stored. --points FILE does it without a keyboard")

// insist asks until take is content with the answer.
func (p *points) insist(ctx context.Context, take func(answer string) error, format string, args ...any) error {
	for {
		answer, there, err := p.ask(ctx, format, args...)
		switch {
		case err != nil:
			return err
		case !there:
			return errNobody
		}
		err = take(answer)
		switch {
		case err == nil:
			return nil
		case ctx.Err() != nil, p.absent, p.refused, errors.Is(err, bench.ErrLost):
			return err
		case !errors.Is(err, errAgain):
			p.say("  %v\n", err)
		}
	}
}

func (p *points) askMeter(ctx context.Context) error {
	if p.session.Meter != "" {
		return nil
	}
	return p.insist(ctx, func(answer string) error {
		p.session.Meter = answer
		return calibration.CheckSerial(answer)
	}, "Serial of the meter:")
}

func (p *points) askAccuracy(ctx context.Context) error {
	if p.session.Accuracy.Text != "" {
		return nil
	}
	return p.insist(ctx, func(answer string) (err error) {
		p.session.Accuracy, err = calibration.ParseAccuracy(answer)
		return err
	}, "The meter's accuracy, as its manual writes it (0.5 %% + 2 digits):")
}

// askAll asks for points until an empty answer ends them.
func (p *points) askAll(ctx context.Context) error {
	for first := true; ; first = false {
		if !first {
			if err := p.open(); err != nil {
				return err
			}
		}
		if !math.IsNaN(float64(p.shows)) {
			p.say("  A meter at the simulated terminal shows %s now.\n", meterShows(p.shows))
		}
		n, more := len(p.session.Points), ""
		if n > 0 {
			more = "; back: take the last point back"
		}
		if n > 1 {
			more += "; Enter alone: no more points"
		}
		end := false
		err := p.insist(ctx, func(answer string) error {
			if number, back := calibration.CutBack(answer); back {
				return p.takeBack(number)
			}
			if end = answer == "" && n > 1; end {
				return p.checkAll()
			}
			return p.takePoint(ctx, answer)
		}, "Point %d: volts that the meter shows, all digits%s:", n+1, more)
		if err != nil || end {
			return err
		}
	}
}

// takeBack takes a point back. The meter's accuracy is that of the last point left again.
func (p *points) takeBack(number string) error {
	gone, err := p.session.TakeBack(number)
	if err != nil {
		return err
	}
	if n := len(p.session.Points); n > 0 {
		p.session.Accuracy = p.session.Points[n-1].Accuracy
	}
	p.say("  The point at %s is taken back.\n", gone.Meter.Text)
	return nil
}

// checkAll tries the calibration while whoever is there can still take a point back.
func (p *points) checkAll() error {
	if p.differ == RefuseDifferences {
		return nil // nobody would answer: the caller finds it out
	}
	_, err := calibration.New(p.rig, p.session.Calibration(p.out.Name, p.today), p.today)
	if err == nil {
		return nil
	}
	return errors.New(err.Error() + "\n  Take a point back with back or back 2, or take more points")
}

// meterShows is the display of an exact meter of 6,000 counts.
func meterShows(v unit.Volts) string {
	decimals := 2
	if math.Abs(float64(v)) < 6 {
		decimals = 3
	}
	return strconv.FormatFloat(float64(v), 'f', decimals, 64) + " V"
}

// takePoint reads what was typed, then the rig.
func (p *points) takePoint(ctx context.Context, answer string) error {
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
	if err := p.askRange(ctx, shown); err != nil {
		return err
	}
	if err := p.fresh(ctx, pointTime); err != nil {
		return err
	}
	point, err := calibration.Mean(p.c.Traces[0], p.out.Highest)
	if err != nil {
		return err
	}
	point.Meter, point.Accuracy = shown, p.session.Accuracy
	if err := p.checkPoint(ctx, &point); err != nil {
		return err
	}
	p.session.Points = append(p.session.Points, point)
	p.say("  The rig reads %.4f V without calibration.\n", point.ReadVolts)
	return nil
}

// checkPoint refuses a point that cannot be right. Where meter and rig differ too much,
// whoever is there may accept that.
func (p *points) checkPoint(ctx context.Context, point *calibration.Point) error {
	err := calibration.CheckPoint(p.rig, p.out.Name, point)
	var apart *calibration.DifferenceError
	if err == nil || !errors.As(err, &apart) {
		return err
	}
	switch p.differ {
	case AcceptDifferences:
		p.say("  Accepted beforehand: %s.\n", apart.Difference())
	case RefuseDifferences:
		p.refused = true
		return problem.Of(problem.Input, fmt.Errorf("point %d: %w. --accept-differences takes it all the same", len(p.session.Points)+1, err))
	default:
		p.say("  %s.\n  %s.\n", apart.Difference(), apart.Causes())
		yes, askErr := p.agreed(ctx, "Type yes to take this point all the same; Enter: read the meter again:")
		switch {
		case askErr != nil:
			return askErr
		case p.absent:
			return errNobody
		case !yes:
			return errAgain
		}
	}
	point.Accepted = true
	return nil
}

// askRange asks for the accuracy again where the meter has changed its range.
func (p *points) askRange(ctx context.Context, shown calibration.Reading) error {
	n := len(p.session.Points)
	if n == 0 || p.session.Points[n-1].Meter.Digit == shown.Digit {
		return nil
	}
	return p.insist(ctx, func(answer string) error {
		if answer == "" {
			return nil
		}
		accuracy, err := calibration.ParseAccuracy(answer)
		if err == nil {
			p.session.Accuracy = accuracy
		}
		return err
	}, "Another range: the meter's accuracy there (Enter: %s):", p.session.Accuracy.Text)
}

// WriteCalibration writes a calibration's points with their residuals, and how well a level
// is known with it and without. Path is where it is stored.
func WriteCalibration(w io.Writer, rig *wiring.Rig, c *calibration.Calibration, today calibration.Day, path string) error {
	before, err := rig.Uncorrected().DividerReport(c.Output)
	if err != nil {
		return err
	}
	by := c.Correction(today)
	corrected := rig.Uncorrected()
	corrected.Correct(c.Output, &by)
	after, err := corrected.DividerReport(c.Output)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "Calibration of %s, rig %s, %s, meter %s\n\n", c.Output, rig.Name, c.Date, c.Meter)
	err = table.Write(w, []string{"point", "meter", "accuracy", "rig read", "corrected", "residual"}, func(row func(...any)) {
		for i := range c.Points {
			p := &c.Points[i]
			row(i+1, p.Meter.Text, fmt.Sprintf("± %.1f mV", p.Half()*1e3), fmt.Sprintf("%.4f V ± %.1f mV", p.ReadVolts, coverage95*p.ReadStandard*1e3),
				fmt.Sprintf("%.4f V", c.Corrected(p.ReadVolts)), residualWords(c, i))
		}
	})
	for i := range c.Points {
		if c.Points[i].Accepted {
			fmt.Fprintf(w, "\nPoint %d was accepted although meter and rig differ by more than tolerances explain.\n", i+1)
		}
	}
	fmt.Fprintf(w, "\nGain %.5f, offset %+.1f mV", c.Gain, c.Offset*1e3)
	if n := len(c.Points); n > 2 {
		fmt.Fprintf(w, "; chi-square %.2g with %s", c.ChiSquare, words.Count(n-2, "degree of freedom", "degrees of freedom"))
	}
	fmt.Fprintf(w, ".\nAt %g V a level is known to ± %.0f mV now, to ± %.0f mV without calibration (95 %%).\n",
		rig.Output(c.Output).Nominal, 1e3*coverage95*after.NominalUncertainty, 1e3*coverage95*before.NominalUncertainty)
	_, lineErr := fmt.Fprintf(w, "Stored in %s; due on %s.\n", words.Safe(path), c.Due)
	return errors.Join(err, lineErr)
}

// residualWords is a point's residual and how much of it is usual.
func residualWords(c *calibration.Calibration, i int) string {
	if c.Tolerated[i] == 0 {
		return fmt.Sprintf("%+.1f mV", c.Residuals[i]*1e3)
	}
	return fmt.Sprintf("%+.1f mV of ± %.1f mV", c.Residuals[i]*1e3, 3*c.Tolerated[i]*1e3)
}
