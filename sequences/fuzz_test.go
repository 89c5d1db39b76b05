package sequences

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"makebreak/analyze"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/rig/yamlfile"
	_ "makebreak/testdata/fixedseed"
)

// Whatever the text, Parse neither panics nor returns a sequence that breaks its own rules,
// and every error is one of the file.
func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"builtin/*.yaml", "../testdata/sequences/*.yaml", "../testdata/sequences/bad/*.yaml"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			f.Fatalf("%s: %d files, %v", pattern, len(files), err)
		}
		for _, file := range files {
			src, err := os.ReadFile(file)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(src)
		}
	}
	panel := rigfile.Builtin()[0]
	f.Fuzz(func(t *testing.T, src []byte) {
		s, err := Parse("f.yaml", src)
		if err != nil {
			if one := new(yamlfile.Error); !errors.As(err, &one) || one.File != "f.yaml" {
				t.Fatalf("not an error of the file: %v", err)
			}
			return
		}
		if s.Name == "" || s.Cycles < 1 || len(s.Steps) == 0 || len(s.Steps) != len(s.Plan.Steps) {
			t.Fatalf("a sequence without what it needs: %+v", s)
		}
		for _, step := range s.Steps {
			if step.Hold <= 0 {
				t.Fatalf("a step of %v", step.Hold)
			}
		}
		for _, o := range s.Plan.Outputs {
			if o.Relay != "" && s.Plan.Relay(o.Relay) == nil {
				t.Fatalf("relay %q does not exist", o.Relay)
			}
			for event, x := range o.Expect {
				train := x.Demand == analyze.Train
				if !slices.Contains(s.Plan.Steps, event) || x.Demand == analyze.Pulse && !(x.After > 0) || train != (x.On > 0) || train != (x.Off > 0) ||
					!train && (x.Pulses != 0 || x.For != 0) || x.Pulses > 0 && x.For > 0 {
					t.Fatalf("expectation %+v at %s", x, event)
				}
			}
		}
		s.Fits(panel)
	})
}

// A sequence written out as a file is read back as it was.
func TestParse_roundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := drawSequence(t)
		text := written(want)
		got, err := Parse("f.yaml", []byte(text))
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		got.Cautions = nil
		if d := diff(want, got); d != "" {
			t.Fatalf("%s\n%s", d, text)
		}
	})
}

func drawSequence(t *rapid.T) *Sequence {
	ms := func(label string, low, high int) time.Duration {
		return time.Duration(rapid.IntRange(low, high).Draw(t, label)) * time.Millisecond
	}
	s := &Sequence{
		Name:     rapid.StringMatching(`[A-Za-z0-9][A-Za-z0-9 #:'"é-]{0,20}[A-Za-z]`).Draw(t, "name"),
		About:    rapid.SampledFrom([]string{"", "Words: with a colon, 'quotes' and # marks."}).Draw(t, "about"),
		Cycles:   rapid.IntRange(1, 10_000_000).Draw(t, "cycles"),
		Baseline: ms("baseline", 0, 5000),
		Sample:   rapid.SampledFrom([]wiring.Mode{"", wiring.Sweep, wiring.Follow}).Draw(t, "sample"),
	}
	s.Plan.OthersUnmoved = rapid.Bool().Draw(t, "others")
	s.Plan.Decide = rapid.SampledFrom([]analyze.Rule{analyze.Guarded, analyze.Simple}).Draw(t, "decide")
	events := rapid.SliceOfNDistinct(rapid.StringMatching(`[a-z0-9][a-z0-9_-]{0,10}`), 1, 4, rapid.ID).Draw(t, "events")
	for _, e := range events {
		s.Steps = append(s.Steps, Step{Event: e, Cause: rapid.SampledFrom([]string{e, "arm-away"}).Draw(t, "cause"), Hold: ms("hold", 10_000, 100_000)})
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "moves") {
		m := drawMove(t)
		s.Steps = append(s.Steps, Step{Event: fmt.Sprintf("supply-%d", i), Supply: &m, Hold: ms("hold", 10_000, 100_000)})
		if i == 0 {
			s.Plan.Moves = map[string]analyze.Move{}
		}
		s.Plan.Moves[fmt.Sprintf("supply-%d", i)] = m
	}
	for _, step := range s.Steps {
		s.Plan.Steps = append(s.Plan.Steps, step.Event)
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "outputs") {
		o := analyze.OutputPlan{Signal: fmt.Sprintf("OUT%d", i+1), Expect: map[string]analyze.Expectation{}, Limits: drawLimits(t, ofOutput)}
		for _, e := range events {
			o.Expect[e] = drawExpectation(t)
		}
		if rapid.Bool().Draw(t, "relay") {
			k := analyze.RelayPlan{Signal: fmt.Sprintf("K%d", i+1), Make: fmt.Sprintf("K%d_NO", i+1),
				MustOperate: 9, MustRelease: rapid.SampledFrom([]unit.Volts{0.6, 1.2}).Draw(t, "release"), Limits: drawLimits(t, ofRelay)}
			o.Relay = k.Signal
			s.Plan.Relays = append(s.Plan.Relays, k)
		}
		s.Plan.Outputs = append(s.Plan.Outputs, o)
	}
	return s
}

func drawMove(t *rapid.T) analyze.Move {
	m := analyze.Move{To: unit.Volts(rapid.IntRange(0, 15).Draw(t, "to"))}
	if rapid.Bool().Draw(t, "ramp") {
		m.From, m.Over = m.To+unit.Volts(rapid.IntRange(1, 20).Draw(t, "from")), time.Duration(rapid.IntRange(1, 9000).Draw(t, "over"))*time.Millisecond
	}
	return m
}

func drawExpectation(t *rapid.T) analyze.Expectation {
	x := analyze.Expectation{Demand: rapid.SampledFrom([]analyze.Demand{analyze.Any, analyze.High, analyze.Low, analyze.Unmoved, analyze.Pulse, analyze.Train}).Draw(t, "demand")}
	if x.Demand == analyze.Train {
		return drawTrain(t)
	}
	timed := x.Demand == analyze.Pulse || (x.Demand == analyze.High || x.Demand == analyze.Low) && rapid.Bool().Draw(t, "timed")
	if timed {
		x.After = time.Duration(rapid.IntRange(1, 5000).Draw(t, "after")) * time.Millisecond
		x.Within = float64(rapid.IntRange(1, 50).Draw(t, "within")) / 100
	}
	return x
}

func drawTrain(t *rapid.T) analyze.Expectation {
	ms := func(label string, low, high int) time.Duration {
		return time.Duration(rapid.IntRange(low, high).Draw(t, label)) * time.Millisecond
	}
	x := analyze.Expectation{Demand: analyze.Train, On: ms("on", 50, 500), Off: ms("off", 50, 500), After: ms("after", 0, 1000),
		Within: float64(rapid.IntRange(1, 50).Draw(t, "within")) / 100}
	switch rapid.SampledFrom([]string{"pulses", "flashing", "flashing for"}).Draw(t, "train") {
	case "pulses":
		x.Pulses = rapid.IntRange(2, 5).Draw(t, "pulses")
	case "flashing for":
		x.For = ms("for", 2000, 4000)
	}
	return x
}

func drawLimits(t *rapid.T, of user) analyze.Limits {
	all := slices.DeleteFunc(analyze.Quantities(), func(q analyze.Quantity) bool { return belongs(q) != of })
	limits := analyze.Limits{}
	for _, q := range rapid.SliceOfNDistinct(rapid.SampledFrom(all), 1, 3, rapid.ID).Draw(t, "quantities") {
		lower, upper := rapid.IntRange(0, 100).Draw(t, "lower"), rapid.IntRange(100, 200).Draw(t, "upper")
		limits[q] = rapid.SampledFrom([]analyze.Limit{
			{Lower: float64(lower), Upper: float64(upper)}, atLeast(float64(lower)), atMost(float64(upper)),
		}).Draw(t, "limit")
	}
	return limits
}

// written is the sequence as a file, values in milliseconds and per cent.
func written(s *Sequence) string {
	var b strings.Builder
	fmt.Fprintf(&b, "name: %q\ncycles: %d\nbaseline: %d ms\ndecide: %s\n", s.Name, s.Cycles, s.Baseline.Milliseconds(), s.Plan.Decide)
	if s.About != "" {
		fmt.Fprintf(&b, "about: %q\n", s.About)
	}
	if s.Sample != "" {
		fmt.Fprintf(&b, "sample: %s\n", s.Sample)
	}
	if s.Plan.OthersUnmoved {
		b.WriteString("others: unmoved\n")
	}
	b.WriteString("steps:\n")
	for _, step := range s.Steps {
		fmt.Fprintf(&b, "- hold: %d ms\n", step.Hold.Milliseconds())
		if step.Event != step.Cause {
			fmt.Fprintf(&b, "  as: %q\n", step.Event)
		}
		switch m := step.Supply; {
		case m == nil:
			fmt.Fprintf(&b, "  event: %q\n", step.Cause)
		case m.Ramp():
			fmt.Fprintf(&b, "  supply: {from: %g V, to: %g V, over: %g s}\n", float64(m.From), float64(m.To), m.Over.Seconds())
		default:
			fmt.Fprintf(&b, "  supply: %g V\n", float64(m.To))
		}
	}
	writeOutputs(&b, s.Plan.Outputs)
	if len(s.Plan.Relays) > 0 {
		b.WriteString("relays:\n")
	}
	for _, k := range s.Plan.Relays {
		fmt.Fprintf(&b, "  %s: {make: %s, must_operate: %g V, must_release: %g V, limits: %s}\n", k.Signal, k.Make, float64(k.MustOperate), float64(k.MustRelease), writtenLimits(k.Limits))
	}
	return b.String()
}

func writeOutputs(b *strings.Builder, outputs []analyze.OutputPlan) {
	if len(outputs) > 0 {
		b.WriteString("outputs:\n")
	}
	for _, o := range outputs {
		fmt.Fprintf(b, "  %s:\n    limits: %s\n    expect:\n", o.Signal, writtenLimits(o.Limits))
		for _, e := range slices.Sorted(maps.Keys(o.Expect)) {
			fmt.Fprintf(b, "      %q: %s\n", e, writtenExpectation(o.Expect[e]))
		}
		if o.Relay != "" {
			fmt.Fprintf(b, "    relay: %s\n", o.Relay)
		}
	}
}

func writtenExpectation(x analyze.Expectation) string {
	switch {
	case x.Demand == analyze.Train:
		text := fmt.Sprintf("{on: %d ms, off: %d ms, within: %.0f %%", x.On.Milliseconds(), x.Off.Milliseconds(), x.Within*100)
		if x.After > 0 {
			text += fmt.Sprintf(", after: %d ms", x.After.Milliseconds())
		}
		switch {
		case x.Pulses > 0:
			return text + fmt.Sprintf(", pulses: %d}", x.Pulses)
		case x.For > 0:
			return text + fmt.Sprintf(", flashing: true, for: %d ms}", x.For.Milliseconds())
		}
		return text + ", flashing: true}"
	case x.Demand == analyze.Pulse:
		return fmt.Sprintf("{pulse: %.0f ms, within: %.0f %%}", float64(x.After.Milliseconds()), x.Within*100)
	case x.After > 0:
		return fmt.Sprintf("{%s: true, after: %.0f ms, within: %.0f %%}", x.Demand, float64(x.After.Milliseconds()), x.Within*100)
	}
	return x.Demand.String()
}

func writtenLimits(limits analyze.Limits) string {
	var parts []string
	for _, q := range slices.Sorted(maps.Keys(limits)) {
		var bounds []string
		for _, x := range []struct {
			key   string
			value float64
		}{{"min", limits[q].Lower}, {"max", limits[q].Upper}} {
			if math.IsNaN(x.value) {
				continue
			}
			word := " " + q.Unit()
			if word == " 1" {
				word = ""
			}
			bounds = append(bounds, fmt.Sprintf("%s: %g%s", x.key, x.value, word))
		}
		parts = append(parts, fmt.Sprintf("%s: {%s}", q, strings.Join(bounds, ", ")))
	}
	return "{" + strings.Join(parts, ", ") + "}"
}
