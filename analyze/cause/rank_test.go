package cause

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// armedPlan is of one output that is high while armed, with a relay.
func armedPlan() *analyze.Plan {
	high, low := analyze.Expectation{Demand: analyze.High}, analyze.Expectation{Demand: analyze.Low}
	return &analyze.Plan{Steps: []string{"arm", "disarm"}, OthersUnmoved: true,
		Outputs: []analyze.OutputPlan{{Signal: "OUT3", Expect: map[string]analyze.Expectation{"arm": high, "disarm": low}, Relay: "K1"}},
		Relays:  []analyze.RelayPlan{{Signal: "K1", Make: "K1_NO", Break: "K1_NC"}}}
}

// healthyFigures are those of cycles in which all is well.
func healthyFigures(e *Evidence, cycles int) {
	e.Cycles = cycles
	for n := 1; n <= cycles; n++ {
		add := func(event, signal string, q analyze.Quantity, value float64) {
			e.Figure(&analyze.Measurement{Cycle: n, Event: event, Signal: signal, Quantity: q, Value: value, Verdict: analyze.Pass, Limit: analyze.Limit{Lower: math.NaN(), Upper: 100}})
		}
		add("arm", "OUT3", analyze.HighLevel, 13.2)
		add("arm", "OUT3", analyze.SwitchingDelay, 0.14)
		add("arm", "OUT3", analyze.Hold, 0)
		add("arm", "K1", analyze.OperateTime, 0.006)
		add("disarm", "OUT3", analyze.LowLevel, 0.65)
		add("disarm", "K1", analyze.ReleaseTime, 0.004)
		add("arm", "K1_NO", analyze.BounceTime, 0.001)
	}
}

func weldedEvidence() *Evidence {
	e := New(armedPlan())
	healthyFigures(e, 5)
	for n := 1; n <= 5; n++ {
		e.Symptom(analyze.Symptom{Cycle: n, Event: "disarm", Signal: "K1_NO", Kind: analyze.Welded, Other: "OUT3", Value: math.NaN(), Limit: math.NaN()})
	}
	return e
}

func TestRank_Quiet(t *testing.T) {
	t.Parallel()
	e := New(armedPlan())
	healthyFigures(e, 5)
	if all := Rank(Builtin(), e); len(all) > 0 {
		t.Errorf("of a healthy run %+v", all)
	}
	e.Symptom(analyze.Symptom{Cycle: 1, Event: "arm", Signal: "OUT3", Kind: analyze.NearLimit, Other: "high_level", Value: 13})
	for _, c := range Rank(Builtin(), e) {
		if c.Share > 0.3 {
			t.Errorf("of a figure near its limit %+v", c)
		}
	}
}

func TestRank_First(t *testing.T) {
	t.Parallel()
	all := Rank(Builtin(), weldedEvidence())
	if len(all) == 0 || all[0].Cause != "welded" || all[0].Place != "K1" || all[0].Share < 0.5 || !strings.Contains(all[0].Next, "K1") {
		t.Fatalf("%+v", all)
	}
	if w := all[0].Words(); w != "K1: the make contact has welded (welded)." {
		t.Errorf("%q", w)
	}
}

// Where no other output is watched, one that stays off and one whose address another one has
// look alike: both are told, and the measurement is one that tells them apart.
func TestRank_Unwatched(t *testing.T) {
	t.Parallel()
	e := New(armedPlan())
	e.plan.OthersUnmoved = false
	healthyFigures(e, 5)
	for n := 1; n <= 5; n++ {
		e.Symptom(analyze.Symptom{Cycle: n, Event: "arm", Signal: "OUT3", Kind: analyze.DidNotMove, Value: 0.65, Limit: math.NaN()})
	}
	all := Rank(Builtin(), e)
	if len(all) < 2 || all[0].Cause != "stuck-low" || all[1].Cause != "wrong-address" || all[1].Share < 0.3 {
		t.Fatalf("%+v", all)
	}
	if !strings.Contains(all[0].Next, "others: unmoved") && !strings.Contains(all[0].Next, "address") {
		t.Errorf("%q tells nothing of the address", all[0].Next)
	}
}

// What has no say in a verdict is put down to no cause by itself.
func TestRank_AllPasses(t *testing.T) {
	t.Parallel()
	e := New(armedPlan())
	healthyFigures(e, 5)
	for n := 1; n <= 5; n++ {
		e.Symptom(analyze.Symptom{Cycle: n, Event: "disarm", Signal: "OUT3", Kind: analyze.Undershoots, Other: "K1", Value: -20, Limit: 0.65})
	}
	if all := Rank(Builtin(), e); len(all) > 0 {
		t.Errorf("of a run in which all passes %+v", all)
	}
}

// What ended a run, and what each converter counted, is told with its place.
func TestRank_Rig(t *testing.T) {
	t.Parallel()
	noise := func(name string) capture.ConverterCounts {
		return capture.ConverterCounts{Converter: name, Counts: capture.Counts{BusErrors: 20}}
	}
	for want, show := range map[string]func(*Evidence){
		"reference-inverted@": func(e *Evidence) {
			e.Ending = capture.Ending{Code: capture.ReferenceReversed, Place: "REF", Other: "KEY", Value: 1}
		},
		"adc-lost@B": func(e *Evidence) {
			e.Ending, e.Counts.BusErrors = capture.Ending{Code: capture.ConverterSilent, Place: "B", Value: math.NaN()}, 20
			e.Converters = []capture.ConverterCounts{{Converter: "A"}, noise("B")}
		},
		"chip-reset@A": func(e *Evidence) {
			e.Complete, e.Counts.ChipResets = true, 1
			e.Converters = []capture.ConverterCounts{{Converter: "A", Counts: capture.Counts{ChipResets: 1}}, {Converter: "B"}}
		},
		"bus-noise@": func(e *Evidence) {
			e.Complete, e.Counts.BusErrors = true, 40
			e.Converters = []capture.ConverterCounts{noise("A"), noise("B")}
		},
	} {
		e := New(armedPlan())
		healthyFigures(e, 5)
		e.Complete = false
		show(e)
		all := Rank(Builtin(), e)
		if len(all) == 0 || all[0].Cause+"@"+all[0].Place != want || all[0].Share < 0.5 {
			t.Errorf("%+v, want %s", all, want)
		}
	}
	e := New(armedPlan())
	healthyFigures(e, 5)
	e.Complete, e.Ending = false, capture.Ending{Code: capture.Stopped}
	if all := Rank(Builtin(), e); len(all) > 0 {
		t.Errorf("of a run that somebody stopped %+v", all)
	}
}

// Trains of pulses point to what may be behind them.
func TestRank_Trains(t *testing.T) {
	t.Parallel()
	for kind, want := range map[analyze.Kind][]string{
		analyze.FewerPulses: {"missed-cycle", "early-fall", "loose-wire"}, analyze.ShortOn: {"wrong-pulse", "loose-wire"},
		analyze.StopsEarly: {"early-fall"}, analyze.DoesNotFlash: {"wrong-pulse"},
	} {
		e := New(armedPlan())
		healthyFigures(e, 5)
		for n := 1; n <= 5; n++ {
			e.Figure(&analyze.Measurement{Cycle: n, Event: "arm", Signal: "OUT3", Quantity: analyze.PulseCount, Value: 3})
			e.Symptom(analyze.Symptom{Cycle: n, Event: "arm", Signal: "OUT3", Kind: kind, Other: "pulse_count", Value: 2, Limit: 3})
		}
		all := Rank(Builtin(), e)
		for _, name := range want {
			if !slices.ContainsFunc(all, func(c Ranked) bool { return c.Cause == name }) {
				t.Errorf("of %s %+v, %s is missing", kind, all, name)
			}
		}
	}
}

// A coil without a diode is a danger, though no limit speaks of it.
func TestRank_NoDiode(t *testing.T) {
	t.Parallel()
	e := New(armedPlan())
	healthyFigures(e, 5)
	e.Symptom(analyze.Symptom{Cycle: 2, Event: "disarm", Signal: "OUT3", Kind: analyze.NoDiode, Other: "K1", Value: -20, Limit: 0.65})
	if all := Rank(Builtin(), e); len(all) == 0 || all[0].Cause != "no-flyback" || all[0].Place != "K1" {
		t.Errorf("%+v", all)
	}
}

// A second fault is found beside the first: neither hides the other, and the shares stay 1
// together.
func TestRank_Two(t *testing.T) {
	t.Parallel()
	e := weldedEvidence()
	for n := 1; n <= 5; n++ {
		e.Symptom(analyze.Symptom{Cycle: n, Event: "arm", Signal: "OUT3", Kind: analyze.Rippling, Other: "ripple", Value: 1, Limit: 0.5})
	}
	all := Rank(Builtin(), e)
	sum := 0.0
	names := map[string]float64{}
	for _, c := range all {
		names[c.Cause] = c.Share
		sum += c.Share
	}
	if names["welded"] < 0.3 || names["hum"] < 0.3 || sum > 1.001 {
		t.Fatalf("%+v", all)
	}
}

// What a run does not show is unknown: a log without figures still ranks by its symptoms.
func TestRank_NoFigures(t *testing.T) {
	t.Parallel()
	e := New(armedPlan())
	e.Cycles = 3
	for n := 1; n <= 3; n++ {
		e.Symptom(analyze.Symptom{Cycle: n, Event: "disarm", Signal: "K1_NO", Kind: analyze.Welded, Other: "OUT3", Value: math.NaN(), Limit: math.NaN()})
	}
	if all := Rank(Builtin(), e); len(all) == 0 || all[0].Cause != "welded" {
		t.Fatalf("%+v", all)
	}
}

// The evidence of a run of any length is of one size.
func TestEvidence_Bounded(t *testing.T) {
	t.Parallel()
	size := func(cycles int) int {
		e := New(armedPlan())
		healthyFigures(e, cycles)
		for n := 1; n <= cycles; n++ {
			e.Symptom(analyze.Symptom{Cycle: n, Event: "arm", Signal: "OUT3", Kind: analyze.Rippling, Value: 1})
		}
		return len(e.symptoms) + len(e.order) + len(e.figures) + len(e.rows)
	}
	if a, b := size(10), size(10_000); a != b {
		t.Errorf("%d entries after 10 cycles, %d after 10,000", a, b)
	}
}

// The expected information of a measurement between two causes that it tells surely is that of
// the question itself: one bit where both are as likely, 0.469 where one has 90 % (Shannon
// 1948, the entropy of 0.9 and 0.1).
func TestTells(t *testing.T) {
	t.Parallel()
	x := &measure{of: OfRelay, given: map[string]map[string]float64{"a": {"yes": 1 - 1e-12, "no": 1e-12}}, otherwise: map[string]float64{"yes": 1e-12, "no": 1 - 1e-12}}
	at := place{output: "OUT3", relay: "K1"}
	a, b := &hypothesis{cause: &Cause{Name: "a", Of: OfRelay}, place: at}, &hypothesis{cause: &Cause{Name: "b", Of: OfRelay}, place: at}
	for share, want := range map[float64]float64{0.5: 1, 0.9: 0.4690} {
		a.share, b.share = share, 1-share
		if bits := x.tells(a, b, at); math.Abs(bits-want) > 1e-4 {
			t.Errorf("with a share of %g: %.4f bits, want %.4f", share, bits, want)
		}
	}
	a.share, b.share = 0.5, 0.5
	if bits := x.tells(a, b, place{output: "OUT4", relay: "K2"}); bits > 1e-9 {
		t.Errorf("%.4f bits at a place of neither", bits)
	}
}

// BenchmarkRank ranks what a bench of sixteen outputs shows, four of them with relays.
func BenchmarkRank(b *testing.B) {
	e := weldedEvidence()
	for i := range 15 {
		o := analyze.OutputPlan{Signal: "X" + strconv.Itoa(i), Expect: e.plan.Outputs[0].Expect}
		if i < 3 {
			o.Relay = "Y" + strconv.Itoa(i)
			e.plan.Relays = append(e.plan.Relays, analyze.RelayPlan{Signal: o.Relay, Make: o.Relay + "_NO", Break: o.Relay + "_NC"})
		}
		e.plan.Outputs = append(e.plan.Outputs, o)
		for _, q := range []analyze.Quantity{analyze.HighLevel, analyze.LowLevel, analyze.SwitchingDelay, analyze.Hold} {
			e.Figure(&analyze.Measurement{Cycle: 1, Event: "arm", Signal: o.Signal, Quantity: q, Value: 0.65})
		}
	}
	for b.Loop() {
		Rank(Builtin(), e)
	}
}
