package commission

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/prompt"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// An Asker puts texts and questions to whoever is at the bench. A prompt.Terminal is one.
type Asker interface {
	// Say shows a text as it is.
	Say(text string)
	// Ask shows a question. The channel gives the answer, and is closed once nobody is
	// there any more.
	Ask(question string) (answer <-chan string)
}

// pollEvery is how often an answer is looked for while the bench records.
const pollEvery = 100 * time.Millisecond

// dialogue is a talk with a person at a bench that goes on recording meanwhile.
type dialogue struct {
	asker  Asker
	rig    *wiring.Rig
	bench  *bench.Bench
	c      *capture.Capture
	done   []Step
	absent bool // nobody is there any more
	warned bool // the cautions have been shown
}

func (d *dialogue) say(format string, args ...any) { d.asker.Say(fmt.Sprintf(format, args...)) }

// result keeps a step's result and shows it.
func (d *dialogue) result(what string, outcome Outcome, format string, args ...any) {
	d.done = append(d.done, Step{what, outcome, fmt.Sprintf(format, args...)})
	d.say("  %s: %s\n", outcome, d.done[len(d.done)-1].Detail)
}

// caution shows the cautions before the rig acts for the first time.
func (d *dialogue) caution() {
	if !d.warned {
		d.say("%s", prompt.Cautions)
	}
	d.warned = true
}

// ask shows a question and returns the answer; the bench goes on recording. It is false
// where nobody is there.
func (d *dialogue) ask(ctx context.Context, format string, args ...any) (text string, there bool, err error) {
	if d.absent {
		return "", false, nil
	}
	answer := d.asker.Ask(fmt.Sprintf(format, args...))
	err = d.until(ctx, math.MaxInt64, func() bool {
		select {
		case text, there = <-answer:
			d.absent = !there
			return true
		default:
			return false
		}
	})
	if d.absent {
		d.say("\n")
	}
	return text, there, err
}

// agreed asks for a yes. Any other answer, and nobody there, is a no.
func (d *dialogue) agreed(ctx context.Context, format string, args ...any) (bool, error) {
	answer, there, err := d.ask(ctx, format, args...)
	return there && strings.EqualFold(answer, "yes"), err
}

// until records until stop says so or the time has passed, and forgets what is old.
func (d *dialogue) until(ctx context.Context, lasts time.Duration, stop func() bool) error {
	end := d.bench.Now().Add(min(lasts, 24*time.Hour))
	for !stop() && d.bench.Now() < end {
		if err := d.bench.Record(ctx, d.c, d.bench.Now().Add(pollEvery)); err != nil {
			return err
		}
		if d.c.End.Sub(d.c.Start) > 2*time.Second {
			d.c.Discard(d.c.End.Add(-time.Second))
		}
	}
	return nil
}

// fresh starts a new capture and records into it.
func (d *dialogue) fresh(ctx context.Context, lasts time.Duration) error {
	d.c = d.c.Continue()
	return d.bench.Record(ctx, d.c, d.bench.Now().Add(lasts))
}

// reading is an output's mean over a fresh fifth of a second, in volts; NaN where there
// were no samples.
func (d *dialogue) reading(ctx context.Context, output string) (float64, error) {
	if err := d.fresh(ctx, 200*time.Millisecond); err != nil {
		return 0, err
	}
	sum, n := 0.0, 0
	for _, vs := range d.c.Trace(output).Blocks(d.c.Start, d.c.End+1) {
		for _, v := range vs {
			sum += float64(v)
			n++
		}
	}
	return sum / float64(n), nil
}

// askVolts asks what a meter shows, again where the answer is no voltage. It may be a bare
// number, as it is asked for in volts. Where it is skipped or nobody is there, that is the
// step's result.
func (d *dialogue) askVolts(ctx context.Context, what, skipped, format string, args ...any) (volts float64, ok bool, err error) {
	for {
		answer, there, err := d.ask(ctx, format, args...)
		if err != nil {
			return 0, false, err
		}
		if !there || answer == "s" || answer == "" {
			d.result(what, NotDone, "%s", skipped)
			return 0, false, nil
		}
		if _, err := strconv.ParseFloat(answer, 64); err == nil {
			answer += " V"
		}
		volts, err := unit.Voltage.Parse(answer)
		if err == nil {
			return volts, true, nil
		}
		d.say("  The reading was not understood: %v\n", err)
	}
}
