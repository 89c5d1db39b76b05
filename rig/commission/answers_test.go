package commission

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/calibration"
	"makebreak/rig/capture"
	"makebreak/rig/problem"
	"makebreak/rig/sim"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// script answers questions in turn. After the last answer nobody is there any more.
type script struct {
	answers []string
	asked   []string
	said    strings.Builder
	before  func(question string) // called before an answer; may be nil
}

func (s *script) Say(text string) { s.said.WriteString(text) }

func (s *script) Ask(question string) <-chan string {
	s.asked = append(s.asked, question)
	if s.before != nil {
		s.before(question)
	}
	answer := make(chan string, 1)
	if len(s.answers) == 0 {
		close(answer)
		return answer
	}
	answer <- s.answers[0]
	s.answers = s.answers[1:]
	return answer
}

// talk is a dialogue on a simulated bench with the answers.
func talk(t *testing.T, rig *wiring.Rig, answers ...string) (*dialogue, *script) {
	t.Helper()
	b, _ := simulated(t, rig, sim.Opts{Seed: 1})
	c, err := b.NewCapture()
	if err != nil {
		t.Fatal(err)
	}
	s := &script{answers: answers}
	return &dialogue{asker: s, rig: rig, bench: b, c: c}, s
}

// Where nobody is there the first question finds it out, and nothing more is asked.
func TestTry_AsksOnce(t *testing.T) {
	for _, rig := range rigfile.Builtin() {
		s := &script{}
		b, _ := simulated(t, rig, sim.Opts{Seed: 1})
		steps, err := Try(context.Background(), rig, b, s)
		if err != nil || len(steps) != len(Planned(rig)) {
			t.Errorf("rig %s: %d steps of %d planned, %v", rig.Name, len(steps), len(Planned(rig)), err)
		}
		for _, step := range steps {
			if converter := strings.HasPrefix(step.What, "converter "); converter && step.Outcome != OK || !converter && step.Outcome != NotDone {
				t.Errorf("rig %s: %+v", rig.Name, step)
			}
		}
		if len(s.asked) != 1 {
			t.Errorf("rig %s: asked %q of nobody", rig.Name, s.asked)
		}
	}
}

// A drive acts after a yes and after nothing else.
func TestDrives(t *testing.T) {
	const acts = "did it act"
	for name, c := range map[string]struct {
		answers []string
		outcome Outcome
		detail  string
		clicked bool
	}{
		"acts":          {[]string{"yes", "yes"}, OK, "it acts", true},
		"acts, shouted": {[]string{"YES", "Yes"}, OK, "it acts", true},
		"does not":      {[]string{"yes", "no"}, Wrong, "it does not act as it should", true},
		"not clear":     {[]string{"yes", "perhaps", "no"}, Wrong, "it does not act as it should", true},
		"nobody says":   {[]string{"yes"}, NotDone, "nobody said whether it acted", true},
		"y":             {[]string{"y"}, NotDone, "skipped", false},
		"Enter":         {[]string{""}, NotDone, "skipped", false},
		"nobody":        {nil, NotDone, "skipped", false},
	} {
		rig := rigfile.Builtin()[0]
		d, s := talk(t, rig, c.answers...)
		if err := d.drives(context.Background()); err != nil || len(d.done) != len(rig.Drives) {
			t.Errorf("%s: %v, %+v", name, err, d.done)
			continue
		}
		got := d.done[0]
		if got.Outcome != c.outcome || !strings.Contains(got.Detail, c.detail) || got.What != rig.Drives[0].Name {
			t.Errorf("%s: %+v", name, got)
		}
		if asked := strings.Contains(strings.Join(s.asked, "\n"), acts); asked != c.clicked {
			t.Errorf("%s: asked %q", name, s.asked)
		}
		if cautions := strings.Count(s.said.String(), "Before the rig acts on this unit"); cautions != 1 {
			t.Errorf("%s: the cautions were shown %d times", name, cautions)
		}
	}
}

// What is set is what the meter is compared with, and the supply goes back to its rest.
func TestProgrammed(t *testing.T) {
	for name, c := range map[string]struct {
		answers []string
		outcome Outcome
		detail  string
	}{
		"right":    {[]string{"yes", "5.02 V"}, OK, "set to 4.999 V, the meter reads 5.020 V: off by +0.021 V"},
		"low":      {[]string{"yes", "4.5"}, Wrong, "check reference and gain"},
		"not read": {[]string{"yes", "s"}, NotDone, "set to 5 V, not read"},
		"refused":  {[]string{"no"}, NotDone, "skipped"},
		"nobody":   {nil, NotDone, "skipped"},
	} {
		rig := rigfile.Builtin()[2]
		b, w := simulated(t, rig, sim.Opts{Seed: 1})
		rest := w.SupplyChip().Volts()
		set := math.NaN()
		s := &script{answers: c.answers, before: func(q string) {
			if strings.Contains(q, "the meter's reading") {
				set = w.SupplyChip().Volts()
			}
		}}
		capture, err := b.NewCapture()
		if err != nil {
			t.Fatal(err)
		}
		d := &dialogue{asker: s, rig: rig, bench: b, c: capture}
		err = d.supply(context.Background())
		if err != nil || len(d.done) != 1 || d.done[0].Outcome != c.outcome || !strings.Contains(d.done[0].Detail, c.detail) {
			t.Errorf("%s: %v, %+v", name, err, d.done)
		}
		if acted := len(c.answers) > 0 && c.answers[0] == "yes"; acted && set == rest || !acted && !math.IsNaN(set) {
			t.Errorf("%s: the supply's chip gave %g V when asked, %g V before", name, set, rest)
		}
		if got := w.SupplyChip().Volts(); math.Abs(got-rest) > 1e-9 {
			t.Errorf("%s: the supply was left at %g V of its chip, its rest is %g V", name, got, rest)
		}
	}
}

// An interruption, and a rig that is lost, end the dialogue at once.
func TestInsist_ends(t *testing.T) {
	for name, c := range map[string]struct {
		err  error
		stop bool // the context ends with the answer
	}{"lost": {errors.Join(errors.New("bus"), bench.ErrLost), false}, "interrupted": {context.Canceled, true}} {
		ctx, cancel := context.WithCancel(context.Background())
		d, s := talk(t, rigfile.Builtin()[0], "1", "2", "3")
		p := &points{dialogue: *d}
		err := p.insist(ctx, func(string) error {
			if c.stop {
				cancel()
			}
			return c.err
		}, "Again?")
		if !errors.Is(err, c.err) || len(s.asked) != 1 {
			t.Errorf("%s: %v, asked %q", name, err, s.asked)
		}
		cancel()
	}
}

// What is known beforehand is not asked.
func TestTakePoints_known(t *testing.T) {
	a, err := calibration.ParseAccuracy("0.5 % + 2 digits")
	if err != nil {
		t.Fatal(err)
	}
	rig, s := rigfile.Builtin()[0], &script{}
	err = TakePoints(context.Background(), rig, "OUT3", &terminal{t, rig, -1}, s, &calibration.Session{Meter: "4711", Accuracy: a}, today(t), AskAboutDifferences)
	if len(s.asked) != 1 || !strings.HasPrefix(s.asked[0], "Point 1:") || problem.KindOf(err) != problem.Usage {
		t.Errorf("%v: asked %q", err, s.asked)
	}
}

// late is a plain mean's response whose samples come so much later than the edges, in seconds,
// with a standard uncertainty, for conversions of 1 ms.
func late(lateness, standard float64) *capture.Filter {
	return &capture.Filter{From: lateness / 1e-3, Step: 1, Shares: []uint16{0, capture.WholeStep}, Standard: standard / 1e-3}
}

// Samples may lie 200 µs from the edges, early or late. What is more than 1.96 standard
// uncertainties is corrected: of the fit, and of a stamp, 10 µs.
func TestLoopBack_compare(t *testing.T) {
	l := &LoopBack{Drive: "D", Line: "REF", Output: "COIL"}
	x := loopTimes{steps: make([][]shown, 100), span: time.Millisecond}
	for _, c := range []struct {
		response *capture.Filter
		outcome  Outcome
		samples  time.Duration // corrected by that; 0: not
		says     string
	}{
		{late(199e-6, 5e-6), OK, 199 * time.Microsecond, "samples behind such a divider are corrected by that, ± 22 µs"},
		{late(-199e-6, 5e-6), OK, -199 * time.Microsecond, "samples lie -199.0 µs from the edges"},
		{late(201e-6, 5e-6), Wrong, 0, "200 µs are allowed: samples and edges do not tell the same time"},
		{late(-201e-6, 5e-6), Wrong, 0, "200 µs are allowed"},
		{late(19e-6, 2e-6), OK, 0, "± 20 µs of that is uncertain, so nothing is corrected"},
		{late(-19e-6, 5e-6), OK, 0, "nothing is corrected"},
		{late(22e-6, 5e-6), OK, 22 * time.Microsecond, "are corrected"},
		{late(40e-6, 20e-6), OK, 0, "± 44 µs of that is uncertain"},
	} {
		var latency wiring.Latency
		got := l.compare(c.response, x, &latency)
		if got.Outcome != c.outcome || !strings.Contains(got.Detail, c.says) || got.What != "clock of COIL against REF" {
			t.Errorf("%+v: want %s: %s", got, c.outcome, c.says)
		}
		if off := latency.Samples - c.samples; off.Abs() > 2*time.Nanosecond || (latency.Output != "") != (c.samples != 0) {
			t.Errorf("%+v: corrected by %+v, want %v", got, latency, c.samples)
		}
	}
}

// What a meter of 6,000 counts shows.
func TestMeterShows(t *testing.T) {
	for v, want := range map[unit.Volts]string{5.9994: "5.999 V", 6: "6.00 V", -5.9: "-5.900 V", 13.474: "13.47 V", 0: "0.000 V"} {
		if got := meterShows(v); got != want {
			t.Errorf("%v: %s, want %s", v, got, want)
		}
	}
}

// An accuracy that is typed for another range holds from that point on.
func TestTakePoints_range(t *testing.T) {
	rig, session := rigfile.Builtin()[0], &calibration.Session{}
	s := &script{answers: []string{"4711", "0.5 % + 2 digits", "0.665", "13.59", "0.8 % + 3 digits", ""}}
	err := TakePoints(context.Background(), rig, "OUT3", &terminal{t, rig, -1}, s, session, today(t), AskAboutDifferences)
	if err != nil || len(session.Points) != 2 || session.Points[0].Accuracy.Text != "0.5 % + 2 digits" || session.Points[1].Accuracy.Text != "0.8 % + 3 digits" {
		t.Errorf("%v: %+v", err, session.Points)
	}
}
