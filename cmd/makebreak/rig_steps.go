package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

// The steps' own limits.
const (
	openWireVolts = 0.1              // an input with nothing connected reads less
	stepPatience  = 30 * time.Second // to wait for a contact
	clickTime     = 300 * time.Millisecond
	glance        = 100 * time.Millisecond
)

// steps leads a person through what only hardware can show, one thing at a time,
// and keeps what came of it.
type steps struct {
	app    *app
	rig    *wiring.Rig
	bench  *bench.Bench
	c      *capture.Capture
	input  <-chan string // closed when nobody is there any more
	done   []stepResult
	absent bool // standard input has ended
	warned bool // the cautions have been shown
}

// stepResult is one line of the rig's report.
type stepResult struct {
	what, outcome, detail string
}

const (
	stepOK      = "ok"
	stepWrong   = "WRONG"
	stepSkipped = "not done"
)

// rigSteps runs all steps and returns their report. The error is of the rig, not of
// a step that came out wrong.
func (a *app) rigSteps(ctx context.Context, rig *wiring.Rig) ([]stepResult, error) {
	b, err := a.openAtRest(rig)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	s := &steps{app: a, rig: rig, bench: b, input: readLines(a.in)}
	if s.c, err = b.NewCapture(); err != nil {
		return nil, err
	}
	for _, step := range []func(context.Context) error{s.converters, s.outputs, s.contacts, s.supply, s.drives} {
		if err := step(ctx); err != nil {
			return s.done, err
		}
	}
	return s.done, nil
}

// readLines hands over standard input line by line.
func readLines(in io.Reader) <-chan string {
	lines := make(chan string)
	go func() {
		defer close(lines)
		scan := bufio.NewScanner(in)
		for scan.Scan() {
			lines <- strings.TrimSpace(scan.Text())
		}
	}()
	return lines
}

func (s *steps) say(format string, args ...any) { fmt.Fprintf(s.app.err, format, args...) }

func (s *steps) result(what, outcome, format string, args ...any) {
	s.done = append(s.done, stepResult{what, outcome, fmt.Sprintf(format, args...)})
	s.say("  %s: %s\n", outcome, fmt.Sprintf(format, args...))
}

// ask shows a question and returns the answer; the bench goes on recording. It is
// false where nobody is there.
func (s *steps) ask(ctx context.Context, format string, args ...any) (string, bool, error) {
	s.say(format+" ", args...)
	answer, there := "", false
	err := s.until(ctx, math.MaxInt64, func() bool {
		if s.absent {
			return true
		}
		select {
		case line, ok := <-s.input:
			answer, there, s.absent = line, ok, !ok
			return true
		default:
			return false
		}
	})
	if s.absent {
		s.say("\n")
	}
	return answer, there, err
}

// until records until stop says so or the time has passed, and forgets what is old.
func (s *steps) until(ctx context.Context, lasts time.Duration, stop func() bool) error {
	end := s.bench.Now().Add(min(lasts, 24*time.Hour))
	for !stop() && s.bench.Now() < end {
		if err := s.bench.Record(ctx, s.c, s.bench.Now().Add(glance)); err != nil {
			return err
		}
		if s.c.End.Sub(s.c.Start) > 2*time.Second {
			s.c.Discard(s.c.End.Add(-time.Second))
		}
	}
	return nil
}

// fresh starts a new capture and records into it.
func (s *steps) fresh(ctx context.Context, lasts time.Duration) error {
	s.c = s.c.Continue()
	return s.bench.Record(ctx, s.c, s.bench.Now().Add(lasts))
}

// converters checks that each converter converts at its rate, which also shows
// whether its ready pin reaches its line.
func (s *steps) converters(ctx context.Context) error {
	s.say("\nConverters\n")
	if err := s.fresh(ctx, time.Second); err != nil {
		return err
	}
	for _, c := range s.bench.Chips() {
		how := "asked for the end of each conversion"
		if c.Ready {
			how = "its ready line toggles"
		}
		what := "converter " + c.Name
		off := c.Period.Seconds()/c.Nominal.Seconds() - 1
		switch {
		case c.Conversions == 0:
			s.result(what, stepWrong, "it does not convert")
		case math.Abs(off) > 0.1:
			s.result(what, stepWrong, "a conversion takes %v, %+.1f %% off the data sheet's; 10 %% are allowed", c.Period, 100*off)
		default:
			s.result(what, stepOK, "%s; a conversion takes %.4f ms, %+.1f %% off nominal", how, c.Period.Seconds()*1e3, 100*off)
		}
	}
	return nil
}

// outputs checks every divider: with nothing connected, then with a voltage that a
// meter reads.
func (s *steps) outputs(ctx context.Context) error {
	s.say("\nOutputs\n%s", cautions) // a battery is connected here
	for _, o := range s.rig.Outputs {
		if err := s.openWire(ctx, o); err != nil {
			return err
		}
		if err := s.knownVoltage(ctx, o); err != nil {
			return err
		}
	}
	return nil
}

// reading is an output's mean over a fresh fifth of a second, in volts.
func (s *steps) reading(ctx context.Context, output string) (float64, error) {
	if err := s.fresh(ctx, 200*time.Millisecond); err != nil {
		return 0, err
	}
	sum, n := 0.0, 0
	for _, vs := range s.c.Trace(output).Blocks(s.c.Start, s.c.End+1) {
		for _, v := range vs {
			sum += float64(v)
			n++
		}
	}
	if n == 0 {
		return math.NaN(), nil
	}
	return sum / float64(n), nil
}

func (s *steps) openWire(ctx context.Context, o wiring.Output) error {
	what := o.Name + ", nothing connected"
	if o.Divider.Upper == 0 {
		s.result(what, stepSkipped, "it has no divider, and an input that is left open may read anything")
		return nil
	}
	answer, there, err := s.ask(ctx, "%s: take its wire off the unit and press Enter (s skips).", o.Name)
	if err != nil {
		return err
	}
	if !there || answer == "s" {
		s.result(what, stepSkipped, "skipped")
		return nil
	}
	v, err := s.reading(ctx, o.Name)
	if err != nil {
		return err
	}
	if math.Abs(v) > openWireVolts {
		s.result(what, stepWrong, "reads %.3f V; an open wire reads less than %.1f V: check the lower resistor and its ground", v, openWireVolts)
		return nil
	}
	s.result(what, stepOK, "reads %.3f V, as an open wire does", v)
	return nil
}

func (s *steps) knownVoltage(ctx context.Context, o wiring.Output) error {
	what := o.Name + ", known voltage"
	meter, ok, err := s.askReading(ctx, what, "skipped", "%s: connect a battery of at most %s to its wire, read it with a meter, type the reading as in %.2f V (s skips).",
		o.Name, unit.Voltage.Format(o.Highest), 0.9*o.Nominal)
	if err != nil || !ok {
		return err
	}
	v, err := s.reading(ctx, o.Name)
	if err != nil {
		return err
	}
	allowed := coverage95*s.rig.StandardUncertainty(o.Name, math.Abs(meter)) + 0.01*math.Abs(meter) // a handheld meter is good to 1 %, common practice, no source
	switch off := v - meter; {
	case math.IsNaN(v):
		s.result(what, stepWrong, "no samples")
	case math.Abs(off) > allowed:
		s.result(what, stepWrong, "reads %.3f V, the meter %.3f V: off by %+.3f V, %.3f V are allowed; check the resistors and the channel", v, meter, off, allowed)
	default:
		s.result(what, stepOK, "reads %.3f V, the meter %.3f V: off by %+.3f V, within the %.3f V allowed", v, meter, off, allowed)
	}
	return nil
}

// contacts waits for each contact and reference to change when told.
func (s *steps) contacts(ctx context.Context) error {
	s.say("\nContacts\n")
	names := make([]string, 0, len(s.rig.Contacts)+len(s.rig.References))
	for _, l := range s.rig.Contacts {
		names = append(names, l.Name)
	}
	for _, l := range s.rig.References {
		names = append(names, l.Name)
	}
	for _, name := range names {
		if s.absent {
			s.result(name, stepSkipped, "skipped")
			continue
		}
		if err := s.toggles(ctx, name); err != nil {
			return err
		}
	}
	return nil
}

func (s *steps) toggles(ctx context.Context, name string) error {
	s.say("%s: close and open it by hand, or bridge its terminals (Enter skips). ", name)
	s.c = s.c.Continue()
	edges, skipped := 0, false
	seen := map[bool]bool{}
	err := s.until(ctx, stepPatience, func() bool {
		t := s.c.Track(name)
		edges = len(t.Edges)
		for _, e := range t.Edges {
			seen[e.Closed] = true
		}
		select {
		case _, ok := <-s.input:
			skipped, s.absent = true, !ok
		default:
		}
		return skipped || seen[true] && seen[false]
	})
	s.say("\n")
	switch {
	case err != nil:
		return err
	case seen[true] && seen[false]:
		s.result(name, stepOK, "it opens and closes, %s seen", words.Count(edges, "edge", "edges"))
	case skipped:
		s.result(name, stepSkipped, "skipped")
	default:
		s.result(name, stepWrong, "no change seen in %v; check the wire, the line's number and its pull", stepPatience)
	}
	return nil
}

// drives clicks each drive, after the cautions have been acknowledged, and one at a
// time.
func (s *steps) drives(ctx context.Context) error {
	s.say("\nDrives\n")
	if len(s.rig.Drives) == 0 {
		return nil
	}
	s.caution()
	for _, d := range s.rig.Drives {
		if g := s.stage(); g != nil && g.Drive == d.Name {
			continue // tried as the supply
		}
		on := min(clickTime, d.LongestOn)
		answer, there, err := s.ask(ctx, "%s: it will be on for %v%s. Type yes to switch it (anything else skips).", d.Name, on, s.withSupply())
		if err != nil {
			return err
		}
		if !there || !strings.EqualFold(answer, "yes") {
			s.result(d.Name, stepSkipped, "skipped")
			continue
		}
		if err := s.click(ctx, d.Name, on); err != nil {
			return err
		}
		if err := s.acted(ctx, d.Name); err != nil {
			return err
		}
	}
	return nil
}

// caution shows the cautions before the rig acts for the first time.
func (s *steps) caution() {
	if !s.warned {
		s.say("%s", cautions)
	}
	s.warned = true
}

// click pulses a drive, with the supply at its usual voltage meanwhile, where a converter
// sets it: without it nothing behind the drive might act.
func (s *steps) click(ctx context.Context, drive string, on time.Duration) error {
	w := s.rig.ProgrammedSupply()
	if w != nil {
		if err := s.setSupply(ctx, w.Usual); err != nil {
			return err
		}
	}
	s.c = s.c.Continue()
	if _, err := s.bench.Pulse(ctx, s.c, drive, on); err != nil || w == nil {
		return err
	}
	return s.setSupply(ctx, w.Rest)
}

func (s *steps) acted(ctx context.Context, drive string) error {
	for {
		answer, there, err := s.ask(ctx, "%s: did it act, and only it? Type yes or no.", drive)
		switch {
		case err != nil:
			return err
		case !there:
			s.result(drive, stepSkipped, "it was switched, and nobody said whether it acted")
			return nil
		case strings.EqualFold(answer, "yes"):
			s.result(drive, stepOK, "it acts, as the person at the bench says")
			return nil
		case strings.EqualFold(answer, "no"):
			s.result(drive, stepWrong, "it does not act as it should, as the person at the bench says; check its wire, the line's number and its polarity")
			return nil
		}
	}
}

// writeSteps writes the rig's report for a second person to review, and what ended the
// steps early, if anything did.
func (a *app) writeSteps(w io.Writer, rig *wiring.Rig, all []stepResult, early error) error {
	fmt.Fprintf(w, "\nRig report: %s, %s", rig.Name, time.Now().UTC().Format("2006-01-02 15:04 UTC"))
	if a.by != "" {
		fmt.Fprintf(w, ", by %s", a.by)
	}
	fmt.Fprint(w, "\n\n")
	wrong, skipped := 0, 0
	err := writeTable(w, []string{"step", "outcome", "what was seen"}, func(row func(...any)) {
		for _, r := range all {
			row(r.what, r.outcome, r.detail)
			switch r.outcome {
			case stepWrong:
				wrong++
			case stepSkipped:
				skipped++
			}
		}
	})
	if early != nil {
		why := plain(early)
		if errors.Is(early, context.Canceled) {
			why = "interrupted"
		}
		fmt.Fprintf(w, "\nNot finished: %s. Steps that are not listed were not done.\n", why)
	}
	fmt.Fprintf(w, "\n%s, %d of them wrong, %d not done.\nReviewed by: ____________________  date: ____________\n", words.Count(len(all), "step", "steps"), wrong, skipped)
	return err
}

// stepsOutcome is the error that a report of steps amounts to.
func stepsOutcome(all []stepResult) error {
	for _, r := range all {
		if r.outcome == stepWrong {
			return failed(exitRig, errors.New("at least one step came out wrong; see the report"))
		}
	}
	return nil
}
