package survey_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"makebreak/analyze"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
	"makebreak/sequences/survey"
)

// shelf keeps cycles in memory.
type shelf struct{ cycles []*journal.Cycle }

func (s *shelf) Append(cycles ...*journal.Cycle) error {
	s.cycles = append(s.cycles, cycles...)
	return nil
}

// captures are those kept.
func (s *shelf) captures(yield func(survey.Capture, error) bool) {
	for _, c := range s.cycles {
		x := &capture.Capture{}
		err := x.UnmarshalBinary(c.Capture)
		if !yield(survey.Capture{Capture: x, Cycle: c.N, Whole: c.Complete, Anew: c.N == 1}, err) || err != nil {
			return
		}
	}
}

// tableOf surveys the built-in panel, programmed so.
func tableOf(t testing.TB, seed uint64, unit *sim.Opts, watch time.Duration, faults ...string) *survey.Table {
	t.Helper()
	rig := rigfile.Builtin()[0]
	p, err := survey.Prepare(survey.Request{Rig: rig, Watch: watch})
	if err != nil {
		t.Fatal(err)
	}
	s := setup.Simulation{Seed: seed, Unit: unit}
	if err := s.Plant(faults); err != nil {
		t.Fatal(err)
	}
	b, err := setup.Open(rig, p.Sequence, s, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	kept := &shelf{}
	if _, err := runner.Run(t.Context(), b, p.Sequence, runner.Opts{First: 1, Last: p.Sequence.Cycles, Now: time.Now, Recorder: kept}); err != nil {
		t.Fatal(err)
	}
	table, err := survey.Of(kept.captures, survey.Settings{Rig: rig})
	if err != nil {
		t.Fatal(err)
	}
	return table
}

const ms = time.Millisecond

// A panel with something of everything; what it is to be called was written down by hand.
func TestOf(t *testing.T) {
	t.Parallel()
	armed := []string{"arm-away", "arm-stay"}
	rules := []sim.Rule{
		{Output: "OUT1", Event: "arm-away", Do: sim.GoHigh}, {Output: "OUT1", Event: "arm-stay", Do: sim.GoHigh}, {Output: "OUT1", Event: "disarm", Do: sim.GoLow},
		{Output: "OUT2", Event: "arm-stay", Do: sim.GoHigh, After: 4 * time.Second}, {Output: "OUT2", Event: "disarm", Do: sim.GoLow},
		{Output: "OUT3", Event: "arm-away", Do: sim.GoLow}, {Output: "OUT3", Event: "arm-stay", Do: sim.GoLow}, {Output: "OUT3", Event: "disarm", Do: sim.GoHigh},
		{Output: "OUT4", Event: "alarm", Do: sim.GoHigh, After: 2 * time.Second, While: armed}, {Output: "OUT4", Event: "disarm", Do: sim.GoLow},
		{Output: "OUT5", Event: "arm-away", Do: sim.Train, Pulses: 3, For: 200 * ms, Off: 300 * ms},
		{Output: "OUT6", Event: "alarm", Do: sim.Train, For: 400 * ms, Off: 600 * ms}, {Output: "OUT6", Event: "disarm", Do: sim.GoLow},
		{Output: "OUT7", Event: "chime", Do: sim.PulseHigh, For: 700 * ms},
	}
	table := tableOf(t, 3, &sim.Opts{Programme: rules, Initial: map[string]bool{"OUT3": true}}, 8*time.Second)
	for output, want := range map[string]string{
		"OUT1": "follows-arming: follows arming in both ways: high from arm-away, arm-stay, low at disarm",
		"OUT2": "follows-one: follows arming by arm-stay only: high from arm-stay after an exit delay of 4.1",
		"OUT3": "follows-arming: follows arming in both ways, inverted: low from arm-away, arm-stay, high at disarm",
		"OUT4": "latches: latches: high from alarm after an entry delay of 2.1",
		"OUT5": "train-at: 3 pulses of ",
		"OUT6": "flashes-at: flashing, ",
		"OUT7": "pulses-at: a pulse of ",
		"OUT8": "never-moves: never moves, low always",
	} {
		b := table.Output(output)
		if got := string(b.Kind) + ": " + b.Words(); !strings.HasPrefix(got, want) {
			t.Errorf("%s: %s; want %s", output, got, want)
		}
	}
	if want := []string{"arm-away", "arm-stay", "disarm"}; !slices.Equal(table.Deciding, want) {
		t.Errorf("%v decide, want %v", table.Deciding, want)
	}
	if e := table.Output("OUT6").Acts[3].Effect; e.Do != survey.Flashes || e.Lasts != 0 {
		t.Errorf("OUT6 at alarm: %+v", e)
	}
	if k := table.Relays[0]; k.Plan.Make != "K1_NO" || k.Plan.Break != "K1_NC" || k.Behind.Outputs[0] != "OUT1" || k.Swapped {
		t.Errorf("K1: %+v", k)
	}
}

// A unit that misses now and then is not said to do what it usually does; contacts that are the
// wrong way round are said to be.
func TestOf_Faults(t *testing.T) {
	t.Parallel()
	follows := &sim.Opts{Programme: []sim.Rule{{Output: "OUT3", Event: "arm-away", Do: sim.GoHigh}, {Output: "OUT3", Event: "arm-stay", Do: sim.GoHigh}, {Output: "OUT3", Event: "disarm", Do: sim.GoLow}}}
	table := tableOf(t, 1, follows, 2*time.Second, "missed-cycle=4")
	if b := table.Output("OUT3"); b.Kind != survey.CannotTell || !strings.Contains(b.Words(), " times at arm") {
		t.Errorf("it misses every fourth time: %s", b.Words())
	}
	table = tableOf(t, 1, follows, 2*time.Second, "swapped-contacts")
	if k := table.Relays[0]; !k.Swapped || k.Plan.Make != "K1_NC" || !strings.Contains(k.Words(), "the opposite of what the names say") {
		t.Errorf("swapped: %+v", k)
	}
}

// Whatever two-level programming a panel has, what is learnt of each event is what it was
// programmed to do, wherever that shows.
func TestOf_Drawn(t *testing.T) {
	t.Parallel()
	panels := 6
	if testing.Short() {
		panels = 1
	}
	rig := rigfile.Builtin()[0]
	for seed := range uint64(panels) {
		rng := rand.New(rand.NewPCG(seed, 77))
		u := &sim.Opts{Initial: map[string]bool{}}
		want := map[string]sim.Action{}
		for _, o := range rig.Outputs {
			for _, c := range rig.Causes {
				do := []sim.Action{sim.Nothing, sim.GoHigh, sim.GoLow}[rng.IntN(3)]
				want[o.Name+" "+c.Event] = do
				u.Programme = append(u.Programme, sim.Rule{Output: o.Name, Event: c.Event, Do: do})
			}
		}
		table := tableOf(t, seed, u, 1500*ms)
		for i := range table.Outputs {
			b := &table.Outputs[i]
			high, low := false, false // whether anything takes it there
			for _, c := range rig.Causes {
				high, low = high || want[b.Signal+" "+c.Event] == sim.GoHigh, low || want[b.Signal+" "+c.Event] == sim.GoLow
			}
			for _, a := range b.Acts {
				shows := want[b.Signal+" "+a.Event]
				if !high || !low { // it moves once at most
					continue
				}
				if got := map[survey.Do]sim.Action{survey.Stays: sim.Nothing, survey.Rises: sim.GoHigh, survey.Falls: sim.GoLow}[a.Effect.Do]; got != shows || a.Wrong > 0 || a.While != nil {
					t.Errorf("seed %d: %s at %s: %+v, programmed %v", seed, b.Signal, a.Event, a, shows)
				}
			}
		}
	}
}

// A survey is prepared for what the rig can do, and nothing else.
func TestPrepare(t *testing.T) {
	t.Parallel()
	panel, relay := rigfile.Builtin()[0], rigfile.Builtin()[1]
	staged := *relay
	staged.Causes = append(slices.Clone(relay.Causes), wiring.Cause{Event: "mains-off", Drive: "STAGE"})
	staged.Supply = wiring.TwoStages("STAGE", 13.8, 10.5)
	for _, c := range []struct {
		name string
		r    survey.Request
		want string // states, watch; or a part of the error
	}{
		{"panel", survey.Request{Rig: panel}, "26 states, 45s"},
		{"relay, whose drive may be on for a minute", survey.Request{Rig: relay}, "5 states, 29.5s"},
		{"asked for longer than that", survey.Request{Rig: relay, Watch: 40 * time.Second}, "at most"},
		{"an event that moves the supply", survey.Request{Rig: &staged}, "5 states, 29.5s"},
		{"asked for it", survey.Request{Rig: &staged, Events: []string{"mains-off"}}, "moves the supply"},
		{"two events", survey.Request{Rig: panel, Events: []string{"disarm", "arm-away"}, Watch: 5 * time.Second}, "5 states, 5s"},
		{"unknown", survey.Request{Rig: panel, Events: []string{"arm-awey"}}, "arm-away"},
		{"too short", survey.Request{Rig: panel, Watch: time.Second}, "must be watched"},
		{"too often", survey.Request{Rig: panel, Times: 1001}, "from 1 to 1000"},
	} {
		p, err := survey.Prepare(c.r)
		got := fmt.Sprint(err)
		if err == nil {
			got = fmt.Sprintf("%d states, %v", len(p.Sequence.Steps), p.Watch)
			if _, err := p.Sequence.Fits(c.r.Rig); err != nil {
				t.Errorf("%s: %v", c.name, err)
			}
			if rigfile.Builtin()[0].Cause("disarm") != nil && len(p.Events) > 2 && p.Sequence.Steps[0].Cause != "disarm" {
				t.Errorf("%s: it begins with %s", c.name, p.Sequence.Steps[0].Cause)
			}
		}
		if !strings.Contains(got, c.want) {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

// What is written is a sequence that a unit programmed by it is surveyed as, and it holds only
// what was seen to be firm.
func TestSequence(t *testing.T) {
	t.Parallel()
	armed := []string{"arm-away", "arm-stay"}
	u := &sim.Opts{Programme: []sim.Rule{
		{Output: "OUT3", Event: "arm-away", Do: sim.GoHigh, After: 2 * time.Second}, {Output: "OUT3", Event: "disarm", Do: sim.GoLow},
		{Output: "OUT4", Event: "alarm", Do: sim.PulseHigh, For: 600 * ms, While: armed},
		{Output: "OUT5", Event: "disarm", Do: sim.Train, Pulses: 2, For: 200 * ms, Off: 200 * ms},
	}}
	rig := rigfile.Builtin()[0]
	learnt := tableOf(t, 5, u, 5*time.Second)
	r := reportOf(t, rig, u)
	var b bytes.Buffer
	if err := r.Sequence(&b, survey.Writing{Limiting: survey.Limiting{Coverage: 0.95, Confidence: 0.95}, Program: "v1.2.3"}); err != nil {
		t.Fatal(err)
	}
	seq, err := sequences.Parse("learnt.yaml", b.Bytes())
	if err != nil {
		t.Fatalf("%v\n%s", err, b.String())
	}
	if _, err := seq.Fits(rig); err != nil {
		t.Fatalf("%v\n%s", err, b.String())
	}
	unit := setup.Unit(rig, seq)
	again := tableOf(t, 5, &unit, 5*time.Second)
	for i := range learnt.Outputs {
		a, b := &learnt.Outputs[i], &again.Outputs[i]
		if a.Kind != b.Kind || !slices.Equal(a.From, b.From) || !slices.Equal(a.Until, b.Until) {
			t.Errorf("%s: learnt %s, and of a unit programmed by what was written %s", a.Signal, a.Words(), b.Words())
		}
	}
	if l := seq.Plan.Output("OUT3").Limits.Of(analyze.HighLevel); !(l.Lower > 10 && l.Upper < 15) {
		t.Errorf("high level: %+v", l)
	}
}

// reportOf surveys into a log and reads it back, in all forms.
func reportOf(t *testing.T, rig *wiring.Rig, u *sim.Opts) *survey.Report {
	t.Helper()
	db, err := journal.Open(t.TempDir() + "/log.db")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	p, err := survey.Prepare(survey.Request{Rig: rig, Watch: 5 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	seed := uint64(5)
	run, err := db.Begin(journal.RunInfo{Sequence: p.Sequence.Name, SequenceSource: string(p.Sequence.Source), Rig: rig.Name, Started: time.Now(), Planned: p.Sequence.Cycles, Seed: &seed, Faults: []string{}, Program: "v1.2.3"})
	if err != nil {
		t.Fatal(err)
	}
	b, err := setup.Open(rig, p.Sequence, setup.Simulation{Seed: seed, Unit: u}, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if _, err := runner.Run(t.Context(), b, p.Sequence, runner.Opts{First: 1, Last: p.Sequence.Cycles, Now: time.Now, Recorder: run}); err != nil {
		t.Fatal(err)
	}
	if err := run.Finish(journal.RunEnd{Ended: time.Now(), Complete: true}); err != nil {
		t.Fatal(err)
	}
	rec, err := db.Find("last")
	if err != nil {
		t.Fatal(err)
	}
	r, err := survey.Read(rec, survey.Settings{Rig: rig})
	if err != nil {
		t.Fatal(err)
	}
	conforms(t, r)
	return r
}

// conforms holds the JSON to the schema.
func conforms(t *testing.T, r *survey.Report) {
	t.Helper()
	var schema, text bytes.Buffer
	if err := survey.Schema(&schema); err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(&schema)
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource("survey.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("survey.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := r.JSON(&text); err != nil {
		t.Fatal(err)
	}
	v, err := jsonschema.UnmarshalJSON(&text)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Validate(v); err != nil {
		t.Error(err)
	}
}
