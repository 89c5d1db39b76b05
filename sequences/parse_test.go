package sequences

import (
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"makebreak/analyze"
	"makebreak/rig/line"
	"makebreak/rig/unit"

	"makebreak/rig/capture"
	"makebreak/rig/problem"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// noBound stands for a bound that is not given; diffs take one NaN for another.
var noBound = math.NaN()

func diff(want, got any) string {
	return cmp.Diff(want, got, cmpopts.EquateNaNs(), voltsAlike, cmpopts.IgnoreFields(Sequence{}, "Source", "File"))
}

func atMost(v float64) analyze.Limit  { return analyze.Limit{Lower: noBound, Upper: v} }
func atLeast(v float64) analyze.Limit { return analyze.Limit{Lower: v, Upper: noBound} }

var (
	output12V = analyze.Limits{
		analyze.HighLevel: {Lower: 12, Upper: 14.5}, analyze.LowLevel: atMost(1),
		analyze.SwitchingDelay: atMost(0.5), analyze.Ripple: atMost(0.5), analyze.Hold: atMost(0),
	}
	relay12V = analyze.Limits{
		analyze.OperateTime: atMost(0.015), analyze.ReleaseTime: atMost(0.010), analyze.BounceTime: atMost(0.005),
		analyze.TransferTime: atLeast(0), analyze.PullInMargin: atLeast(1), analyze.DropOutMargin: atLeast(0.2),
	}
)

func TestLoad_armedHigh(t *testing.T) {
	got, err := Load(t.Context(), "armed-high")
	if err != nil {
		t.Fatal(err)
	}
	high, low := analyze.Expectation{Demand: analyze.High}, analyze.Expectation{Demand: analyze.Low}
	want := &Sequence{
		Name: "armed-high", About: "High while the panel is armed in either way, low while it is disarmed.",
		Cycles: 5, Baseline: DefaultBaseline,
		Steps: []Step{step("arm-away", 3*time.Second), step("disarm", 3*time.Second), step("arm-stay", 3*time.Second), step("disarm", 3*time.Second)},
		Plan: analyze.Plan{
			Steps: []string{"arm-away", "disarm", "arm-stay", "disarm"},
			Outputs: []analyze.OutputPlan{{Signal: "OUT3", Relay: "K1", Limits: output12V,
				Expect: map[string]analyze.Expectation{"arm-away": high, "arm-stay": high, "disarm": low}}},
			OthersUnmoved: true,
			Relays:        []analyze.RelayPlan{{Signal: "K1", Make: "K1_NO", Break: "K1_NC", MustOperate: 9, MustRelease: 1.2, Limits: relay12V}},
			Decide:        analyze.Guarded,
		},
	}
	if d := diff(want, got); d != "" {
		t.Error(d)
	}
	if got.Duration() != 12*time.Second || strings.Join(got.Events(), " ") != "arm-away disarm arm-stay" {
		t.Errorf("%v, %v", got.Duration(), got.Events())
	}
	if len(got.Source) == 0 || got.File != "armed-high.yaml" {
		t.Errorf("%d bytes of %s", len(got.Source), got.File)
	}
}

// step is a step that bears the name of the event that the rig brings about.
func step(event string, hold time.Duration) Step { return Step{Event: event, Cause: event, Hold: hold} }

// The commented example holds everything that may stand in a sequence file.
func TestLoad_full(t *testing.T) {
	got, err := Load(t.Context(), "../testdata/sequences/full.yaml")
	if err != nil {
		t.Fatal(err)
	}
	expect := func(demand analyze.Demand, after, within float64) analyze.Expectation {
		return analyze.Expectation{Demand: demand, After: time.Duration(after * 1e9), Within: within}
	}
	high, low := expect(analyze.High, 0, 0), expect(analyze.Low, 0, 0)
	low10, fall := analyze.Move{To: 10.5}, analyze.Move{From: 13.8, To: 0, Over: 14 * time.Second}
	limits := analyze.Limits{analyze.TransitionDuration: atMost(0.020)}
	for q, l := range output12V {
		limits[q] = l
	}
	relay := analyze.Limits{analyze.BounceCount: atMost(20)}
	for q, l := range relay12V {
		relay[q] = l
	}
	want := &Sequence{
		Name: "job-1234", About: "Outputs of an invented job card.", Cycles: 10, Baseline: time.Second, Sample: wiring.Sweep,
		Steps: []Step{step("arm-away", 35*time.Second), step("alarm", 5*time.Second), step("disarm", 3*time.Second),
			{Event: "arm-again", Cause: "arm-away", Hold: 35 * time.Second}, {Event: "supply-low", Supply: &low10, Hold: time.Second},
			{Event: "fall", Supply: &fall, Hold: 15 * time.Second}},
		Panel: Panel{Begins: "disarmed", Events: map[string]Transition{"arm-away": {LeadsTo: "armed"},
			"alarm": {Needs: []string{"armed"}, LeadsTo: "alarmed"}, "disarm": {Needs: []string{"armed", "alarmed"}, LeadsTo: "disarmed"}}},
		Plan: analyze.Plan{
			Steps: []string{"arm-away", "alarm", "disarm", "arm-again", "supply-low", "fall"},
			Moves: map[string]analyze.Move{"supply-low": low10, "fall": fall},
			Outputs: []analyze.OutputPlan{
				{Signal: "OUT1", Expect: map[string]analyze.Expectation{"arm-away": {}, "alarm": {}, "disarm": {}, "arm-again": {}, "supply-low": {}, "fall": {}}},
				{Signal: "OUT3", Limits: limits, Relay: "K1", Expect: map[string]analyze.Expectation{"arm-away": high, "alarm": high, "disarm": low}},
				{Signal: "OUT4", Limits: analyze.Limits{analyze.SwitchingDelay: atMost(1)},
					Expect: map[string]analyze.Expectation{"arm-away": expect(analyze.Low, 5, 0.1), "alarm": expect(analyze.Unmoved, 0, 0), "disarm": high}},
				{Signal: "OUT5", Expect: map[string]analyze.Expectation{"arm-away": expect(analyze.Pulse, 2, 0.1)}},
				{Signal: "OUT6", Expect: map[string]analyze.Expectation{"arm-away": expect(analyze.High, 30, 0.05), "disarm": low}},
				{Signal: "OUT7", Expect: map[string]analyze.Expectation{
					"arm-away": {Demand: analyze.Train, After: 2 * time.Second, Within: 0.1, Pulses: 3, On: 200 * time.Millisecond, Off: 300 * time.Millisecond}}},
				{Signal: "OUT8", Expect: map[string]analyze.Expectation{
					"arm-away": {Demand: analyze.Train, Within: 0.1, On: 500 * time.Millisecond, Off: 500 * time.Millisecond, For: 20 * time.Second},
					"alarm":    {Demand: analyze.Train, Within: 0.1, On: 250 * time.Millisecond, Off: 250 * time.Millisecond}, "disarm": low}},
			},
			OthersUnmoved: true,
			Relays:        []analyze.RelayPlan{{Signal: "K1", Make: "K1_NO", Break: "K1_NC", MustOperate: 9, MustRelease: 1.2, Limits: relay}},
			Decide:        analyze.Guarded,
			Overdue:       capture.OverdueUndecided,
		},
	}
	if d := diff(want, got); d != "" {
		t.Error(d)
	}
}

// What a short file leaves out.
func TestParse_defaults(t *testing.T) {
	got, err := Parse("f.yaml", []byte("name: short one\nsteps: [{event: a, hold: 3 s}]\n"+
		"outputs: {O: {expect: {a: {pulse: 1 s}}}}\nrelays: {K: {make: K_NO}}\n"))
	if err != nil {
		t.Fatal(err)
	}
	want := &Sequence{
		Name: "short one", Cycles: 5, Baseline: 500 * time.Millisecond, Steps: []Step{step("a", 3*time.Second)},
		Plan: analyze.Plan{
			Steps: []string{"a"}, Decide: analyze.Guarded,
			// The only relay is behind the only output.
			Outputs: []analyze.OutputPlan{{Signal: "O", Relay: "K", Expect: map[string]analyze.Expectation{"a": {Demand: analyze.Pulse, After: 1 * time.Second, Within: 0.1}}}},
			Relays:  []analyze.RelayPlan{{Signal: "K", Make: "K_NO", MustOperate: unit.Volts(noBound), MustRelease: unit.Volts(noBound)}},
		},
	}
	if d := diff(want, got); d != "" {
		t.Error(d)
	}
}

// Words and forms that stand for the same.
func TestParse_expectations(t *testing.T) {
	for text, want := range map[string]analyze.Expectation{
		"high": {Demand: analyze.High}, "low": {Demand: analyze.Low}, "any": {}, "unmoved": {Demand: analyze.Unmoved},
		"{high: true}":                                 {Demand: analyze.High},
		"{low: true, after: 500 ms}":                   {Demand: analyze.Low, After: 500 * time.Millisecond, Within: 0.1},
		"{after: 2 s, within: 1 %, high: true}":        {Demand: analyze.High, After: 2 * time.Second, Within: 0.01},
		"{pulse: 250 ms, within: 50000 ppm}":           {Demand: analyze.Pulse, After: 250 * time.Millisecond, Within: 0.05},
		"{\"pulse\": \"2 s\", 'within': '10 %'}":       {Demand: analyze.Pulse, After: 2 * time.Second, Within: 0.1},
		"{\n  pulse: 2 s,   # a note\n  within: 10 %}": {Demand: analyze.Pulse, After: 2 * time.Second, Within: 0.1},
	} {
		s, err := Parse("f.yaml", []byte("name: n\nsteps: [{event: a, hold: 3 s}]\noutputs:\n  O:\n    expect:\n      a: "+strings.ReplaceAll(text, "\n", "\n        ")+"\n"))
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if d := diff(want, s.Plan.Outputs[0].Expect["a"]); d != "" {
			t.Errorf("%s: %s", text, d)
		}
	}
}

// Limits that judge nothing are pointed out.
func TestParse_cautions(t *testing.T) {
	s, err := Parse("f.yaml", []byte("name: n\nsteps: [{event: a, hold: 3 s}]\noutputs: {O: {expect: high}}\nlimits: {spare: {ripple: {max: 1 V}}}\n"))
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"nothing uses the limits spare, so they judge nothing"}; diff(want, s.Cautions) != "" {
		t.Errorf("cautions: %q", s.Cautions)
	}
}

func TestBuiltin(t *testing.T) {
	rigs := rigfile.Builtin()
	for i, s := range Builtin() {
		if s.Name != order[i] || s.About == "" || len(s.Cautions) > 0 {
			t.Errorf("%q: about %q, cautions %q", s.Name, s.About, s.Cautions)
		}
		rig := rigs[0]
		if alone := map[string]int{"relay-only": 1, "relay-supply": 2}[s.Name]; alone > 0 {
			rig = rigs[alone]
		} else if !s.Plan.OthersUnmoved {
			t.Errorf("%s: other outputs may move", s.Name)
		}
		if cautions, err := s.Fits(rig); err != nil || len(cautions) > 0 {
			t.Errorf("%s on rig %s: %v, cautions %q", s.Name, rig.Name, err, cautions)
		}
	}
	files, err := filepath.Glob("builtin/*.yaml")
	if err != nil || len(files) != len(order) {
		t.Errorf("%d files for %d built-in sequences, %v", len(files), len(order), err)
	}
}

func TestLoad(t *testing.T) {
	_, err := Load(t.Context(), "armed-hihg")
	if !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), "did you mean armed-high? Use one of: armed-high, armed-low") || !strings.Contains(err.Error(), ", relay-supply") {
		t.Errorf("unknown name: %v", err)
	}
	if _, err := Load(t.Context(), t.TempDir()); err == nil {
		t.Error("a folder is read as a sequence")
	}
	path := filepath.Join(t.TempDir(), "mine.yaml")
	if err := os.WriteFile(path, []byte("name: n\nsteps: [{event: a, hold: 1}]\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(t.Context(), path); err == nil || !strings.HasPrefix(err.Error(), path+":2:26: steps[0].hold: ") {
		t.Errorf("a bad file: %v", err)
	}
}

func TestSequence_Fits(t *testing.T) {
	rigs := rigfile.Builtin()
	panel, relay := rigs[0], rigs[1]
	staged := rigfile.Builtin()[1]
	staged.Drives = append(staged.Drives, wiring.Drive{Line: line.Line{Name: "STAGE", LineName: "GPIO26"}, LongestOn: 5 * time.Second})
	staged.Supply = wiring.TwoStages("STAGE", 13.8, 10.5)
	latched := rigfile.Builtin()[0]
	latched.Causes = []wiring.Cause{{Event: "on", Drive: "ZONE", On: true}, {Event: "again", Drive: "ZONE", On: true}}
	pulsed := rigfile.Builtin()[0]
	pulsed.Causes = []wiring.Cause{{Event: "on", Drive: "ZONE", On: true}, {Event: "blip", Drive: "ZONE", Pulse: 100 * time.Millisecond}}
	prompted := rigfile.Builtin()[0]
	prompted.Causes = []wiring.Cause{{Event: "a", Prompt: "Do a."}, {Event: "b", Prompt: "Do b."}}
	parse := func(src string) *Sequence {
		t.Helper()
		s, err := Parse("f.yaml", []byte(src))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	for _, c := range []struct {
		name, src string
		rig       *wiring.Rig
		want      string
		cautions  string
	}{
		{"nothing fits", "name: n\nsteps:\n  - {event: arm-awya, hold: 3 s}\n  - {event: arm-awya, hold: 3 s}\noutputs:\n  OUT9: {expect: high, relay: K2}\nrelays:\n  K2: {make: K1_N0, break: K2_NC}\n", panel,
			"f.yaml:3:13: steps[0].event: \"arm-awya\": the rig file does not define this event; did you mean arm-away? Use one of: arm-away, arm-stay, disarm, alarm, chime (rig panel)\n" +
				"f.yaml:6:3: outputs.OUT9: \"OUT9\": the rig has no output of this name; use one of: OUT1, OUT2, OUT3, OUT4, OUT5, OUT6, OUT7, OUT8 (rig panel)\n" +
				"f.yaml:8:14: relays.K2.make: \"K1_N0\": the rig has no contact of this name; use one of: K1_NO, K1_NC (rig panel)\n" +
				"f.yaml:8:28: relays.K2.break: \"K2_NC\": the rig has no contact of this name; did you mean K1_NC? Use one of: K1_NC, K1_NO (rig panel)", ""},
		{"pulse longer than hold", "name: n\nsteps: [{event: arm-away, hold: 300 ms}]\n", panel,
			"f.yaml:2:33: steps[0].hold: \"300 ms\": the drive's pulse lasts 300 ms by the rig file; must be longer than the pulse", ""},
		{"two outputs on a chip that follows", "name: n\nsample: follow\nsteps: [{event: alarm, hold: 3 s}]\noutputs: {OUT1: {expect: high}, OUT2: {expect: high}, OUT3: {expect: any}}\n", panel,
			"f.yaml:4:33: outputs.OUT2: \"OUT2\": chip B follows OUT1 and can follow one output only; add sample: sweep to the sequence", ""},
		{"others on a chip that follows", "name: n\nsample: follow\nsteps: [{event: alarm, hold: 3 s}]\noutputs: {OUT1: {expect: high}, OUT6: {expect: low}, OUT7: {expect: any}, OUT8: {expect: any}}\nothers: unmoved\n", panel,
			"f.yaml:5:9: others: \"unmoved\": chip B follows OUT1, so OUT2, OUT4 and OUT5 would not be watched; use sample: sweep in the sequence, or for the chip in the rig file; or name OUT2, OUT4 and OUT5 under outputs with expect: any", ""},
		{"nobody named on chips that follow", "name: n\nsample: follow\nsteps: [{event: alarm, hold: 3 s}]\nothers: unmoved\n", panel,
			"f.yaml:4:9: others: \"unmoved\": chip B follows OUT1, so OUT2, OUT4 and OUT5 would not be watched; use sample: sweep in the sequence, or for the chip in the rig file; or name OUT2, OUT4 and OUT5 under outputs with expect: any\n" +
				"f.yaml:4:9: others: \"unmoved\": chip C follows OUT6, so OUT7 and OUT8 would not be watched; use sample: sweep in the sequence, or for the chip in the rig file; or name OUT7 and OUT8 under outputs with expect: any", ""},
		{"one that may do anything, with a limit", "name: n\nsample: follow\nsteps: [{event: alarm, hold: 3 s}]\noutputs: {OUT2: {expect: any, limits: {low_level: {max: 1 V}}}, OUT1: {expect: low}}\n", panel,
			"f.yaml:4:65: outputs.OUT1: \"OUT1\": chip B follows OUT2 and can follow one output only; add sample: sweep to the sequence", ""},
		{"one that may do anything before one that must not", "name: n\nsample: follow\nsteps: [{event: alarm, hold: 3 s}]\noutputs: {OUT2: {expect: any}, OUT4: {expect: any}, OUT5: {expect: low}, OUT1: {expect: {alarm: any}}}\n", panel, "", ""},
		{"drive left on for too long", "name: n\nsteps: [{event: energize, hold: 40 s}, {event: energize, hold: 40 s}, {event: release, hold: 1 s}]\n", relay,
			"f.yaml:2:64: steps[1].hold: \"40 s\": drive COIL_DRIVE would be on for longer than 60 s; make it shorter, or the rig's longest_on longer", ""},
		{"drive never left", "name: n\nsteps: [{event: energize, hold: 50 s}]\noutputs: {COIL: {expect: high}}\n", relay,
			"f.yaml:2:17: steps[0].event: \"energize\": it sets drive COIL_DRIVE on and no step sets it off: from cycle 2 on it does nothing; add a step with release, or run one cycle", ""},
		{"drive never left, in one cycle", "name: n\ncycles: 1\nsteps: [{event: energize, hold: 50 s}]\n", relay, "", ""},
		{"drive never on", "name: n\nsteps: [{event: release, hold: 5 s}]\n", relay, "", "release sets drive COIL_DRIVE off and no step sets it on: it does nothing"},
		{"drive never on, and something expected of it", "name: n\ncycles: 1\nsteps: [{event: release, hold: 5 s}]\noutputs: {COIL: {expect: low}}\n", relay,
			"f.yaml:3:17: steps[0].event: \"release\": it sets drive COIL_DRIVE off and no step sets it on: it does nothing; add a step with energize before it", ""},
		{"drive off first", "name: n\nsteps: [{event: release, hold: 1 s}, {event: energize, hold: 5 s}]\n", relay, "", ""},
		{"drive that a pulse releases", "name: n\nsteps: [{event: on, hold: 1 s}, {event: blip, hold: 1 s}]\n", pulsed, "", ""},
		{"drive never left, and nothing expected of it", "name: n\nsteps: [{event: energize, hold: 5 s}]\noutputs: {COIL: {expect: unmoved}}\n", relay,
			"", "energize sets drive COIL_DRIVE on and no step sets it off: from cycle 2 on it does nothing"},
		{"drive left by two events, none of them off", "name: n\nsteps: [{event: on, hold: 1 s}, {event: again, hold: 1 s}]\noutputs: {OUT5: {expect: {on: {pulse: 500 ms}}}}\n", latched,
			"f.yaml:2:17: steps[0].event: \"on\": it sets drive ZONE on and no step sets it off: from cycle 2 on it does nothing; add an event to the rig file, as in released: {drive: ZONE, set: off}, and a step with it, or run one cycle", ""},
		{"pulse from high", "name: n\nsteps: [{event: a, hold: 9 s}, {event: b, hold: 9 s}]\noutputs: {OUT5: {expect: {a: {pulse: 2 s}, b: high}}}\n", prompted,
			"f.yaml:3:27: outputs.OUT5.expect.a: the output is to pulse, but the steps before a leave it high from cycle 2 on: add a step that makes it low before a, or run one cycle", ""},
		{"pulse from high within a cycle", "name: n\ncycles: 1\nsteps: [{event: b, hold: 9 s}, {event: a, hold: 9 s}]\noutputs: {OUT5: {expect: {a: {pulse: 2 s}, b: high}}}\n", prompted,
			"f.yaml:4:27: outputs.OUT5.expect.a: the output is to pulse, but the steps before a leave it high: add a step that makes it low before a", ""},
		{"exit delay without a return", "name: n\nsteps: [{event: a, hold: 9 s}, {event: b, hold: 9 s}]\noutputs: {OUT5: {expect: {a: {high: true, after: 5 s}}}}\n", prompted,
			"f.yaml:3:27: outputs.OUT5.expect.a: the output is to go high after 5 s, but the steps before a leave it high from cycle 2 on: add a step that makes it low before a, or run one cycle", ""},
		{"exit delay without a return, in one cycle", "name: n\ncycles: 1\nsteps: [{event: a, hold: 9 s}, {event: b, hold: 9 s}]\noutputs: {OUT5: {expect: {a: {high: true, after: 5 s}}}}\n", prompted, "", ""},
		{"delay to low", "name: n\nsteps: [{event: a, hold: 9 s}, {event: b, hold: 9 s}]\noutputs: {OUT5: {expect: {a: {low: true, after: 5 s}, b: low}}}\n", prompted,
			"f.yaml:3:27: outputs.OUT5.expect.a: the output is to go low after 5 s, but the steps before a leave it low from cycle 2 on: add a step that makes it high before a, or run one cycle", ""},
		{"pulses and delays that come back", "name: n\nsteps: [{event: a, hold: 9 s}, {event: b, hold: 9 s}]\noutputs: {OUT5: {expect: {a: {pulse: 2 s}, b: {pulse: 2 s}}}, OUT6: {expect: {a: {high: true, after: 5 s}, b: low}}, OUT7: {expect: {a: {high: true, after: 5 s}, b: any}}}\n", prompted, "", ""},
		{"steps that find it as they left it", "name: n\nsteps: [{event: a, hold: 9 s}, {event: b, hold: 9 s}]\noutputs: {OUT5: {expect: {a: high}}, OUT6: {expect: high}, OUT7: {expect: low}}\n", prompted, "", ""},
		{"supply on a rig without one", "name: n\nsteps: [{supply: 12 V, as: a, hold: 1 s}, {supply: 10 V, as: b, hold: 1 s}]\n", relay,
			"f.yaml:2:18: steps[0].supply: \"12 V\": rig relay has no supply that can be set; leave it out, or use a rig with a supply", ""},
		{"supply beyond the rig's", "name: n\nsteps: [{supply: 15 V, as: a, hold: 1 s}, {supply: {from: 16 V, to: 0 V, over: 1 s}, as: b, hold: 2 s}]\n", rigs[2],
			"f.yaml:2:44: steps[1].supply: the rig's supply is never set above 15 V: must be at most 15 V", ""},
		{"both voltages of two supplies", "name: n\nsteps: [{supply: 10500 mV, as: a, hold: 4 s}, {supply: 13.8 V, as: b, hold: 90 s}, {supply: 10.5 V, as: c, hold: 4 s}, {supply: 13.8 V, as: b, hold: 1 s}]\n", staged, "", ""},
		{"a third voltage of two supplies", "name: n\nsteps: [{supply: 12 V, as: a, hold: 1 s}, {supply: 16 V, as: b, hold: 1 s}]\n", staged,
			"f.yaml:2:18: steps[0].supply: \"12 V\": this rig's supply has two voltages only; must be 13.8 V or 10.5 V\n" +
				"f.yaml:2:52: steps[1].supply: \"16 V\": this rig's supply has two voltages only; must be 13.8 V or 10.5 V", ""},
		{"ramps that end too soon", "name: n\nsteps: [{supply: {from: 0 V, to: 8 V, over: 1 s}, as: up, hold: 2 s}, {supply: {from: 8 V, to: 2 V, over: 1 s}, as: down, hold: 2 s}, {supply: {from: 2 V, to: 9 V, over: 1 s}, as: far, hold: 2 s}]\n" +
			"outputs: {COIL: {expect: any, relay: K1}}\nrelays: {K1: {make: K1_NO, must_operate: 9 V, must_release: 1.2 V}}\n", rigs[2], "",
			"the ramp up ends at 8 V, below the 9 V at which K1 must operate: where it does not, that is undecided\n" +
				"the ramp down ends at 2 V, above the 1.2 V at which K1 must release: where it does not, that is undecided"},
		{"ramp of two supplies", "name: n\nsteps: [{supply: {from: 13.8 V, to: 10.5 V, over: 1 s}, as: a, hold: 2 s}]\n", staged,
			"f.yaml:2:10: steps[0].supply: this rig's supply has two voltages only: must be 13.8 V or 10.5 V", ""},
		{"supply switched over for too long", "name: n\nsteps: [{supply: 10.5 V, as: a, hold: 3 s}, {event: energize, hold: 1 s}, {event: release, hold: 2 s}, {supply: 13.8 V, as: b, hold: 1 s}]\n", staged,
			"f.yaml:2:98: steps[2].hold: \"2 s\": drive STAGE would be on for longer than 5 s; make it shorter, or the rig's longest_on longer", ""},
		{"supply never switched back", "name: n\nsteps: [{supply: 10.5 V, as: a, hold: 3 s}]\n", staged,
			"f.yaml:2:18: steps[0].supply: \"10.5 V\": drive STAGE would be on for longer than 5 s in 5 cycles; add a step that sets the supply back", ""},
		{"supply not switched back in one short cycle", "name: n\ncycles: 1\nsteps: [{supply: 10.5 V, as: a, hold: 3 s}]\n", staged, "", ""},
		{"supply not switched back, and left on for too long over ten cycles", "name: n\ncycles: 10\nsteps: [{supply: 10.5 V, as: a, hold: 300 ms}, {event: energize, hold: 300 ms}, {event: release, hold: 300 ms}]\n", staged,
			"f.yaml:3:18: steps[0].supply: \"10.5 V\": drive STAGE would be on for longer than 5 s in 10 cycles; add a step that sets the supply back", ""},
		{"a train that sampling shows", trainOf("OUT3", "{pulses: 3, on: 50 ms, off: 50 ms}", "low"), panel, "", ""},
		{"a train too fast for a sweep", "name: n\nsample: sweep\nsteps: [{event: arm-away, hold: 3 s}]\noutputs:\n" +
			"  OUT1: {expect: any}\n  OUT2: {expect: any}\n  OUT4: {expect: any}\n  OUT5: {expect: {arm-away: {pulses: 3, on: 50 ms, off: 80 ms}}}\n", panel,
			"f.yaml:8:19: outputs.OUT5.expect.arm-away: the rig samples OUT5 195 times a second, too seldom to tell 50 ms within 10 %: " +
				"must be sampled 200 times a second: raise the chip's rate, watch fewer outputs of it, or use sample: follow; or write longer times or a wider within", ""},
		{"flashing for too long", "name: n\nsteps: [{event: arm-away, hold: 60 s}, {event: disarm, hold: 1 s}]\noutputs: {OUT3: {expect: {arm-away: {flashing: true, on: 500 ms, off: 500 ms}, disarm: low}}}\n", panel,
			"f.yaml:3:27: outputs.OUT3.expect.arm-away: the output is to flash or pulse for 60 s, and the samples of so many pulses are not kept: must end, or the step must, within 36 s", ""},
		{"pulses of an output that is high", "name: n\nsteps: [{event: arm-away, hold: 3 s}, {event: alarm, hold: 3 s}, {event: disarm, hold: 3 s}]\n" +
			"outputs: {OUT3: {expect: {arm-away: high, alarm: {pulses: 3, on: 200 ms, off: 200 ms}, disarm: low}}}\n", panel,
			"f.yaml:3:43: outputs.OUT3.expect.alarm: the output is to pulse 3 times, but the steps before alarm leave it high: add a step that makes it low before alarm", ""},
		{"nothing said of an output that flashes", trainOf("OUT3", "{flashing: true, on: 500 ms, off: 500 ms}", "any") + "  OUT4: {expect: {arm-away: {flashing: true, on: 500 ms, off: 500 ms}}}\n", panel,
			"f.yaml:6:10: outputs.OUT4.expect: from arm-away on the output flashes until disarm, where it may be high or low: expect high, low or any at disarm", ""},
		{"flashing into flashing, round the end", "name: n\nsteps: [{event: arm-away, hold: 3 s}]\noutputs: {OUT3: {expect: {arm-away: {flashing: true, on: 500 ms, off: 500 ms}}}}\n", panel,
			"f.yaml:3:27: outputs.OUT3.expect.arm-away: from arm-away on the output flashes until arm-away from cycle 2 on, where it may be high or low: expect high, low or any at arm-away, or run one cycle", ""},
		{"the panel is in the wrong state from cycle 2 on", "name: n\nsteps: [{event: arm-away, hold: 1 s}]\nbegins: disarmed\nevents: {arm-away: {needs: disarmed, leads_to: armed}}\n", panel,
			"f.yaml:2:17: steps[0].event: \"arm-away\": step 1, arm-away, needs the panel disarmed, and it is armed then from cycle 2 on; add a step before it that leads to disarmed, or run one cycle", ""},
		{"the panel is in the wrong state from cycle 2 on, run once", "name: n\ncycles: 1\nsteps: [{event: arm-away, hold: 1 s}]\nbegins: disarmed\nevents: {arm-away: {needs: disarmed, leads_to: armed}}\n", panel, "", ""},
		{"drive left in time", "name: n\nsteps: [{event: energize, hold: 59 s}, {event: release, hold: 90 s}]\n", relay, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			cautions, err := parse(c.src).Fits(c.rig)
			got := ""
			if err != nil {
				got = err.Error()
			}
			if d := cmp.Diff(c.want, got); d != "" {
				t.Error(d)
			}
			if got := strings.Join(cautions, "\n"); got != c.cautions {
				t.Errorf("cautions %q, want %q", got, c.cautions)
			}
		})
	}
}

// trainOf is a sequence of which an output has an expectation at arm-away and another at disarm.
func trainOf(output, away, disarm string) string {
	return "name: n\nsample: sweep\nsteps: [{event: arm-away, hold: 4 s}, {event: disarm, hold: 3 s}]\noutputs:\n" +
		"  " + output + ": {expect: {arm-away: " + away + ", disarm: " + disarm + "}}\n"
}

// A sequence made in Go has no file; what does not fit is said without a place.
func TestSequence_Fits_noFile(t *testing.T) {
	s := &Sequence{File: "made", Steps: []Step{step("energise", time.Second)}, Plan: analyze.Plan{Outputs: []analyze.OutputPlan{{Signal: "X"}}}}
	_, err := s.Fits(rigfile.Builtin()[1])
	want := "made: outputs.X: \"X\": the rig has no output of this name; use COIL (rig relay)\n" +
		"made: steps[0].event: \"energise\": the rig file does not define this event; did you mean energize? Use one of: energize, release (rig relay)"
	if err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
}

// voltsAlike takes two voltages that are not stated for equal.
var voltsAlike = cmp.Comparer(func(a, b unit.Volts) bool { return a == b || a != a && b != b })

// A rig of another kind is named as that, in one sentence, and not name by name.
func TestSequence_Fits_otherBench(t *testing.T) {
	panel, relay := rigfile.Builtin()[0], rigfile.Builtin()[1]
	for _, c := range []struct {
		sequence string
		rig      *wiring.Rig
		want     string
	}{
		{"armed-high", relay, "armed-high: this sequence needs a panel with the events arm-away, disarm and arm-stay, and rig relay is a relay bench with energize and release; use another rig or another sequence"},
		{"relay-only", panel, "relay-only: this sequence needs a rig with the events energize and release, and rig panel has arm-away, arm-stay, disarm, alarm and chime; use another rig or another sequence"},
	} {
		s, err := Load(t.Context(), c.sequence)
		if err != nil {
			t.Fatal(err)
		}
		_, err = s.Fits(c.rig)
		if err == nil || err.Error() != c.want || problem.KindOf(err) != problem.Input {
			t.Errorf("got  %v\nwant %s", err, c.want)
		}
	}
}

// A time that is refused is refused once: a deviation beside it has a time to compare with.
func TestParse_deviationBesideABadTime(t *testing.T) {
	for text, says := range map[string]bool{
		"{high: true, after: 0 s, within: 10 %}": false, "{pulse: 0 s, within: 10 %}": false, "{high: true, within: 10 %}": true,
	} {
		_, err := Parse("f.yaml", []byte("name: n\nsteps: [{event: a, hold: 3 s}]\noutputs: {O: {expect: {a: "+text+"}}}\n"))
		if err == nil || strings.Contains(err.Error(), "without after") != says {
			t.Errorf("%s: %v", text, err)
		}
	}
}
