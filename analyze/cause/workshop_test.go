package cause_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

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
)

// shop is a bench that a workshop could have, with a job for it.
type shop struct {
	rig, job string // as files
	cycles   int
	seed     uint64
	outputs  []string          // that the job names, the first one first
	relays   map[string]string // relay behind an output
	coils    bool
	pulses   map[string]bool // outputs with a pulse
	arms     int             // ways of arming
	all      []string        // outputs of the rig, where another one is drawn
	volts    float64         // of the unit's outputs when on; 0: as drawn for 12 V
	unit     sim.UnitParams
	weights  sim.Weights // of its converters
}

// broad reports whether the bench is one of drawBroad.
func (s *shop) broad() bool { return s.unit != (sim.UnitParams{}) }

// pick returns one of the items.
func pick[T any](r *rand.Rand, all ...T) T { return all[r.IntN(len(all))] }

// around draws a value evenly.
func around(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }

// drawShop draws a bench. Everything that a workshop can choose varies: how many outputs there
// are, which of them the job is about, where relays hang, converters, dividers, sampling,
// limits, the job itself and how often it is done.
func drawShop(r *rand.Rand) *shop {
	for {
		if s := drawAny(r); s.fits() {
			return s
		}
	}
}

func drawAny(r *rand.Rand) *shop {
	switch r.IntN(10) {
	case 0, 1:
		return drawCoils(r)
	case 2, 3:
		return drawBuiltin(r)
	}
	return drawPanel(r)
}

func drawBuiltin(r *rand.Rand) *shop {
	name := pick(r, "armed-high", "armed-high", "armed-high", "armed-low", "armed-pulse", "alarm-latch", "relay-only", "exit-delay")
	s := &shop{job: name, cycles: 2 + r.IntN(8), seed: r.Uint64N(1 << 40), relays: map[string]string{}, pulses: map[string]bool{}, arms: 2}
	switch name {
	case "armed-high":
		s.outputs, s.relays["OUT3"] = []string{"OUT3"}, "K1"
	case "armed-low":
		s.outputs = []string{"OUT4"}
	case "armed-pulse":
		s.outputs, s.pulses["OUT5"] = []string{"OUT5"}, true
	case "alarm-latch":
		s.outputs, s.arms = []string{"OUT7"}, 1
	case "exit-delay":
		s.outputs, s.arms = []string{"OUT6"}, 1
	case "relay-only":
		s.outputs, s.relays["COIL"], s.coils = []string{"COIL"}, "K1", true
	}
	return s
}

// chipsAndOutputs writes the converters and n outputs; all names are drawn.
func chipsAndOutputs(b *strings.Builder, r *rand.Rand, n int, prefix string) []string {
	per := 4
	chips := (n + per - 1) / per
	if n <= 4 && r.IntN(2) == 0 {
		chips = min(n, 1+r.IntN(3))
		per = (n + chips - 1) / chips
	}
	fmt.Fprintf(b, "chips:\n")
	used := 0
	mode := pick(r, "follow", "sweep", "sweep")
	for i := range chips {
		model, rate := "ADS1115", pick(r, 860, 860, 475, 250)
		if r.IntN(3) == 0 {
			model, rate = "ADS1015", pick(r, 1600, 2400, 3300)
		}
		if mode == "sweep" || r.IntN(2) == 0 {
			mode = pick(r, "follow", "sweep", "sweep")
		}
		ready := ""
		if r.IntN(3) > 0 {
			ready = fmt.Sprintf(", ready: {chip: gpiochip0, line: %d}", 20+i)
		}
		fmt.Fprintf(b, "  %c: {model: %s, address: 0x%x, range: 4.096 V, rate: %d /s, supply: 3.3 V, sample: %s%s}\n", 'A'+i, model, 0x48+i, rate, mode, ready)
	}
	fmt.Fprintf(b, "outputs:\n")
	first := 1 + r.IntN(3)
	var names []string
	upper := pick(r, "39 kohm", "47 kohm", "56 kohm")
	tolerance := pick(r, "1 %", "1 %", "0.1 %")
	for i := range n {
		name := fmt.Sprintf("%s%d", prefix, first+i)
		names = append(names, name)
		fmt.Fprintf(b, "  %s: {chip: %c, channel: %d, divider: {upper: %s, lower: 10 kohm, tolerance: %s}}\n", name, 'A'+used/per, used%per, upper, tolerance)
		used++
	}
	return names
}

func limitsText(b *strings.Builder, r *rand.Rand, coils bool) {
	fmt.Fprintf(b, "limits:\n  out:\n")
	fmt.Fprintf(b, "    high_level: {min: %.1f V, max: %.1f V}\n", around(r, 11, 12.6), around(r, 14.3, 15))
	fmt.Fprintf(b, "    low_level: {max: %.2f V}\n", around(r, 0.9, 1.2))
	if !coils {
		fmt.Fprintf(b, "    switching_delay: {max: %d ms}\n", 250+r.IntN(500))
	}
	if r.IntN(4) > 0 {
		fmt.Fprintf(b, "    ripple: {max: %.2f V}\n", around(r, 0.3, 0.6))
	}
	if r.IntN(5) > 0 {
		fmt.Fprintf(b, "    hold: {max: 0 s}\n")
	}
	fmt.Fprintf(b, "  relay:\n    operate_time: {max: %d ms}\n    release_time: {max: %d ms}\n    bounce_time: {max: %.1f ms}\n    transfer_time: {min: 0 s}\n",
		13+r.IntN(7), 9+r.IntN(6), around(r, 4.5, 7))
	fmt.Fprintf(b, "    pull_in_margin: {min: %.1f V}\n    drop_out_margin: {min: %.1f V}\n", around(r, 0.5, 1.5), around(r, 0.1, 0.3))
}

func relayText(b *strings.Builder, r *rand.Rand, all []string) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintf(b, "relays:\n")
	for _, k := range all {
		fmt.Fprintf(b, "  %s: {make: %s_NO, break: %s_NC, must_operate: %.1f V, must_release: %.1f V, limits: relay}\n", k, k, k, pick(r, 8.4, 9, 9.6), pick(r, 1.2, 1.2, 1.3))
	}
}

func contactsText(b *strings.Builder, all []string) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintf(b, "contacts:\n")
	for i, k := range all {
		fmt.Fprintf(b, "  %s_NO: {chip: gpiochip0, line: %d}\n  %s_NC: {chip: gpiochip0, line: %d}\n", k, 2*i+9, k, 2*i+10)
	}
}

// drawPanel draws a panel with outputs, some of them with relays.
func drawPanel(r *rand.Rand) *shop {
	s := &shop{cycles: 2 + r.IntN(9), seed: r.Uint64N(1 << 40), relays: map[string]string{}, pulses: map[string]bool{}}
	var rig, job strings.Builder
	fmt.Fprintf(&rig, "name: shop\nbus: simulated\n")
	names := chipsAndOutputs(&rig, r, 1+r.IntN(12), "OUT")
	named := append([]string(nil), names...)
	r.Shuffle(len(named), func(i, j int) { named[i], named[j] = named[j], named[i] })
	named = named[:min(len(named), pick(r, 1, 1, 2, 2, 3, 4))]
	s.outputs = named
	var relays []string
	for i, o := range named {
		if r.IntN(3) > 0 {
			s.relays[o] = fmt.Sprintf("K%d", i+1)
			relays = append(relays, s.relays[o])
		}
	}
	contactsText(&rig, relays)
	ref := r.IntN(2) == 0
	if ref {
		fmt.Fprintf(&rig, "references:\n  REF: {chip: gpiochip0, line: 25}\n")
	}
	fmt.Fprintf(&rig, "drives:\n")
	events := []string{"arm-away", "arm-stay", "disarm", "alarm"}
	for i := range events {
		fmt.Fprintf(&rig, "  D%d: {chip: gpiochip0, line: %d, longest_on: 5 s}\n", i, 5+i)
	}
	fmt.Fprintf(&rig, "events:\n")
	for i, e := range events {
		by := ""
		if ref && i < 3 {
			by = ", reference: REF"
		}
		fmt.Fprintf(&rig, "  %s: {drive: D%d, pulse: %d ms%s}\n", e, i, 200+100*r.IntN(3), by)
	}
	s.rig = rig.String()

	steps := pick(r,
		[]string{"arm-away", "disarm", "arm-stay", "disarm"},
		[]string{"arm-away", "disarm", "arm-stay", "disarm"},
		[]string{"arm-away", "disarm"},
		[]string{"arm-away", "alarm", "disarm"},
		[]string{"arm-stay", "disarm", "arm-away", "alarm", "disarm"})
	for _, e := range steps {
		if strings.HasPrefix(e, "arm-") {
			s.arms++
		}
	}
	hold := time.Duration(2200+100*r.IntN(15)) * time.Millisecond
	fmt.Fprintf(&job, "name: job\ncycles: 5\nsteps:\n")
	for _, e := range steps {
		fmt.Fprintf(&job, "  - {event: %s, hold: %d ms}\n", e, hold.Milliseconds())
	}
	has := map[string]bool{}
	for _, e := range steps {
		has[e] = true
	}
	fmt.Fprintf(&job, "outputs:\n")
	for i, o := range named {
		kind := r.IntN(8)
		var expect []string
		add := func(e, d string) {
			if has[e] {
				expect = append(expect, e+": "+d)
			}
		}
		switch {
		case kind == 0: // as a ready lamp
			add("arm-away", "low")
			add("arm-stay", "low")
			add("disarm", "high")
		case kind == 1: // as a beep
			p := fmt.Sprintf("{pulse: %d ms, within: 10 %%}", 500+100*r.IntN(8))
			add("arm-away", p)
			add("arm-stay", p)
			add("disarm", "low")
			s.pulses[o] = true
		case kind == 2: // after an exit delay
			p := fmt.Sprintf("{high: true, after: %d ms, within: 25 %%}", 1000+100*r.IntN(5))
			add("arm-away", p)
			add("arm-stay", p)
			add("disarm", "low")
		case kind == 3 && has["alarm"]:
			add("alarm", "high")
			add("disarm", "low")
		case kind == 4 && has["arm-away"] && i > 0: // away only
			add("arm-away", "high")
			add("disarm", "low")
		default:
			add("arm-away", "high")
			add("arm-stay", "high")
			add("disarm", "low")
		}
		relay := ""
		if k := s.relays[o]; k != "" {
			relay = ", relay: " + k
		}
		fmt.Fprintf(&job, "  %s: {expect: {%s}, limits: out%s}\n", o, strings.Join(expect, ", "), relay)
	}
	if r.IntN(5) > 0 {
		fmt.Fprintf(&job, "others: unmoved\n%s", pick(r, "sample: sweep\n", ""))
	}
	relayText(&job, r, relays)
	limitsText(&job, r, false)
	s.job = job.String()
	return s
}

// drawCoils draws a bench for relays alone.
func drawCoils(r *rand.Rand) *shop {
	s := &shop{cycles: 3 + r.IntN(20), seed: r.Uint64N(1 << 40), relays: map[string]string{}, pulses: map[string]bool{}, coils: true}
	var rig, job strings.Builder
	fmt.Fprintf(&rig, "name: shop\nbus: simulated\n")
	names := chipsAndOutputs(&rig, r, 1, "COIL")
	s.outputs = names
	k := pick(r, "K1", "K2", "KX")
	s.relays[names[0]] = k
	contactsText(&rig, []string{k})
	fmt.Fprintf(&rig, "drives:\n  D: {chip: gpiochip0, line: 5, coil: true, longest_on: 1 min}\nevents:\n  energize: {drive: D, set: on}\n  release: {drive: D, set: off}\n")
	s.rig = rig.String()
	hold := 120 + 10*r.IntN(20)
	fmt.Fprintf(&job, "name: job\ncycles: 5\nbaseline: 150 ms\nsteps:\n  - {event: energize, hold: %d ms}\n  - {event: release, hold: %d ms}\n", hold, hold)
	fmt.Fprintf(&job, "outputs:\n  %s: {expect: {energize: high, release: low}, limits: out, relay: %s}\n", names[0], k)
	relayText(&job, r, []string{k})
	limitsText(&job, r, true)
	s.job = job.String()
	return s
}

// ran is what a run on a bench showed.
type ran struct {
	plan     *analyze.Plan
	symptoms []analyze.Symptom
	figures  []analyze.Measurement
	counts   capture.Counts
	// converters say what each has of the counts.
	converters []capture.ConverterCounts
	cycles     int
	verdict    analyze.Verdict
	err        error
	// unreferenced says that the rig has no reference line.
	unreferenced bool
}

// open reads the shop's files.
func (s *shop) open(t testing.TB) (*wiring.Rig, *sequences.Sequence) {
	t.Helper()
	if s.rig == "" {
		seq, err := sequences.Load(t.Context(), s.job)
		if err != nil {
			t.Fatal(err)
		}
		return setup.BenchFor(seq), seq
	}
	rig, err := rigfile.Parse("shop.yaml", []byte(s.rig))
	if err != nil {
		t.Fatalf("%v\n%s", err, s.rig)
	}
	seq, err := sequences.Parse("job.yaml", []byte(s.job))
	if err != nil {
		t.Fatalf("%v\n%s", err, s.job)
	}
	if _, err := seq.Fits(rig); err != nil {
		t.Fatalf("%v\n%s\n%s", err, s.rig, s.job)
	}
	return rig, seq
}

// fits reports whether the job can be done on the rig.
func (s *shop) fits() bool {
	if s.rig == "" {
		return true
	}
	rig, err := rigfile.Parse("shop.yaml", []byte(s.rig))
	if err != nil {
		return false
	}
	seq, err := sequences.Parse("job.yaml", []byte(s.job))
	if err != nil {
		return false
	}
	_, err = seq.Fits(rig)
	return err == nil
}

// bench opens the shop's bench with faults planted.
func (s *shop) bench(rig *wiring.Rig, seq *sequences.Sequence, faults []sim.Fault) (*bench.Bench, error) {
	if s.volts == 0 && s.unit == (sim.UnitParams{}) {
		return setup.Open(rig, seq, setup.Simulation{Seed: s.seed, Faults: faults}, bench.Opts{})
	}
	unit := setup.Unit(rig, seq)
	unit.Seed, unit.Faults = s.seed, faults
	// A unit of 24 V has relays of 24 V: four times the resistance, twice the voltages.
	unit.Weights, unit.Unit = s.weights, s.unit
	if s.volts > 0 {
		unit.Unit.PullInVolts, unit.Unit.DropOutVolts = 13.6, 4.4
	}
	if s.volts > 0 && s.unit.HighVolts == 0 {
		unit.Unit = sim.UnitParams{HighVolts: s.volts, LowVolts: 1.3, OffOhms: 4000, OnOhms: 24, CoilOhms: 1600, PullInVolts: 13.6, DropOutVolts: 4.4}
	}
	world, err := sim.NewWorld(rig, unit)
	if err != nil {
		return nil, err
	}
	lines, err := world.Lines(bench.Requests(rig))
	if err != nil {
		return nil, err
	}
	return bench.Open(rig, world.Bus(), lines, bench.Opts{Outputs: seq.Sampled(rig), Mode: seq.Sample, Act: world.Act})
}

// run does the shop's job with faults planted. possible is false where this bench cannot have
// them.
func (s *shop) run(t testing.TB, faults ...sim.Fault) (r ran, possible bool) {
	t.Helper()
	rig, seq := s.open(t)
	b, err := s.bench(rig, seq, faults)
	if err != nil {
		return ran{err: err}, false
	}
	defer b.Close()
	plan := seq.Plan
	plan.Coils = rig.SwitchesCoils()
	r.unreferenced = !seq.Referenced(rig)
	r.plan = &plan
	outcome, err := runner.Run(context.Background(), b, seq, runner.Opts{First: 1, Last: s.cycles, Now: time.Now,
		OnCycle: func(c *journal.Cycle) {
			r.symptoms = append(r.symptoms, c.Symptoms...)
			r.figures = append(r.figures, c.Measurements...)
		}})
	r.verdict, r.counts, r.err, r.cycles = outcome.Gravest, outcome.Counts, err, max(1, outcome.Cycles)
	r.converters = outcome.Converters
	return r, true
}
