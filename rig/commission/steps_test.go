package commission

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/calibration"
	"makebreak/rig/capture"
	"makebreak/rig/problem"
	"makebreak/rig/prompt"
	"makebreak/rig/sim"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/rig/words"
)

// scripted answers questions by what they hold. Each answer is given once; where none is
// left, nobody is there any more.
type scripted struct {
	answers [][2]string // what the question holds, and the answer
	on      func(question string)
	said    strings.Builder
}

func (s *scripted) Say(text string) { s.said.WriteString(text) }

func (s *scripted) Ask(question string) <-chan string {
	s.Say(question + " ")
	if s.on != nil {
		s.on(question)
	}
	answer := make(chan string, 1)
	i := slices.IndexFunc(s.answers, func(a [2]string) bool { return strings.Contains(question, a[0]) })
	if i < 0 {
		close(answer)
		return answer
	}
	answer <- s.answers[i][1]
	s.answers = slices.Delete(s.answers, i, i+1)
	return answer
}

var _, _ Asker = &scripted{}, &prompt.Terminal{}

// simulated opens a bench of a built-in rig in virtual time.
func simulated(t *testing.T, rig *wiring.Rig, opts sim.Opts) (*bench.Bench, *sim.World) {
	t.Helper()
	world, err := sim.NewWorld(rig, opts)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := world.Lines(bench.Requests(rig))
	if err != nil {
		t.Fatal(err)
	}
	var outputs []string
	for _, o := range rig.Outputs {
		outputs = append(outputs, o.Name)
	}
	b, err := bench.Open(rig, world.Bus(), lines, bench.Opts{Outputs: outputs, Mode: wiring.Sweep, SupplyAtRest: true, Act: world.Act})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return b, world
}

// With nobody there nothing is switched, and each step that was planned says that it was
// not done, on every built-in rig.
func TestTry_Nobody(t *testing.T) {
	for _, rig := range rigfile.Builtin() {
		b, _ := simulated(t, rig, sim.Opts{Seed: 1})
		steps, err := Try(context.Background(), rig, b, &scripted{})
		if err != nil {
			t.Fatal(err)
		}
		if names := words.Texts(steps, func(s Step) string { return s.What }); !slices.Equal(names, Planned(rig)) {
			t.Errorf("%s: steps %q, planned %q", rig.Name, names, Planned(rig))
		}
		for _, s := range steps {
			if converter := strings.HasPrefix(s.What, "converter "); converter != (s.Outcome == OK) || !converter && s.Outcome != NotDone {
				t.Errorf("%s: %+v", rig.Name, s)
			}
		}
	}
}

// find returns the step of the name.
func find(t *testing.T, steps []Step, what string) Step {
	t.Helper()
	i := slices.IndexFunc(steps, func(s Step) bool { return s.What == what })
	if i < 0 {
		t.Fatalf("no step %q in %+v", what, steps)
	}
	return steps[i]
}

// Each answer to each question, and what the step makes of it.
func TestTry_Answers(t *testing.T) {
	rig := rigfile.Builtin()[0]
	drive := rig.Drives[0].Name
	for _, c := range []struct {
		name, what string
		answers    [][2]string
		outcome    Outcome
		detail     string
	}{
		{"open wire", "OUT1, nothing connected", [][2]string{{"OUT1: take its wire", ""}}, Wrong, "an open wire reads less than 0.1 V"},
		{"open wire skipped", "OUT1, nothing connected", [][2]string{{"OUT1: take its wire", "s"}}, NotDone, "skipped"},
		{"known voltage", "OUT1, known voltage", [][2]string{{"OUT1: take", "s"}, {"OUT1: connect", "0.63"}}, OK, "the meter 0.630 V"},
		{"known voltage in millivolts", "OUT1, known voltage", [][2]string{{"OUT1: take", "s"}, {"OUT1: connect", "630 mV"}}, OK, "the meter 0.630 V"},
		{"known voltage, far off", "OUT1, known voltage", [][2]string{{"OUT1: take", "s"}, {"OUT1: connect", "12"}}, Wrong, "check the resistors and the channel"},
		{"known voltage, not understood first", "OUT1, known voltage", [][2]string{{"OUT1: take", "s"}, {"OUT1: connect", "twelve"}, {"OUT1: connect", "12"}}, Wrong, "the meter 12.000 V"},
		{"known voltage skipped", "OUT1, known voltage", [][2]string{{"OUT1: take", "s"}, {"OUT1: connect", ""}}, NotDone, "skipped"},
		{"drive refused", drive, [][2]string{{": take", "s"}, {drive + ": it will be on", "no"}}, NotDone, "skipped"},
		{"drive acts", drive, [][2]string{{drive + ": it will be on", "YES"}, {drive + ": did it act", "perhaps"}, {drive + ": did it act", "yes"}}, OK, "it acts, as the person"},
		{"drive does not act", drive, [][2]string{{drive + ": it will be on", "yes"}, {drive + ": did it act", "No"}}, Wrong, "check its wire"},
		{"drive, nobody sees", drive, [][2]string{{drive + ": it will be on", "yes"}}, NotDone, "nobody said whether it acted"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, _ := simulated(t, rig, sim.Opts{Seed: 1})
			answers := c.answers
			for _, o := range rig.Outputs { // all that is not asked about is skipped
				answers = append(answers, [2]string{o.Name + ": take", "s"}, [2]string{o.Name + ": connect", "s"})
			}
			for _, name := range lineNames(rig) {
				answers = append(answers, [2]string{name + ": close", ""})
			}
			asker := &scripted{answers: answers}
			steps, err := Try(context.Background(), rig, b, asker)
			if err != nil {
				t.Fatal(err)
			}
			if s := find(t, steps, c.what); s.Outcome != c.outcome || !strings.Contains(s.Detail, c.detail) {
				t.Errorf("%+v, want %s: %s", s, c.outcome, c.detail)
			}
			if misread := strings.Contains(asker.said.String(), "was not understood"); misread != strings.Contains(c.name, "not understood") {
				t.Errorf("said:\n%s", &asker.said)
			}
		})
	}
}

// A contact is in order once it was seen closed and open; one that does not move in half a
// minute is wrong.
func TestTry_Contacts(t *testing.T) {
	rig := rigfile.Builtin()[0]
	b, world := simulated(t, rig, sim.Opts{Seed: 1, Programme: []sim.Rule{{Output: "OUT3", Event: "arm-away", Do: sim.PulseHigh, For: 500 * time.Millisecond}}})
	c, err := b.NewCapture()
	if err != nil {
		t.Fatal(err)
	}
	asker := &waiting{on: func(question string) {
		if strings.HasPrefix(question, "K1_NO:") {
			world.Act("arm-away")
		}
	}}
	d := &dialogue{asker: asker, rig: rig, bench: b, c: c}
	if err := d.contacts(context.Background()); err != nil {
		t.Fatal(err)
	}
	if s := find(t, d.done, "K1_NO"); s.Outcome != OK || !strings.Contains(s.Detail, "it opens and closes") {
		t.Errorf("%+v", s)
	}
	if s := find(t, d.done, "REF"); s.Outcome != Wrong || !strings.Contains(s.Detail, "no change seen in 30s") {
		t.Errorf("%+v", s)
	}
}

// waiting is somebody who never answers.
type waiting struct{ on func(question string) }

func (w *waiting) Say(string) {}
func (w *waiting) Ask(question string) <-chan string {
	w.on(question)
	return nil
}

// An interruption at any question ends the steps; those that were done are returned.
func TestTry_Interrupted(t *testing.T) {
	rig := rigfile.Builtin()[0]
	for question, done := range map[string]int{"OUT1: take": len(rig.Chips), "OUT2: connect": len(rig.Chips) + 3, "K1_NO:": len(rig.Chips) + 2*len(rig.Outputs)} {
		b, _ := simulated(t, rig, sim.Opts{Seed: 1})
		ctx, cancel := context.WithCancel(context.Background())
		var answers [][2]string
		for _, o := range rig.Outputs {
			answers = append(answers, [2]string{o.Name + ": take", "s"}, [2]string{o.Name + ": connect", "s"})
		}
		answers = slices.DeleteFunc(answers, func(a [2]string) bool { return strings.HasPrefix(question, a[0]) })
		asker := &scripted{answers: answers}
		asker.on = func(q string) {
			if strings.HasPrefix(q, question) {
				cancel()
			}
		}
		steps, err := Try(ctx, rig, b, untilEnd{asker, question})
		if !errors.Is(err, context.Canceled) || len(steps) != done {
			t.Errorf("%s: %v, %d steps: %+v", question, err, len(steps), steps)
		}
		cancel()
	}
}

// untilEnd is a person who does not answer one question.
type untilEnd struct {
	*scripted
	question string
}

func (u untilEnd) Ask(question string) <-chan string {
	answer := u.scripted.Ask(question)
	if strings.HasPrefix(question, u.question) {
		return nil
	}
	return answer
}

// A converter that is lost ends the steps with the bench's error.
func TestTry_Lost(t *testing.T) {
	rig := rigfile.Builtin()[0]
	fault, err := sim.ParseFault("adc-lost=1.5s")
	if err != nil {
		t.Fatal(err)
	}
	b, _ := simulated(t, rig, sim.Opts{Seed: 1, Faults: []sim.Fault{fault}})
	answers := [][2]string{{"OUT1: take", ""}, {"OUT1: connect", "0.68"}, {"OUT2: take", ""}, {"OUT2: connect", "0.68"}, {"OUT3: take", ""}, {"OUT3: connect", "0.68"}}
	steps, err := Try(context.Background(), rig, b, &scripted{answers: answers})
	if !errors.Is(err, bench.ErrLost) || len(steps) < len(rig.Chips) {
		t.Errorf("%v, %+v", err, steps)
	}
	r := &Report{Rig: rig}
	if err := r.add(steps, err); err == nil || !errors.Is(r.Err(), bench.ErrLost) {
		t.Errorf("the report says %v", r.Err())
	}
	var w strings.Builder
	if err := r.Text(&w); err != nil || !strings.Contains(w.String(), "Not finished: ") || strings.Contains(w.String(), "no fault found") {
		t.Errorf("%v\n%s", err, w.String())
	}
}

// The limits of each step, on both sides.
func TestCompare(t *testing.T) {
	rig := rigfile.Builtin()[0]
	allowed := coverage95*rig.StandardUncertainty("OUT1", 10) + 0.1 // 1 % of the meter's 10 V
	for _, c := range []struct {
		name string
		step func(d *dialogue)
		want Outcome
	}{
		{"open, just", func(d *dialogue) { d.compareOpen("", -0.0999) }, OK},
		{"open, beyond", func(d *dialogue) { d.compareOpen("", -0.1001) }, Wrong},
		{"open, unsampled", func(d *dialogue) { d.compareOpen("", unsampled()) }, Wrong},
		{"known, just", func(d *dialogue) { d.compareKnown("", "OUT1", 10-0.999*allowed, 10) }, OK},
		{"known, beyond", func(d *dialogue) { d.compareKnown("", "OUT1", 10+1.001*allowed, 10) }, Wrong},
		{"known, unsampled", func(d *dialogue) { d.compareKnown("", "OUT1", unsampled(), 10) }, Wrong},
		{"supply, just", func(d *dialogue) { d.compareSupply("", 5.299, 5) }, OK}, // 5 % and 50 mV
		{"supply, beyond", func(d *dialogue) { d.compareSupply("", 4.699, 5) }, Wrong},
		{"stage, beyond", func(d *dialogue) { d.compareStage("", 13.249, "on", 14) }, Wrong}, // 0.75 V allowed below 14 V
		{"stage, within", func(d *dialogue) { d.compareStage("", 13.251, "on", 14) }, OK},
		{"converter, just", func(d *dialogue) { d.converter(state(1, 1.099)) }, OK},
		{"converter, slow", func(d *dialogue) { d.converter(state(1, 1.101)) }, Wrong},
		{"converter, fast", func(d *dialogue) { d.converter(state(1, 0.899)) }, Wrong},
		{"converter, still", func(d *dialogue) { d.converter(state(0, 1)) }, Wrong},
	} {
		d := &dialogue{asker: &scripted{}, rig: rig}
		c.step(d)
		if len(d.done) != 1 || d.done[0].Outcome != c.want {
			t.Errorf("%s: %+v, want %s", c.name, d.done, c.want)
		}
	}
}

func unsampled() float64 { zero := 0.0; return zero / zero }

// state is a converter that took n conversions of a share of the nominal time.
func state(n int, share float64) bench.ChipState {
	return bench.ChipState{Name: "A", Conversions: n, Nominal: time.Millisecond, Period: time.Duration(share * 1e6)}
}

// calibrated are the calibrations of OUT1 and OUT2.
func calibrated(one, two capture.CalibrationState) []capture.Calibration {
	return []capture.Calibration{
		{Output: "OUT1", State: one, Meter: "4711", Made: "2026-03-01", Due: "2026-03-31"},
		{Output: "OUT2", State: two, Meter: "4711", Made: "2026-03-01", Due: "2026-03-31"},
	}
}

// A report shows what each stored calibration is worth, and warns of those that prove nothing.
func TestReport_Calibrations(t *testing.T) {
	for _, c := range []struct {
		one, two capture.CalibrationState
		want     string // between the dividers and what follows
	}{
		{capture.InDate, capture.InDate, "\nCalibration: OUT1, OUT2 by meter 4711 on 2026-03-01, due 2026-03-31.\n"},
		{capture.InDate, capture.Overdue, "\nCalibration: OUT1 by meter 4711 on 2026-03-01, due 2026-03-31.\nCalibration: OUT2 by meter 4711 on 2026-03-01, overdue since 2026-03-31: figures that rest on it are undecided.\n" +
			"\nWarning: no level of OUT2 passes or fails: calibrations that are overdue or dated in the future prove nothing.\n"},
		{capture.InFuture, capture.Overdue, "\nWarning: no level of OUT1 or OUT2 passes or fails"},
	} {
		r := Report{Rig: rigfile.Builtin()[0], Calibrations: calibrated(c.one, c.two)}
		var w strings.Builder
		if err := r.Text(&w); err != nil || !strings.Contains(w.String(), c.want) || strings.Contains(w.String(), "Warning") != strings.Contains(c.want, "Warning") {
			t.Errorf("%s, %s: %v\n%s\nwant\n%s", c.one, c.two, err, w.String(), c.want)
		}
	}
}

// What a report amounts to, and the words for it.
func TestReport_Conclusion(t *testing.T) {
	rig := rigfile.Builtin()[0]
	all := func(outcomes ...Outcome) (steps []Step) {
		for _, o := range outcomes {
			steps = append(steps, Step{"a step", o, ""})
		}
		return steps
	}
	lost := problem.New(problem.Rig, "gone")
	for _, c := range []struct {
		name string
		r    Report
		want string // end of the text
		kind problem.Kind
	}{
		{"untried", Report{}, "0 of 28 steps done, no fault found; not proven.\nNot done:\n" +
			"  - converter A, converter B, converter C, K1_NO, K1_NC, REF, KEY_AWAY, KEY_STAY, KEY_OFF, ZONE, CHIME and clock check\n" +
			"  - OUT1, OUT2, OUT3, OUT4, OUT5, OUT6, OUT7 and OUT8, nothing connected\n" +
			"  - OUT1, OUT2, OUT3, OUT4, OUT5, OUT6, OUT7 and OUT8, known voltage\n", problem.Unknown},
		{"all done", Report{stepwise: true, at: time.Now(), Steps: all(OK, OK)}, "2 of 2 steps done, no fault found.\n", problem.Unknown},
		{"one that does not apply", Report{stepwise: true, at: time.Now(), Steps: all(OK, Needless)}, "1 of 1 step done, no fault found.\n", problem.Unknown},
		{"calibrated", Report{stepwise: true, at: time.Now(), Steps: all(OK, OK), Calibrations: calibrated(capture.InDate, capture.NotCalibrated)}, "2 of 2 steps done, no fault found.\n", problem.Unknown},
		{"overdue", Report{stepwise: true, at: time.Now(), Steps: all(OK, OK), Calibrations: calibrated(capture.InDate, capture.Overdue)}, "2 of 2 steps done, no fault found, with the warnings above; not proven.\n", problem.Unknown},
		{"in the future", Report{stepwise: true, at: time.Now(), Steps: all(OK, OK), Calibrations: calibrated(capture.InFuture, capture.OtherBench)}, "2 of 2 steps done, no fault found, with the warnings above; not proven.\n", problem.Unknown},
		{"some done", Report{stepwise: true, at: time.Now(), Steps: all(OK, NotDone)}, "1 of 2 steps done, no fault found; not proven.\nNot done:\n  - a step\n", problem.Unknown},
		{"a loop-back alone", Report{at: time.Now(), Steps: all(OK, OK)}, "OUT6, OUT7 and OUT8, known voltage\n", problem.Unknown},
		{"wrong", Report{stepwise: true, at: time.Now(), Steps: all(OK, Wrong)}, "date: ____________\n", problem.Rig},
		{"cut off", Report{stepwise: true, at: time.Now(), Steps: all(OK), early: lost}, "date: ____________\n", problem.Rig},
		{"a part is missing", Report{Parts: []Part{{"bus", "", lost}}}, "", problem.Rig},
	} {
		c.r.Rig = rig
		var w strings.Builder
		if err := c.r.Text(&w); err != nil || !strings.HasSuffix(w.String(), c.want) || problem.KindOf(c.r.Err()) != c.kind {
			t.Errorf("%s: %v, %v\n%s", c.name, err, c.r.Err(), w.String())
		}
		if got, want := c.r.Proven(), strings.HasSuffix(c.want, "no fault found.\n"); got != want {
			t.Errorf("%s: proven %t", c.name, got)
		}
	}
}

// A loop-back that was done before, and is stored beside the rig file, is not asked for again.
func TestReport_EarlierLoopBack(t *testing.T) {
	rig := rigfile.Builtin()[0]
	rig.Latency = &wiring.Latency{Drive: "KEY_AWAY", Line: "REF", Date: "2026-03-31"}
	r := Report{Rig: rig}
	var w strings.Builder
	if err := r.Text(&w); err != nil || !strings.Contains(w.String(), "\n1 of 28 steps done, no fault found; not proven.\n") || strings.Contains(w.String(), "clock check") {
		t.Errorf("%v\n%s", err, w.String())
	}
	if s := noLoopBack(rig); len(s) != 1 || s[0].Outcome != OK || s[0].Detail != "by the loop-back of KEY_AWAY into REF on 2026-03-31" {
		t.Errorf("%+v", s)
	}
}

// terminal is a simulated terminal in virtual time that may fail to open.
type terminal struct {
	t      *testing.T
	rig    *wiring.Rig
	failAt int // point at which it cannot be opened; -1: none
}

var errOpen = errors.New("cannot be opened")

func (x *terminal) Bench(n int) (*bench.Bench, unit.Volts, error) {
	if n == x.failAt {
		return nil, 0, errOpen
	}
	world, err := sim.NewWorld(x.rig, sim.Opts{Seed: 1, Initial: map[string]bool{"OUT3": n%2 == 1}})
	if err != nil {
		x.t.Fatal(err)
	}
	lines, err := world.Lines(bench.Requests(x.rig))
	if err != nil {
		x.t.Fatal(err)
	}
	b, err := bench.Open(x.rig, world.Bus(), lines, bench.Opts{Outputs: []string{"OUT3"}, Mode: wiring.Follow})
	if err != nil {
		x.t.Fatal(err)
	}
	x.t.Cleanup(func() { _ = b.Close() })
	truth := world.Truth().Output("OUT3")
	if n%2 == 1 {
		return b, unit.Volts(truth.High), nil
	}
	return b, unit.Volts(truth.Low), nil
}

func (x *terminal) Close() error { return nil }

// Each question of a calibration and each answer that it refuses.
func TestTakePoints(t *testing.T) {
	const meter, accuracy = "Serial", "accuracy, as its manual"
	good := [][2]string{{meter, "4711"}, {accuracy, "0.5 % + 2 digits"}, {"Point 1", "0.665"}, {"Point 2", "13.59"}, {"Another range", ""}, {"Point 3", ""}}
	with := func(first ...[2]string) [][2]string { return append(first, good...) }
	for _, c := range []struct {
		name    string
		answers [][2]string
		failAt  int
		points  int
		says    string
		want    string // in the error; empty: none
	}{
		{"good", good, -1, 2, "without calibration", ""},
		{"serial refused", with([2]string{meter, ""}), -1, 2, "serial is missing", ""},
		{"accuracy refused", with([2]string{accuracy, "0.5"}), -1, 2, "has no unit", ""},
		{"no first point", with([2]string{"Point 1", ""}), -1, 2, "two points at least are needed", ""},
		{"no second point", with([2]string{"Point 2", ""}), -1, 2, "two points at least are needed", ""},
		{"no reading", with([2]string{"Point 1", "twelve"}), -1, 2, "\"twelve\"", ""},
		{"far off", with([2]string{"Point 2", "12.00"}, [2]string{"Another range", ""}, [2]string{"Type yes", ""}), -1, 2, "Likely causes: a digit was mistyped, the probe is on another terminal than OUT3", ""},
		{"far off, not a yes", with([2]string{"Point 2", "12.00"}, [2]string{"Another range", ""}, [2]string{"Type yes", "y"}), -1, 2, "the meter shows 12.00 V and the rig reads 13.", ""},
		{"a slip of a digit", with([2]string{"Point 1", "0.965"}, [2]string{"Type yes", "no"}), -1, 2, "the meter shows 0.965 V and the rig reads 6", ""},
		{"nobody to accept", append(good[:3:3], [2]string{"Point 2", "12.00"}, [2]string{"Another range", ""}), -1, 1, "Likely causes", "standard input has ended"},
		{"taken back", with([2]string{"Point 2", "back"}, [2]string{"Point 1", "0.665"}), -1, 2, "The point at 0.665 V is taken back", ""},
		{"nothing to take back", with([2]string{"Point 1", "back"}), -1, 2, "there is no point to take back", ""},
		{"a number that is not there", with([2]string{"Point 2", "back 2"}), -1, 2, "must be from 1 to 1", ""},
		{"another accuracy refused", with([2]string{"Another range", "0.5"}), -1, 2, "has no unit", ""},
		{"nobody", nil, -1, 0, "", "standard input has ended"},
		{"nobody at the second point", good[:3], -1, 1, "", "standard input has ended"},
		{"nobody at the range", good[:4], -1, 1, "", "standard input has ended"},
		{"not opened", good, 0, 0, "", "cannot be opened"},
		{"not opened again", good, 1, 1, "", "cannot be opened"},
	} {
		t.Run(c.name, func(t *testing.T) {
			rig := rigfile.Builtin()[0]
			asker := &scripted{answers: slices.Clone(c.answers)}
			session := &calibration.Session{}
			err := TakePoints(context.Background(), rig, "OUT3", &terminal{t, rig, c.failAt}, asker, session, today(t), AskAboutDifferences)
			if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v, want %q", err, c.want)
			}
			if c.want == "standard input has ended" && problem.KindOf(err) != problem.Usage {
				t.Errorf("of kind %v", problem.KindOf(err))
			}
			if len(session.Points) != c.points || !strings.Contains(asker.said.String(), c.says) {
				t.Errorf("%d points; said:\n%s", len(session.Points), &asker.said)
			}
		})
	}
}

// today is the day of these calibrations.
func today(t *testing.T) calibration.Day {
	t.Helper()
	d, err := calibration.ParseDay("2026-03-31")
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// A point at which meter and rig differ too much is taken for a yes and nothing else, and
// where that was said beforehand. Where nobody can be asked it ends the calibration.
func TestTakePoints_differences(t *testing.T) {
	for name, c := range map[string]struct {
		differ   Differences
		yes      string
		accepted bool
		kind     problem.Kind
	}{
		"yes":        {AskAboutDifferences, "YES", true, problem.Unknown},
		"beforehand": {AcceptDifferences, "", true, problem.Unknown},
		"not asked":  {RefuseDifferences, "yes", false, problem.Input},
	} {
		rig := rigfile.Builtin()[0]
		asker := &scripted{answers: [][2]string{{"Serial", "4711"}, {"accuracy, as", "0.5 % + 2 digits"}, {"Point 1", "0.665"}, {"Point 2", "13.00"},
			{"Another range", ""}, {"Type yes", c.yes}, {"Point 3", ""}}}
		session := &calibration.Session{}
		err := TakePoints(context.Background(), rig, "OUT3", &terminal{t, rig, -1}, asker, session, today(t), c.differ)
		if problem.KindOf(err) != c.kind || (err == nil) != c.accepted {
			t.Errorf("%s: %v; said:\n%s", name, err, &asker.said)
		}
		if c.accepted && (len(session.Points) != 2 || session.Points[0].Accepted || !session.Points[1].Accepted) {
			t.Errorf("%s: %+v", name, session.Points)
		}
		if !c.accepted && (len(session.Points) != 1 || !strings.Contains(err.Error(), "point 2: the meter shows 13.00 V") || !strings.Contains(err.Error(), "--accept-differences")) {
			t.Errorf("%s: %+v, %v", name, session.Points, err)
		}
	}
}

// Of three points the wrong one is taken back by its number, once the line shows it; the
// accuracy asked for anew is that of the last one left.
func TestTakePoints_wrongPoint(t *testing.T) {
	rig := rigfile.Builtin()[0]
	asker := &scripted{answers: [][2]string{{"Serial", "4711"}, {"accuracy, as", "0.05 % + 2 digits"}, {"Point 1", "0.665"}, {"Point 2", "13.59"},
		{"Another range", "0.1 % + 2 digits"}, {"Point 3", "0.675"}, {"Another range", "0.05 % + 2 digits"}, {"Point 4", ""},
		{"Point 4", "back 3"}, {"Point 3", ""}}}
	session := &calibration.Session{}
	err := TakePoints(context.Background(), rig, "OUT3", &terminal{t, rig, -1}, asker, session, today(t), AskAboutDifferences)
	if err != nil || len(session.Points) != 2 || session.Accuracy.Text != "0.1 % + 2 digits" {
		t.Errorf("%v, %+v", err, session)
	}
	for _, want := range []string{"lies ", " off the line through the points", "Take a point back with back or back 2", "The point at 0.675 V is taken back"} {
		if !strings.Contains(asker.said.String(), want) {
			t.Errorf("%q was not said:\n%s", want, &asker.said)
		}
	}
}

// The names of a loop-back are looked up, and a near one is told.
func TestParseLoopBack(t *testing.T) {
	rig := rigfile.Builtin()[0]
	for text, want := range map[string]string{
		"KEY_AWAY,REF":           "",
		"KEY_AWAY,K1_NO,OUT3":    "",
		"":                       "must be DRIVE,LINE or DRIVE,LINE,OUTPUT",
		"KEY_AWAY":               "must be DRIVE,LINE or DRIVE,LINE,OUTPUT",
		"KEY_AWAY,REF,OUT3,OUT4": "must be DRIVE,LINE or DRIVE,LINE,OUTPUT",
		"KEY_AWAX,REF":           "has no drive KEY_AWAX; did you mean KEY_AWAY?",
		"KEY_AWAY,REV":           "has no contact or reference REV; did you mean REF?",
		"KEY_AWAY,REF,OUT9":      "has no output OUT9; use one of: ",
	} {
		l, err := ParseLoopBack(text, rig)
		if (err == nil) != (want == "") || err != nil && (problem.KindOf(err) != problem.Usage || !strings.Contains(err.Error(), want)) {
			t.Errorf("%q: %+v, %v", text, l, err)
		}
	}
}

// A latency is stored, not stored, or refused by its mean; a little before the drive counts
// as at once, with its mean among the uncertainty.
func TestStoreLatency(t *testing.T) {
	path := t.TempDir() + "/latency.yaml"
	for _, c := range []struct {
		path          string
		mean, scatter float64 // seconds
		want          Outcome
		stored        time.Duration
		standard      time.Duration
	}{
		{path, 20e-6, 5e-6, OK, 20 * time.Microsecond, 5 * time.Microsecond},
		{path, -3e-6, 4e-6, OK, 0, 5 * time.Microsecond},
		{path, -1.001e-3, 5e-6, Wrong, 0, 0},
		{"", 20e-6, 5e-6, Needless, 0, 0},
		{t.TempDir() + "/none/latency.yaml", 20e-6, 5e-6, Wrong, 0, 0},
	} {
		got := storeLatency(c.path, wiring.Latency{Drive: "KEY_AWAY", Line: "REF", Pulses: 20, Date: "2026-03-31"}, c.mean, c.scatter)
		if got.Outcome != c.want {
			t.Errorf("%+v: %+v", c, got)
		}
		if c.want != OK {
			continue
		}
		l, err := rigfile.LoadLatency(t.Context(), c.path)
		if err != nil || l.Mean != c.stored || (l.Standard-c.standard).Abs() > 2 {
			t.Errorf("%+v: stored %+v, %v", c, l, err)
		}
	}
}

// The live view counts what was seen, ends after its time, and hands an error on after a
// last view.
func TestLive(t *testing.T) {
	rig := rigfile.Builtin()[0]
	b, _ := simulated(t, rig, sim.Opts{Seed: 1, Programme: []sim.Rule{{Output: "OUT3", Event: "arm-away", Do: sim.GoHigh}}})
	views, last := 0, View{}
	err := Live(context.Background(), rig, b, 5*time.Second, []string{"arm-away"}, func(v *View, end bool) error {
		if views++; end {
			last = *v
		}
		return nil
	})
	if err != nil || views != 20 {
		t.Errorf("%v, %d views in 5 s", err, views)
	}
	i := slices.IndexFunc(last.Outputs, func(o OutputView) bool { return o.Name == "OUT3" })
	if o := last.Outputs[i]; o.Samples == 0 || o.Now < 10 || o.Lowest > 1 || o.Highest < o.Now {
		t.Errorf("%+v", o)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := false
	err = Live(ctx, rig, b, 0, nil, func(_ *View, end bool) error { cancel(); ended = end; return nil })
	if !errors.Is(err, context.Canceled) || !ended {
		t.Errorf("%v, ended %v", err, ended)
	}
	errShow := errors.New("no paper")
	if err := Live(context.Background(), rig, b, 0, nil, func(*View, bool) error { return errShow }); !errors.Is(err, errShow) {
		t.Errorf("%v", err)
	}
}

// A view in words: each state of a line, and outputs that were not sampled.
func TestView_Text(t *testing.T) {
	v := &View{Outputs: []OutputView{{Name: "OUT1", Now: 12, Lowest: 0.5, Highest: 12.3456, Samples: 3}, {Name: "OUT2"}},
		Lines: []LineView{{Name: "K1", Role: "contact", Contact: true, Known: true, Closed: true, Edges: 2}, {Name: "K2", Role: "contact", Contact: true, Known: true},
			{Name: "K3", Role: "contact", Contact: true}, {Name: "REF", Role: "reference", Known: true, Closed: true}, {Name: "KEY", Role: "drive", Known: true, Lost: 1}},
		Counts: capture.Counts{MissedConversions: 1, BusErrors: 2, LostReadyEdges: 3}}
	const want = `output  now        lowest     highest
OUT1     12.000 V    0.500 V   12.346 V
OUT2    —          —          —

line             state     edges  lost
K1    contact    closed        2     0
K2    contact    open          0     0
K3    contact    —             0     0
REF   reference  active        0     0
KEY   drive      inactive      0     1

1 conversion missed, 3 ready edges lost, 2 bus errors, 0 converters found reset
`
	var w strings.Builder
	if err := v.Text(&w); err != nil || w.String() != want {
		t.Errorf("%v\n%s", err, w.String())
	}
}
