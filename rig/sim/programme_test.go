package sim

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"makebreak/rig/capture"
)

// happens is an event, some time after the first one.
type happens struct {
	event string
	after time.Duration
}

// switchings plays events at the panel and returns when the terminal of OUT3 passes 6 V, as the
// converter reads it, after the first one less the panel's own delay. Rests is how it is before.
func switchings(t *testing.T, opts Opts, rests bool, events []happens, lasts time.Duration) []time.Duration {
	t.Helper()
	opts.Seed, opts.Exact = 6, true
	opts.Unit.Delay = 100 * time.Millisecond
	s := newStation(t, opts)
	s.run(500 * time.Millisecond)
	began := s.w.Now()
	for _, e := range events {
		if wait := began.Add(e.after).Sub(s.w.Now()); wait > 0 {
			s.run(wait)
		}
		s.w.Act(e.event)
	}
	s.run(lasts - s.w.Now().Sub(began))
	var all []time.Duration
	high := rests
	for _, x := range s.samples["OUT3"] {
		if x.at > Start.Add(10*time.Millisecond) && (x.volts > 6) != high {
			high = !high
			all = append(all, x.at.Sub(began)-100*time.Millisecond)
		}
	}
	s.agree(all, began)
	return all
}

// agree compares what was read with what the simulator says of itself.
func (s *station) agree(read []time.Duration, began capture.Instant) {
	s.t.Helper()
	var truth []time.Duration
	for _, e := range s.w.Truth().Events {
		for _, c := range e.Crossings {
			if c.Output == "OUT3" {
				truth = append(truth, c.At.Sub(began)-100*time.Millisecond)
			}
		}
	}
	if len(truth) != len(read) {
		s.t.Errorf("the terminal switches %d times by the truth and %d times as it reads", len(truth), len(read))
	}
}

// reading is by how much a switching that is read can be late: two conversions and the edge.
const reading = 5 * time.Millisecond

func wantSwitchings(t *testing.T, name string, got []time.Duration, want ...int) {
	t.Helper()
	ok := len(got) == len(want)
	for i := range got {
		ok = ok && math.Abs(float64(got[i]-time.Duration(want[i])*time.Millisecond)) <= float64(reading)
	}
	if !ok {
		t.Errorf("%s: switches at %v, want %v ms", name, got, want)
	}
}

func ms(n int) time.Duration { return time.Duration(n) * time.Millisecond }

var (
	chirps  = Rule{Output: "OUT3", Event: "arm-away", Do: Train, Pulses: 3, For: ms(200), Off: ms(300)}
	flashes = Rule{Output: "OUT3", Event: "alarm", Do: Train, For: ms(500), Off: ms(400)}
	off     = Rule{Output: "OUT3", Event: "disarm", Do: GoLow}
)

func with(r Rule, change func(r *Rule)) Rule {
	change(&r)
	return r
}

func TestProgramme(t *testing.T) {
	armed := []string{"arm-away", "arm-stay"}
	entry := Rule{Output: "OUT3", Event: "alarm", Do: GoHigh, After: 20 * time.Second, While: armed}
	buzzer := Rule{Output: "OUT3", Event: "alarm", Do: Train, For: ms(1500), Off: ms(500), Until: 5 * time.Second, While: armed}
	for _, c := range []struct {
		name   string
		rules  []Rule
		events []happens
		lasts  time.Duration
		want   []int // ms
	}{
		{"three chirps", []Rule{chirps}, []happens{{"arm-away", 0}}, 3 * time.Second, []int{0, 200, 500, 700, 1000, 1200}},
		{"a train after a delay", []Rule{with(chirps, func(r *Rule) { r.After = time.Second })}, []happens{{"arm-away", 0}}, 3 * time.Second, []int{1000, 1200, 1500, 1700, 2000, 2200}},
		{"a train begun again", []Rule{chirps}, []happens{{"arm-away", 0}, {"arm-away", ms(600)}}, 3 * time.Second, []int{0, 200, 500, 800, 1100, 1300, 1600, 1800}},
		{"a train cut off", []Rule{chirps, off}, []happens{{"arm-away", 0}, {"disarm", ms(600)}}, 3 * time.Second, []int{0, 200, 500, 600}},
		{"a train cut off between its pulses", []Rule{chirps, off}, []happens{{"arm-away", 0}, {"disarm", ms(300)}}, 3 * time.Second, []int{0, 200}},
		{"flashing until disarmed", []Rule{flashes, off}, []happens{{"alarm", 0}, {"disarm", ms(2000)}}, 4 * time.Second, []int{0, 500, 900, 1400, 1800, 2000}},
		{"flashing for a time that ends in a pulse", []Rule{with(flashes, func(r *Rule) { r.Until = ms(1000) })}, []happens{{"alarm", 0}}, 3 * time.Second, []int{0, 500, 900, 1000}},
		{"flashing for a time that ends between pulses", []Rule{with(flashes, func(r *Rule) { r.Until = ms(900) })}, []happens{{"alarm", 0}}, 3 * time.Second, []int{0, 500}},
		{"pulses or a time, whichever ends first", []Rule{with(flashes, func(r *Rule) { r.Until, r.Pulses = ms(5000), 2 })}, []happens{{"alarm", 0}}, 3 * time.Second, []int{0, 500, 900, 1400}},
		{"an entry delay", []Rule{entry, off}, []happens{{"arm-away", 0}, {"alarm", ms(1000)}, {"disarm", ms(24000)}}, 25 * time.Second, []int{21000, 24000}},
		{"disarmed within the entry delay", []Rule{entry, off}, []happens{{"arm-away", 0}, {"alarm", ms(1000)}, {"disarm", ms(15000)}}, 25 * time.Second, nil},
		{"an alarm while nothing is armed", []Rule{entry, off}, []happens{{"alarm", 0}, {"disarm", ms(100)}, {"alarm", ms(500)}}, 25 * time.Second, nil},
		{"an alarm after disarming", []Rule{entry, off}, []happens{{"arm-stay", 0}, {"disarm", ms(300)}, {"alarm", ms(600)}}, 25 * time.Second, nil},
		{"an entry buzzer", []Rule{buzzer, off}, []happens{{"arm-stay", 0}, {"alarm", ms(500)}}, 9 * time.Second, []int{500, 2000, 2500, 4000, 4500, 5500}},
		{"an entry buzzer that disarming ends", []Rule{buzzer, off}, []happens{{"arm-stay", 0}, {"alarm", ms(500)}, {"disarm", ms(1000)}}, 9 * time.Second, []int{500, 1000}},
		{"a latch until disarmed", []Rule{with(entry, func(r *Rule) { r.After = 0 }), off}, []happens{{"arm-away", 0}, {"alarm", ms(500)}, {"alarm-off", ms(900)}, {"alarm", ms(1200)}, {"disarm", ms(2000)}}, 3 * time.Second, []int{500, 2000}},
		{"chirps only where it was disarmed before", []Rule{with(chirps, func(r *Rule) { r.Pulses, r.While = 1, []string{"disarm"} })}, []happens{{"arm-away", 0}, {"arm-away", ms(500)}, {"disarm", ms(1000)}, {"arm-away", ms(1500)}}, 3 * time.Second, []int{0, 200, 1500, 1700}},
		{"a rule that does not act voids nothing", []Rule{chirps, {Output: "OUT3", Event: "alarm", Do: GoLow, While: []string{"arm-stay"}}}, []happens{{"arm-away", 0}, {"alarm", ms(300)}}, 3 * time.Second, []int{0, 200, 500, 700, 1000, 1200}},
		{"chirps in another number at disarming", []Rule{with(chirps, func(r *Rule) { r.Pulses = 1 }), with(chirps, func(r *Rule) { r.Pulses, r.Event = 2, "disarm" })}, []happens{{"arm-away", 0}, {"disarm", ms(1000)}}, 3 * time.Second, []int{0, 200, 1000, 1200, 1500, 1700}},
	} {
		wantSwitchings(t, c.name, switchings(t, Opts{Programme: c.rules}, false, c.events, c.lasts), c.want...)
	}
}

// What arms and disarms is what the trade calls so, or what is said to.
func TestProgramme_Arming(t *testing.T) {
	rules := []Rule{{Output: "OUT3", Event: "alarm", Do: PulseHigh, For: ms(300), While: []string{"set"}}}
	events := []happens{{"alarm", 0}, {"set", ms(500)}, {"alarm", ms(1000)}, {"unset", ms(1500)}, {"alarm", ms(2000)}}
	wantSwitchings(t, "nobody says that set arms", switchings(t, Opts{Programme: rules}, false, events, 3*time.Second))
	wantSwitchings(t, "set arms", switchings(t, Opts{Programme: rules, Arming: []string{"set", "unset"}}, false, events, 3*time.Second), 1000, 1300)
	wantSwitchings(t, "armed at the start", switchings(t, Opts{Programme: rules, Arming: []string{"set", "unset"}, LastArming: "set"}, false, events, 3*time.Second), 0, 300, 1000, 1300)
	two := []Arming{{[]string{"l-set", "l-unset"}, "l-unset"}, {[]string{"r-set", "r-unset"}, "r-unset"}}
	rules[0].While = []string{"l-set"}
	events = []happens{{"r-set", 0}, {"alarm", ms(500)}, {"l-set", ms(1000)}, {"r-unset", ms(1500)}, {"alarm", ms(2000)}, {"l-unset", ms(2500)}, {"alarm", ms(3000)}}
	wantSwitchings(t, "two panels", switchings(t, Opts{Programme: rules, Panels: two}, false, events, 4*time.Second), 2000, 2300)
	for event, want := range map[string]bool{"arm": true, "arm-away": true, "disarm": true, "disarm-stay": true, "alarm": false, "armour": false, "": false} {
		if IsArming(event) != want {
			t.Errorf("%q arms or disarms: %v", event, !want)
		}
	}
}

// What the faults of the panel and its outputs make of a train.
func TestFaults_Trains(t *testing.T) {
	alarm := []happens{{"alarm", 0}}
	arm := []happens{{"arm-away", 0}}
	for _, c := range []struct {
		fault  string
		rules  []Rule
		events []happens
		rests  bool // how it is at the start
		want   []int
	}{
		{"wrong-pulse=100 ms", []Rule{chirps}, arm, false, []int{0, 100, 400, 500, 800, 900}},
		{"wrong-pulse=100 ms", []Rule{with(flashes, func(r *Rule) { r.Until = time.Second })}, alarm, false, []int{0, 100, 500, 600}},
		{"inverted", []Rule{chirps}, arm, true, []int{0, 200, 500, 700, 1000, 1200}},
		{"missed-cycle=2", []Rule{chirps}, arm, false, []int{0, 200, 1000, 1200}},
		{"missed-cycle=3", []Rule{chirps}, arm, false, []int{0, 200, 500, 700}},
		{"early-fall=600 ms", []Rule{chirps}, arm, false, []int{0, 200, 500, 600}},
		{"early-fall=300 ms", []Rule{flashes}, alarm, false, []int{0, 300}},
		{"early-fall=1200 ms", []Rule{flashes}, alarm, false, []int{0, 500, 900, 1200}},
		{"slow-delay=400 ms", []Rule{chirps}, arm, false, []int{400, 600, 900, 1100, 1400, 1600}},
		{"one-arming", []Rule{chirps, with(chirps, func(r *Rule) { r.Event = "arm-stay" })}, []happens{{"arm-stay", 0}, {"arm-away", ms(100)}}, false, []int{100, 300, 600, 800, 1100, 1300}},
		{"one-arming=arm-stay", []Rule{chirps, with(chirps, func(r *Rule) { r.Event = "arm-stay" })}, []happens{{"arm-stay", 0}, {"arm-away", ms(100)}}, false, []int{0, 200, 500, 700, 1000, 1200}},
		{"stuck-low", []Rule{chirps}, arm, false, nil},
		{"wrong-address=OUT5", []Rule{chirps}, arm, false, nil},
		{"wrong-address=OUT3@OUT5", []Rule{with(chirps, func(r *Rule) { r.Output = "OUT5" })}, arm, false, []int{0, 200, 500, 700, 1000, 1200}},
	} {
		opts := Opts{Programme: c.rules, Faults: mustParse(t, c.fault)}
		got := switchings(t, opts, c.rests, c.events, 3*time.Second)
		wantSwitchings(t, c.fault, got, c.want...)
	}
}

func TestProgramme_WrongRules(t *testing.T) {
	for want, r := range map[string]Rule{
		"OUT3 at : it must have an event":           {Output: "OUT3", Do: GoHigh},
		"action 5 is not known":                     {Output: "OUT3", Event: "alarm", Do: Train + 1},
		"times and numbers must not be negative":    with(chirps, func(r *Rule) { r.Off = -1 }),
		"must not be negative":                      with(chirps, func(r *Rule) { r.Pulses = -1 }),
		"a pulse must have a length":                with(chirps, func(r *Rule) { r.For = 0 }),
		"a train must have a time between":          with(chirps, func(r *Rule) { r.Off = 0 }),
		"only a train has a time off, a number of ": {Output: "OUT3", Event: "alarm", Do: PulseHigh, For: 1, Pulses: 2},
	} {
		if _, err := NewWorld(panelRig(), Opts{Programme: []Rule{r}}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q in it", r, err, want)
		}
	}
}

func TestRule_String(t *testing.T) {
	for want, r := range map[string]Rule{
		"OUT3 at arm-away: 3 pulses, 200 ms on and 300 ms off": chirps,
		"OUT3 at alarm: flashing, 500 ms on and 400 ms off, for 30 s after 20 s, where the last was arm-away or arm-stay": with(flashes, func(r *Rule) {
			r.Until, r.After, r.While = 30*time.Second, 20*time.Second, []string{"arm-away", "arm-stay"}
		}),
		"OUT3 at disarm: off":              off,
		"OUT3 at arm-stay: on after 60 s":  {Output: "OUT3", Event: "arm-stay", Do: GoHigh, After: time.Minute},
		"OUT3 at arm-stay: a pulse of 1 s": {Output: "OUT3", Event: "arm-stay", Do: PulseHigh, For: time.Second},
		"OUT3 at arm-stay: nothing":        {Output: "OUT3", Event: "arm-stay"},
	} {
		if got := fmt.Sprint(r); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// A relay behind a train follows each of its pulses.
func TestProgramme_RelayFollowsTrain(t *testing.T) {
	s := newStation(t, Opts{Seed: 6, Programme: []Rule{chirps}})
	s.run(100 * time.Millisecond)
	s.pulse(lineAway, 3*time.Second)
	changes := s.w.Truth().Events[1].Changes
	if len(changes) != 6 {
		t.Fatalf("the relay moves %d times, want 6", len(changes))
	}
	for i, c := range changes {
		if c.In != (i%2 == 0) || c.Time < time.Millisecond || c.Time > 15*time.Millisecond {
			t.Errorf("travel %d: %+v", i+1, c)
		}
	}
}
