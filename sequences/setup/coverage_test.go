package setup_test

import (
	"fmt"
	"maps"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/bench"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
	"makebreak/testdata/few"
	"makebreak/testdata/goldenfile"
)

// coverage counts, for one quantity, how often its 95 % interval held the truth.
type coverage struct {
	n, inside int
	sumU      float64
	// wrong counts units that would have passed although their true value lies outside
	// the limit, by any share of U up to a whole one.
	wrong int
}

// decide judges a figure by limits that its true value breaks by a share of U: a
// maximum just below it and a minimum just above. By the guarded rule it passes
// where the whole interval meets the limit (JCGM 106:2012, 8.3.2).
func (c *coverage) decide(value, u, truth, share float64) {
	if value+u <= truth-share*u {
		c.wrong++
	}
	if value-u >= truth+share*u {
		c.wrong++
	}
}

func (c *coverage) share() float64 { return float64(c.inside) / float64(c.n) }

func (c *coverage) wrongShare() float64 { return float64(c.wrong) / float64(2*c.n) }

// truths looks up what a figure should have been. NaN: the simulator has no truth
// of it.
type truths struct {
	world  *sim.Truth
	events []sim.TruthEvent // the named ones, in order
	plan   *analyze.Plan
}

func (t *truths) of(i int, m *analyze.Measurement) float64 {
	e := t.events[i]
	switch m.Quantity {
	case analyze.LowLevel, analyze.HighLevel:
		return t.level(m.Signal, m.Quantity == analyze.HighLevel)
	case analyze.PullInMargin:
		r := t.plan.Relay(m.Signal)
		return t.level(t.outputOf(m.Signal), true) - float64(r.MustOperate)
	case analyze.DropOutMargin:
		r := t.plan.Relay(m.Signal)
		return float64(r.MustRelease) - t.level(t.outputOf(m.Signal), false)
	case analyze.PullInVoltage, analyze.DropOutVoltage:
		for _, r := range t.world.Relays {
			if r.Name == m.Signal && m.Quantity == analyze.PullInVoltage {
				return r.PullInVolts
			} else if r.Name == m.Signal {
				return r.DropOutVolts
			}
		}
	case analyze.SwitchingDelay:
		for _, c := range e.Crossings {
			if c.Output == m.Signal {
				return c.At.Sub(e.At).Seconds()
			}
		}
	case analyze.TransitionDuration:
		for _, c := range e.Crossings {
			if c.Output == m.Signal {
				return c.Duration.Seconds()
			}
		}
	case analyze.Hold:
		return t.away(i, m.Signal)
	case analyze.PulseDuration:
		var at []float64
		for _, c := range e.Crossings {
			if c.Output == m.Signal {
				at = append(at, c.At.Sub(e.At).Seconds())
			}
		}
		if len(at) == 2 {
			return at[1] - at[0]
		}
	case analyze.OnTime, analyze.OffTime, analyze.FlashingDuration:
		return t.train(e, m)
	case analyze.OperateTime, analyze.ReleaseTime, analyze.TransferTime, analyze.BounceTime:
		for _, c := range e.Changes {
			switch {
			case m.Quantity == analyze.BounceTime && c.Closing.Contact == m.Signal:
				return c.Closing.Time.Seconds()
			case m.Quantity == analyze.BounceTime && c.Opening.Contact == m.Signal:
				return c.Opening.Time.Seconds()
			case c.Relay == m.Signal && m.Quantity == analyze.TransferTime:
				return c.Transfer.Seconds()
			case c.Relay == m.Signal && (m.Quantity == analyze.OperateTime) == c.In && m.Quantity != analyze.BounceTime:
				return c.Time.Seconds()
			}
		}
	}
	return math.NaN()
}

// train is how long an output was on, or off, in a train, the pulse or the time between two that
// lies nearest to what was measured: each must be held, and they are nearly alike. The last one
// that is cut short by the train's end is none.
func (t *truths) train(e sim.TruthEvent, m *analyze.Measurement) float64 {
	var at []float64
	for _, c := range e.Crossings {
		if c.Output == m.Signal {
			at = append(at, c.At.Sub(e.At).Seconds())
		}
	}
	if len(at) < 4 {
		return math.NaN()
	}
	if m.Quantity == analyze.FlashingDuration {
		return at[len(at)-1] - at[0]
	}
	first := 0
	if m.Quantity == analyze.OffTime {
		first = 1
	}
	best := math.NaN()
	for i := first; i+1 < len(at); i += 2 {
		if x := at[i+1] - at[i]; !(math.Abs(x-m.Value) >= math.Abs(best-m.Value)) {
			best = x
		}
	}
	return best
}

// settling is how long after its switching an output has settled by any measure: analyze gives
// it somewhat less.
const settling = 0.25

// away is for how long an output, once settled on, was seen away from its level: for the
// longest time for which its sense wire was off, or, where it fell back, until the next event.
// NaN: it never was, or the wire was off as well when the event or the switching came.
func (t *truths) away(i int, output string) float64 {
	e := t.events[i]
	var at []float64
	for _, c := range e.Crossings {
		if c.Output == output {
			at = append(at, c.At.Sub(e.At).Seconds())
		}
	}
	if len(at) == 2 && i+1 < len(t.events) {
		return t.events[i+1].At.Sub(e.At).Seconds() - at[1]
	}
	if len(at) != 1 || !e.Crossings[0].High || i > 0 && off(t.events[i-1].WireOff) {
		return math.NaN()
	}
	longest := math.NaN()
	for _, w := range e.WireOff {
		if w.To == 0 || w.From.Sub(e.At).Seconds() < at[0]+settling {
			return math.NaN()
		}
		if s := w.To.Sub(w.From).Seconds(); !(s < longest) {
			longest = s
		}
	}
	return longest
}

// off reports whether a wire was off to the event's end.
func off(spells []sim.WireOff) bool {
	return slices.ContainsFunc(spells, func(w sim.WireOff) bool { return w.To == 0 })
}

func (t *truths) outputOf(relay string) string {
	for _, o := range t.plan.Outputs {
		if o.Relay == relay {
			return o.Signal
		}
	}
	return ""
}

func (t *truths) level(output string, high bool) float64 {
	for _, o := range t.world.Outputs {
		if o.Name == output && high {
			return o.High
		} else if o.Name == output {
			return o.Low
		}
	}
	return math.NaN()
}

// cover runs one cycle of a sequence on one simulated bench and compares every
// figure with the simulator's truth. opts are what is not drawn.
func cover(t *testing.T, seq *sequences.Sequence, opts sim.Opts, add func(q analyze.Quantity, value, u, truth float64)) {
	t.Helper()
	coverOn(t, setup.BenchFor(seq), seq, opts, add)
}

// coverOn does so on a rig.
func coverOn(t *testing.T, rig *wiring.Rig, seq *sequences.Sequence, opts sim.Opts, add func(q analyze.Quantity, value, u, truth float64)) {
	t.Helper()
	for i := range seq.Steps { // states long enough to settle; the exit delay stays
		if seq.Steps[i].Hold < 4*time.Second {
			seq.Steps[i].Hold = min(seq.Steps[i].Hold, time.Second)
		}
	}
	var events []sim.TruthEvent
	opts.OnTruth = func(e sim.TruthEvent) {
		if e.Name != "" {
			e.Crossings, e.Edges, e.Changes = slices.Clone(e.Crossings), nil, slices.Clone(e.Changes)
			events = append(events, e)
		}
	}
	got, truth := measuredOn(t, rig, seq, opts)
	acts := slices.DeleteFunc(slices.Clone(seq.Steps), func(s sequences.Step) bool { return s.Supply != nil })
	if len(events) != len(acts) {
		t.Fatalf("the simulator tells of %d events, the sequence has %d", len(events), len(acts))
	}
	x := truths{world: truth, events: events, plan: &seq.Plan}
	step, last := -1, ""
	for i := range got {
		m := &got[i]
		if m.Event == "" {
			continue
		}
		if _, moves := seq.Plan.Moves[m.Event]; m.Event != last && !moves { // no sequence here has one event twice in a row
			step, last = step+1, m.Event
		}
		if v := x.of(step, m); !math.IsNaN(v) && !math.IsNaN(m.Expanded) {
			add(m.Quantity, m.Value, m.Expanded, v)
		}
	}
}

// measuredOn runs one cycle of a sequence on a simulated bench and returns its figures and
// what the simulator knows of it.
func measuredOn(t *testing.T, rig *wiring.Rig, seq *sequences.Sequence, opts sim.Opts) ([]analyze.Measurement, *sim.Truth) {
	t.Helper()
	cycles, truth := cyclesOn(t, rig, seq, 1, opts)
	return cycles[0], truth
}

// cyclesOn runs some cycles of a sequence on a simulated bench and returns each cycle's figures
// and what the simulator knows of them.
func cyclesOn(t *testing.T, rig *wiring.Rig, seq *sequences.Sequence, cycles int, opts sim.Opts) (all [][]analyze.Measurement, truth *sim.Truth) {
	t.Helper()
	unit := setup.Unit(rig, seq)
	opts.Programme, opts.Initial, opts.Relays = unit.Programme, unit.Initial, unit.Relays
	world, err := sim.NewWorld(rig, opts)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := world.Lines(bench.Requests(rig))
	if err != nil {
		t.Fatal(err)
	}
	b, err := bench.Open(rig, world.Bus(), lines, bench.Opts{Outputs: seq.Sampled(rig), Mode: seq.Sample})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := runner.Run(t.Context(), b, seq, runner.Opts{First: 1, Last: cycles, Now: time.Now,
		OnCycle: func(c *journal.Cycle) { all = append(all, c.Measurements) }}); err != nil {
		t.Fatal(err)
	}
	truth = world.Truth()
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	return all, truth
}

// filters are what converters may do with a conversion: nobody here knows what a real one does.
var filters = []struct {
	name    string
	weights sim.Weights
}{{"plain mean", nil}, {"last 90 %", sim.Last(0.9)}, {"sinc2", sim.Sinc(2)}, {"sinc3", sim.Sinc(3)}}

// coverAll draws benches from their tolerances, with as many of each sequence as
// its share of a hundred says, and counts every figure in its row of a table.
func coverAll(t *testing.T, benches int, names []string, shares []int) *coverages {
	t.Helper()
	table := newTable()
	beside(benches, func(i int) {
		k, rest := 0, i%100
		for rest >= shares[k] {
			rest -= shares[k]
			k++
		}
		seq, err := sequences.Load(t.Context(), names[k])
		if err != nil {
			t.Error(err)
			return
		}
		figure := 0
		opts := sim.Opts{Seed: uint64(10_000 + i), Weights: filters[i/100%len(filters)].weights}
		cover(t, seq, opts, func(q analyze.Quantity, value, u, truth float64) {
			row := string(q)
			if q == analyze.SwitchingDelay || q == analyze.PulseDuration {
				row += map[bool]string{true: ", swept", false: ", followed"}[k >= 2]
			}
			table.count(row, value, u, truth, float64((7*i+13*figure)%100)/100)
			figure++
		})
	})
	return table
}

// beside calls do with each number below n, some at once. Where do ends the test, nothing waits
// for the numbers that are left.
func beside(n int, do func(i int)) {
	var next atomic.Int64
	var group sync.WaitGroup
	for range 2 {
		group.Go(func() {
			for i := next.Add(1) - 1; i < int64(n); i = next.Add(1) - 1 {
				do(int(i))
			}
		})
	}
	group.Wait()
}

// coverages counts figures by the rows of a table, for several benches at once.
type coverages struct {
	sync.Mutex
	rows map[string]*coverage
}

func newTable() *coverages { return &coverages{rows: map[string]*coverage{}} }

// count counts a figure in its row. share is by how much of U its true value lies
// beyond the limit that it is judged by.
func (t *coverages) count(row string, value, u, truth, share float64) {
	t.Lock()
	defer t.Unlock()
	c := t.rows[row]
	if c == nil {
		c = &coverage{}
		t.rows[row] = c
	}
	c.n++
	c.sumU += u
	c.decide(value, u, truth, share)
	if math.Abs(value-truth) <= u {
		c.inside++
	}
}

// coverRipple counts the ripple of benches whose outputs hum by 150 to 450 mV when
// they are on. Its truth is the hum that was planted, a sine at the terminal, peak to
// peak, and 0 when they are off: there is nothing else on these outputs, and what the
// converter's noise adds and its averaging takes away is the measurement's own error.
func coverRipple(t *testing.T, table *coverages, benches int) {
	t.Helper()
	beside(benches, func(i int) {
		hum := 0.15 + 0.3*float64(i)/float64(benches)
		figure := 0
		for _, m := range runSimulated(t, "armed-high", 1, uint64(20_000+i), fmt.Sprintf("hum=%.4f mV", hum*1e3)).rows {
			if m.Quantity != analyze.Ripple {
				continue
			}
			row, truth := "ripple, humming", hum
			if m.Event == "disarm" {
				row, truth = "ripple, quiet", 0.0
			}
			table.count(row, m.Value, m.Expanded, truth, float64((7*i+13*figure)%100)/100)
			figure++
		}
	})
}

// ramps is the part of relay-supply that searches a relay's voltages, sooner done.
const ramps = `name: ramps
steps:
  - {supply: 0 V, as: off, hold: 100 ms}
  - {event: energize, hold: 100 ms}
  - {supply: {from: 0 V, to: 12 V, over: 4 s}, as: rise, hold: 4100 ms}
  - {supply: {from: 12 V, to: 0 V, over: 4 s}, as: fall, hold: 4100 ms}
  - {event: release, hold: 100 ms}
outputs: {COIL: {expect: any, relay: K1}}
relays: {K1: {make: K1_NO, break: K1_NC}}
`

// coverRamps counts the pull-in and drop-out voltages of relays on ramps. Their truth
// is the coil current at which the simulated armature moves, times the coil's
// resistance.
func coverRamps(t *testing.T, table *coverages, benches int) {
	t.Helper()
	beside(benches, func(i int) {
		seq, err := sequences.Parse("ramps.yaml", []byte(ramps))
		if err != nil {
			t.Error(err)
			return
		}
		figure := 0
		cover(t, seq, sim.Opts{Seed: uint64(30_000 + i)}, func(q analyze.Quantity, value, u, truth float64) {
			if q == analyze.PullInVoltage || q == analyze.DropOutVoltage {
				table.count(string(q), value, u, truth, float64((7*i+13*figure)%100)/100)
				figure++
			}
		})
	})
}

// edges and spells are short sequences of one output with a relay.
const (
	edges = `name: edges
steps:
  - {event: arm-away, hold: 900 ms}
  - {event: disarm, hold: 900 ms}
outputs: {OUT3: {expect: {arm-away: high, disarm: low}, relay: K1}}
others: unmoved
relays: {K1: {make: K1_NO, break: K1_NC}}
`
	spells = `name: spells
steps:
  - {event: arm-away, hold: 4 s}
  - {event: disarm, hold: 600 ms}
  - {event: arm-stay, hold: 4 s}
  - {event: disarm, hold: 600 ms}
outputs: {OUT3: {expect: {arm-away: high, arm-stay: high, disarm: low}, relay: K1}}
others: unmoved
relays: {K1: {make: K1_NO, break: K1_NC}}
`
)

// coverSlow counts one quantity of an output that is followed and of one that is swept,
// on benches that opts makes of a number from 0 to 1.
func coverSlow(t *testing.T, table *coverages, text, row string, q analyze.Quantity, seed uint64, benches int, opts func(x float64, swept bool) sim.Opts) {
	t.Helper()
	beside(benches, func(i int) {
		swept := i%2 == 1
		mode := map[bool]string{false: "follow", true: "sweep"}[swept]
		seq, err := sequences.Parse("slow.yaml", []byte(text+"sample: "+mode+"\n"))
		if err != nil {
			t.Error(err)
			return
		}
		o := opts(float64(i)/float64(benches), swept)
		o.Seed = seed + uint64(i)
		figure := 0
		cover(t, seq, o, func(got analyze.Quantity, value, u, truth float64) {
			if got == q {
				table.count(row+map[bool]string{false: ", followed", true: ", swept"}[swept], value, u, truth, float64((7*i+13*figure)%100)/100)
				figure++
			}
		})
	})
}

// coverDurations counts the transition durations of outputs with a capacitor across the coil
// that gives edges a time constant of 3 to 40 ms, or 15 to 40 ms where they are swept: such as
// are figures and no bounds.
func coverDurations(t *testing.T, table *coverages, benches int) {
	t.Helper()
	coverSlow(t, table, edges, "transition_duration", analyze.TransitionDuration, 40_000, benches, func(x float64, swept bool) sim.Opts {
		tau := 3 + 37*x
		if swept {
			tau = 15 + 25*x
		}
		return sim.Opts{Unit: sim.UnitParams{Edge: time.Duration(tau * 1e6)}}
	})
}

// coverHold counts how long outputs are away from their level whose sense wire is off for
// some 20 to 200 ms, and those that fall back 0.4 to 0.6 s after they switched on.
func coverHold(t *testing.T, table *coverages, benches int) {
	t.Helper()
	coverSlow(t, table, spells, "hold, wire off", analyze.Hold, 50_000, benches, func(float64, bool) sim.Opts {
		return sim.Opts{Faults: []sim.Fault{{Name: "loose-wire"}}}
	})
	coverSlow(t, table, edges, "hold, falls back", analyze.Hold, 60_000, benches, func(x float64, _ bool) sim.Opts {
		return sim.Opts{Faults: []sim.Fault{{Name: "early-fall", Value: 0.4 + 0.2*x}}}
	})
}

// coverTrains counts the times of outputs that pulse and flash.
func coverTrains(t *testing.T, table *coverages, benches int) {
	t.Helper()
	for row, c := range coverAll(t, benches, []string{"arming-chirps", "entry-buzzer"}, []int{60, 40}).rows {
		if q, _, _ := strings.Cut(row, ","); trains[analyze.Quantity(q)] {
			table.rows[row] = c
		}
	}
}

// trains are the times of a train.
var trains = map[analyze.Quantity]bool{analyze.OnTime: true, analyze.OffTime: true, analyze.FlashingDuration: true}

// TestCoverage_Benches draws benches (resistors, gains, offsets, oscillators,
// delays, relays, kernel latencies) from their tolerances and counts how often the
// stated 95 % interval of each quantity holds the simulator's truth.
func TestCoverage_Benches(t *testing.T) {
	t.Parallel()
	benches := 2000
	if few.Race || testing.Short() {
		benches = 60
	}
	table := coverAll(t, benches, []string{"armed-high", "relay-only", "armed-pulse", "armed-low"}, []int{40, 40, 10, 10})
	coverRipple(t, table, benches)
	coverRamps(t, table, benches)
	coverDurations(t, table, benches)
	coverHold(t, table, benches)
	coverTrains(t, table, benches/5)
	text := coverageTable(table)
	t.Log("\n" + text)
	if benches < 2000 {
		return // too few to tell 93 % from 98 %
	}
	for row, c := range table.rows {
		// A ripple's interval goes from the least to the most that it can be: it may hold more.
		most := 0.98
		if placed(row) || strings.HasPrefix(row, "ripple") {
			most = 1
		}
		if c.share() < 0.93 || c.share() > most {
			t.Errorf("%s: %d of %d intervals hold the truth, %.1f %%; 93 to 98 %% should", row, c.inside, c.n, 100*c.share())
		}
		if c.wrongShare() >= 0.025 {
			t.Errorf("%s: %.2f %% of the values outside a limit pass, want less than 2.5 %%", row, 100*c.wrongShare())
		}
	}
	if runtime.GOARCH == "amd64" { // elsewhere fused multiply-adds move the last digits
		goldenfile.Check(t, "coverage.md", text)
	}
}

// placed reports whether a row's quantity is a time that begins or ends where an output crosses.
// Not knowing the converter's filter makes it uncertain by more than what the filters of these
// benches do to most of these times.
func placed(row string) bool {
	switch q, _, _ := strings.Cut(row, ","); analyze.Quantity(q) {
	case analyze.SwitchingDelay, analyze.OperateTime, analyze.ReleaseTime, analyze.PulseDuration, analyze.OnTime, analyze.OffTime, analyze.FlashingDuration:
		return true
	}
	return false
}

func coverageTable(table *coverages) string {
	rows := slices.Sorted(maps.Keys(table.rows))
	var b strings.Builder
	b.WriteString("| quantity | figures | mean U | intervals that hold the truth | passed though outside the limit |\n| --- | --- | --- | --- | --- |\n")
	for _, row := range rows {
		c := table.rows[row]
		q := analyze.Quantity(strings.Split(row, ",")[0])
		u := report.Reading(q, c.sumU/float64(c.n), c.sumU/float64(c.n))
		u, _, _ = strings.Cut(u, " ±")
		fmt.Fprintf(&b, "| %s | %d | %s | %.1f %% | %.2f %% |\n", row, c.n, u, 100*c.share(), 100*c.wrongShare())
	}
	return b.String()
}
