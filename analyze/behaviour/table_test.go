package behaviour_test

import (
	"math"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/behaviour"
	"makebreak/analyze/tally"
)

var nan = math.NaN()

// plan has an output that follows two ways of arming, with disarm between them, and one
// that pulses. All others must not move.
func plan() *analyze.Plan {
	return &analyze.Plan{Steps: []string{"away", "disarm", "stay", "disarm"}, OthersUnmoved: true,
		Outputs: []analyze.OutputPlan{
			{Signal: "OUT3", Expect: map[string]analyze.Expectation{"away": {Demand: analyze.High}, "stay": {Demand: analyze.High}, "disarm": {Demand: analyze.Low}}},
			{Signal: "OUT5", Expect: map[string]analyze.Expectation{"away": {Demand: analyze.Pulse, After: 2 * time.Second}}},
		}}
}

// figure is a figure that passed, or is missing for a doubt and failed.
func figure(cycle int, event, signal string, q analyze.Quantity, value float64, missing ...analyze.DoubtCode) analyze.Measurement {
	m := analyze.Measurement{Cycle: cycle, Event: event, Signal: signal, Quantity: q, Value: value, Expanded: nan, Limit: analyze.Limit{Lower: nan, Upper: 1}, Verdict: analyze.Pass}
	for _, code := range missing {
		m.Value, m.Verdict = nan, analyze.Fail
		m.Doubts = append(m.Doubts, analyze.Doubt{Code: code, Value: nan})
	}
	return m
}

// cycle is one that does all that is demanded, the delays growing from step to step.
func cycle(n int) []analyze.Measurement {
	all := []analyze.Measurement{figure(n, "", "OUT3", analyze.LowLevel, 0)}
	for i, event := range plan().Steps {
		all = append(all, figure(n, event, "OUT3", analyze.SwitchingDelay, 0.1*float64(i+1)), figure(n, event, "OUT3", analyze.Hold, 0))
		if i == 0 {
			all = append(all, figure(n, event, "OUT5", analyze.PulseDuration, 2))
		}
		all = append(all, figure(n, event, "OUT5", analyze.Hold, 0), figure(n, event, "OUT1", analyze.Hold, 0), figure(n, event, "K1", analyze.OperateTime, 0.005))
	}
	return all
}

func built(all ...analyze.Measurement) *behaviour.Table {
	b := behaviour.New(plan())
	for i := range all {
		b.Add(&all[i])
	}
	return b.Table()
}

// deeds are what a cell tells of, without figures.
func deeds(c *behaviour.Cell) (all []behaviour.Deed) {
	for _, d := range c.Done() {
		all = append(all, d.Deed)
	}
	return all
}

func only(c *behaviour.Cell, want behaviour.Deed) bool {
	got := deeds(c)
	return len(got) == 1 && got[0] == want
}

// Steps of one name are told apart by the order of the figures; relays and the state before
// the first event have no part.
func TestBuilder_Steps(t *testing.T) {
	t.Parallel()
	table := built(append(cycle(1), cycle(2)...)...)
	if len(table.Events) != 4 || len(table.Outputs) != 3 {
		t.Fatalf("%d events, %d outputs", len(table.Events), len(table.Outputs))
	}
	for i, e := range table.Events {
		c := &table.Outputs[0].Cells[i]
		if e.Name != plan().Steps[i] || e.Step != i+1 {
			t.Errorf("column %d is %+v", i, e)
		}
		if c.Delay == nil || c.Delay.Values != 2 || math.Abs(c.Delay.Low-0.1*float64(i+1)) > 1e-12 {
			t.Errorf("column %d has the delays %+v", i, c.Delay)
		}
		if !only(c, behaviour.Switched) || c.Verdict() != analyze.Pass {
			t.Errorf("column %d: %v, %s", i, deeds(c), c.Verdict())
		}
	}
	for i, want := range []behaviour.Deed{behaviour.Pulsed, behaviour.Stayed, behaviour.Stayed, behaviour.Stayed} {
		if c := &table.Outputs[1].Cells[i]; !only(c, want) || (c.Expect.Demand == analyze.Pulse) != (i == 0) {
			t.Errorf("OUT5 at column %d: %v, demanded %v", i, deeds(c), c.Expect.Demand)
		}
		if c := &table.Outputs[2].Cells[i]; table.Outputs[2].Signal != "OUT1" || table.Outputs[2].Named || !only(c, behaviour.Stayed) || c.Expect.Demand != analyze.Unmoved {
			t.Errorf("%s at column %d: %v", table.Outputs[2].Signal, i, deeds(c))
		}
	}
}

// A cycle that ends early and one that misses a step leave the others in their columns.
func TestBuilder_Incomplete(t *testing.T) {
	t.Parallel()
	all := cycle(1)[:3] // the first step
	for _, m := range cycle(2) {
		if m.Event != "stay" {
			all = append(all, m)
		}
	}
	table := built(append(all, cycle(3)...)...)
	for i, want := range []int{3, 2, 1, 1} { // a second disarm right after the first is one with it, but for its figures
		if c := table.Outputs[0].Cells[i]; c.Delay.Values != want && i < 3 {
			t.Errorf("column %d has %d delays, not %d", i, c.Delay.Values, want)
		}
	}
	if c := table.Outputs[0].Cells[3]; c.Delay.Values != 2 {
		t.Errorf("the second disarm has %d delays", c.Delay.Values)
	}
	strange := figure(1, "chime", "OUT1", analyze.Hold, 0)
	if table := built(strange); len(table.Events) != 5 || table.Events[4].Step != 0 || table.Outputs[2].Cells[4].Hold == nil {
		t.Errorf("an event that no step has: %+v", table.Events)
	}
}

func TestCell_Done(t *testing.T) {
	t.Parallel()
	late := figure(1, "away", "OUT3", analyze.SwitchingDelay, 2)
	late.Verdict = analyze.Fail
	away := figure(1, "away", "OUT3", analyze.Hold, 0.5)
	away.Verdict = analyze.Fail
	moved := figure(1, "away", "OUT1", analyze.Hold, 0.5)
	moved.Verdict = analyze.Fail
	for _, c := range []struct {
		name    string
		all     []analyze.Measurement
		want    []behaviour.Deed
		beyond  int
		verdict analyze.Verdict
	}{
		{"went", []analyze.Measurement{figure(1, "away", "OUT3", analyze.SwitchingDelay, 0.1), figure(1, "away", "OUT3", analyze.Hold, 0)}, []behaviour.Deed{behaviour.Switched}, 0, analyze.Pass},
		{"went late", []analyze.Measurement{late}, []behaviour.Deed{behaviour.Switched}, 1, analyze.Fail},
		{"did not go", []analyze.Measurement{figure(1, "away", "OUT3", analyze.SwitchingDelay, 0, analyze.DidNotGoHigh), figure(1, "away", "OUT3", analyze.Hold, 0, analyze.DidNotGoHigh)},
			[]behaviour.Deed{behaviour.DidNotSwitch}, 0, analyze.Fail},
		{"not once", []analyze.Measurement{figure(1, "away", "OUT3", analyze.SwitchingDelay, 0.1), figure(2, "away", "OUT3", analyze.SwitchingDelay, 0, analyze.DidNotGoHigh)},
			[]behaviour.Deed{behaviour.DidNotSwitch, behaviour.Switched}, 0, analyze.Fail},
		{"was there", []analyze.Measurement{figure(1, "away", "OUT3", analyze.SwitchingDelay, 0, analyze.AlreadyHigh)}, []behaviour.Deed{behaviour.WasThere}, 0, analyze.Fail},
		{"not seen", []analyze.Measurement{figure(1, "away", "OUT3", analyze.SwitchingDelay, 0, analyze.NoSamples), figure(1, "away", "OUT3", analyze.Hold, 0, analyze.NoSamples)},
			[]behaviour.Deed{behaviour.NotSeen}, 0, analyze.Fail},
		{"fell back", []analyze.Measurement{figure(1, "away", "OUT3", analyze.SwitchingDelay, 0.1), away}, []behaviour.Deed{behaviour.Left, behaviour.Switched}, 0, analyze.Fail},
		{"another moved", []analyze.Measurement{moved}, []behaviour.Deed{behaviour.Left}, 0, analyze.Fail},
		{"another not seen", []analyze.Measurement{figure(1, "away", "OUT1", analyze.Hold, 0, analyze.NoSamples)}, []behaviour.Deed{behaviour.NotSeen}, 0, analyze.Fail},
	} {
		table := built(c.all...)
		for _, o := range table.Outputs {
			if o.Signal != c.all[0].Signal {
				continue
			}
			got := deeds(&o.Cells[0])
			if len(got) != len(c.want) {
				t.Errorf("%s: %v, want %v", c.name, got, c.want)
				continue
			}
			for i := range got {
				if got[i] != c.want[i] {
					t.Errorf("%s: %v, want %v", c.name, got, c.want)
				}
			}
			if n := len(o.Cells[0].Beyond()); n != c.beyond || o.Cells[0].Verdict() != c.verdict {
				t.Errorf("%s: %d figures beyond, %s", c.name, n, o.Cells[0].Verdict())
			}
		}
	}
	if c := built().Outputs[0].Cells[0]; len(c.Done()) != 0 || c.Verdict() != analyze.NoVerdict {
		t.Errorf("without figures: %v, %s", c.Done(), c.Verdict())
	}
}

// Of a soak's sums the steps of one name are one column with the same figures in all.
func TestOfTally(t *testing.T) {
	t.Parallel()
	sums, err := tally.New()
	if err != nil {
		t.Fatal(err)
	}
	for n := 1; n <= 20; n++ {
		for _, m := range cycle(n) {
			if err := sums.Add(&m); err != nil {
				t.Fatal(err)
			}
		}
	}
	table := behaviour.OfTally(plan(), sums)
	if len(table.Events) != 3 || table.Events[1].Name != "disarm" || table.Events[1].Step != 0 || table.Events[2].Step != 3 {
		t.Fatalf("%+v", table.Events)
	}
	for i, want := range []int{20, 40, 20} {
		if c := table.Outputs[0].Cells[i]; c.Delay.Values != want || !only(&c, behaviour.Switched) {
			t.Errorf("column %d has %d delays, %v", i, c.Delay.Values, deeds(&c))
		}
	}
}

// A relay's contacts stand below what its output had to do: when they changed, what did not, and
// that a contact which changes though it must not passes nothing.
func TestTable_Relays(t *testing.T) {
	t.Parallel()
	p := plan()
	p.Outputs[0].Relay = "K1"
	p.Relays = []analyze.RelayPlan{{Signal: "K1", Make: "K1_NO", Break: "K1_NC"}, {Signal: "K2", Make: "K2_NO"}}
	b := behaviour.New(p)
	still := figure(2, "disarm", "K1", analyze.ReleaseTime, 0, analyze.DidNotClose)
	transfer := figure(2, "disarm", "K1", analyze.TransferTime, 0, analyze.DidNotClose)
	for i := range still.Doubts {
		still.Doubts[i].Signal, transfer.Doubts[i].Signal = "K1_NC", "K1_NC"
	}
	for _, m := range []analyze.Measurement{
		figure(1, "away", "OUT3", analyze.Hold, 0), figure(1, "away", "K1", analyze.OperateTime, 0.005), figure(1, "away", "K1_NO", analyze.BounceTime, 0.001), figure(1, "away", "K3", analyze.OperateTime, 1),
		figure(1, "disarm", "OUT3", analyze.Hold, 0), figure(1, "disarm", "K1", analyze.ReleaseTime, 0.004), figure(1, "disarm", "K1_NC", analyze.BounceTime, 0.002),
		figure(2, "away", "OUT3", analyze.Hold, 0), figure(2, "disarm", "OUT3", analyze.Hold, 0), still, transfer,
	} {
		b.Add(&m)
	}
	table := b.Table()
	if len(table.Relays) != 2 || table.Relays[0].Output != "OUT3" || table.Relays[1].Output != "" || len(table.Outputs) != 2 {
		t.Fatalf("%+v", table)
	}
	k1 := table.Relays[0].Cells
	for i, want := range []behaviour.RelayDemand{behaviour.Operate, behaviour.Release, behaviour.Operate, behaviour.Release} {
		if k1[i].Expect != want || table.Relays[1].Cells[i].Expect != behaviour.AnyChange {
			t.Errorf("column %d: demanded %d", i, k1[i].Expect)
		}
	}
	if c := k1[0]; len(c.Rows) != 2 || len(c.Times) != 1 || len(c.Bounce) != 1 || !c.Changed() || c.Verdict() != analyze.Pass {
		t.Errorf("operated: %+v", c)
	}
	remarks, of := k1[1].NotDone()
	if len(remarks) != 1 || remarks[0].N != 1 || of[0] != 2 || k1[1].Verdict() != analyze.Fail || len(k1[1].Beyond()) != 0 {
		t.Errorf("did not release: %v of %v, %s, %d beyond", remarks, of, k1[1].Verdict(), len(k1[1].Beyond()))
	}
	if c := k1[2]; c.Changed() || c.Verdict() != analyze.NoVerdict {
		t.Errorf("without figures: %+v", c)
	}
	p.Outputs[0].Expect["disarm"] = analyze.Expectation{Demand: analyze.Unmoved}
	if c := behaviour.New(p).Table().Relays[0].Cells[1]; c.Expect != behaviour.KeepStill {
		t.Errorf("demanded %d of a relay whose output must not move", c.Expect)
	}
	b = behaviour.New(p)
	alone := figure(1, "disarm", "K1_NC", analyze.BounceTime, 0)
	b.Add(&alone)
	if c := b.Table().Relays[0].Cells[1]; !c.Changed() || c.Verdict() != analyze.NoVerdict {
		t.Errorf("changed by itself: %+v, %s", c, c.Verdict())
	}
}

// A relay has figures twice at the event of a pulse: they are of one step.
func TestBuilder_PulsedRelay(t *testing.T) {
	t.Parallel()
	p := &analyze.Plan{Steps: []string{"ring", "ring"}, Outputs: []analyze.OutputPlan{{Signal: "OUT3", Relay: "K1", Expect: map[string]analyze.Expectation{"ring": {Demand: analyze.Pulse, After: time.Second}}}},
		Relays: []analyze.RelayPlan{{Signal: "K1", Make: "K1_NO", Break: "K1_NC"}}}
	b := behaviour.New(p)
	for range 2 {
		for _, m := range []analyze.Measurement{figure(1, "ring", "OUT3", analyze.PulseDuration, 1), figure(1, "ring", "OUT3", analyze.Hold, 0),
			figure(1, "ring", "K1", analyze.TransferTime, 0.001), figure(1, "ring", "K1", analyze.TransferTime, 0.002)} {
			b.Add(&m)
		}
	}
	for i, c := range b.Table().Relays[0].Cells {
		if c.Expect != behaviour.OperateAndRelease || c.Transfer == nil || c.Transfer.Values != 2 {
			t.Errorf("column %d: %+v", i, c)
		}
	}
}
