package diagnose

import (
	"math"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/measure"
)

// on is an output of the plan that was low, was told to go high and did; told says what is
// different.
func on(different ...func(*measure.OutputState)) measure.OutputState {
	o := measure.OutputState{Signal: "OUT3", Named: true, Demand: analyze.High, Nominal: 12, Samples: 1000, Lasted: 2,
		WasKnown: true, High: true, HighAtEnd: true, Moved: true, Crossings: 1, WentHigh: true,
		Before: 0.6, Level: 13.5, Rest: 13.5, LevelKnown: true, Lowest: 0.5, Highest: 13.6, Held: 13.5, OffLevel: 0.6,
		Watched: 2, Allowed: 0.5, Placed: true, Transient: 13.6, AwayVolts: 13.5}
	for _, change := range different {
		change(&o)
	}
	return o
}

type outputState = measure.OutputState

func TestSymptoms_Outputs(t *testing.T) {
	for _, c := range []struct {
		name   string
		output outputState
		want   analyze.Kind // empty: nothing
		value  float64
	}{
		{"as told", on(), "", 0},
		{"no samples", on(func(o *outputState) { o.Samples = 0 }), analyze.NotSampled, math.NaN()},
		{"no samples in a short state", on(func(o *outputState) { o.Samples, o.Lasted = 0, 0.099 }), analyze.WatchedShort, 0.099},
		{"no samples in the shortest state that counts", on(func(o *outputState) { o.Samples, o.Lasted = 0, 0.1 }), analyze.NotSampled, math.NaN()},
		{"stood still", on(func(o *outputState) {
			o.Moved, o.HighAtEnd, o.High, o.Level, o.Crossings, o.WentHigh, o.Placed = false, false, false, 0.6, 0, false, false
		}), analyze.DidNotMove, 0.6},
		{"stood still and was watched too briefly", on(func(o *outputState) {
			o.Moved, o.HighAtEnd, o.High, o.TooBrief, o.Watched, o.Placed = false, false, false, true, 0.2, false
		}), analyze.WatchedShort, 0.2},
		{"went the other way", on(func(o *outputState) {
			o.WasHigh, o.HighAtEnd, o.High, o.Level, o.WentHigh, o.Placed = true, false, false, 0.6, false, false
		}), analyze.Inverted, 0.6},
		{"stood high and was told to go high", on(func(o *outputState) { o.WasHigh, o.Moved, o.Crossings, o.Placed = true, false, 0, false }), "", 0},
		{"fell back", on(func(o *outputState) { o.HighAtEnd, o.Away, o.Crossings = false, 1.2, 2 }), analyze.FellBack, 1.2},
		{"millivolts", on(func(o *outputState) { o.Highest = 121 }), analyze.NotVolts, 121},
		{"ten times its voltage, just", on(func(o *outputState) { o.Highest = 120 }), "", 0},
		{"wires swapped", on(func(o *outputState) { o.Level, o.Transient = -2.1, 0 }), analyze.Reversed, -2.1},
		{"a little below zero", on(func(o *outputState) { o.Level, o.Rest, o.Transient = -1.9, -1.9, -1.9 }), "", 0},
		{"ends below zero", on(func(o *outputState) { o.Rest = -3 }), analyze.Reversed, -3},
		{"left its state, no limit", on(func(o *outputState) { o.AwaySamples, o.AwayVolts, o.Away = 5, 6, 0.1 }), analyze.LeftState, 0.1},
		{"left it, and a limit says how long it may", on(func(o *outputState) { o.AwaySamples, o.AwayVolts, o.HoldLimited = 5, 6, true }), "", 0},
		{"left it by less than half the way", on(func(o *outputState) { o.AwaySamples, o.AwayVolts = 5, 7 }), "", 0},
		{"left it without a crossing", on(func(o *outputState) { o.AwaySamples, o.AwayVolts, o.Moved, o.WasHigh = 5, 6, false, true }), "", 0},
		{"no sample was away", on(func(o *outputState) { o.AwayVolts = 6 }), "", 0},
		{"below its own off level", on(func(o *outputState) { o.AwaySamples, o.AwayVolts, o.Away = 5, 0.2, 0.1 }), analyze.LooseWire, 0.1},
		{"at its own off level", on(func(o *outputState) { o.AwaySamples, o.AwayVolts, o.Away = 5, 0.4, 0.1 }), analyze.LeftState, 0.1},
		{"drifts away", on(func(o *outputState) { o.AwaySamples, o.AwayVolts, o.Drifts, o.Away = 5, 6, true, 0.1 }), analyze.Drooping, 0.1},
		{"overshoots", on(func(o *outputState) { o.Transient = 17 }), analyze.Overshoots, 17},
		{"overshoots by less than a quarter", on(func(o *outputState) { o.Transient = 16.6 }), "", 0},
		{"overshoots, and when it switched is not known", on(func(o *outputState) { o.Transient, o.Placed = 17, false }), "", 0},
		{"undershoots", on(func(o *outputState) {
			o.Demand, o.WasHigh, o.High, o.HighAtEnd, o.Before, o.Level, o.Rest, o.Held, o.AwayVolts, o.Transient = analyze.Low, true, false, false, 13.5, 0.6, 0.6, 0.6, 0.6, -3.3
		}), analyze.Undershoots, -3.3},
		{"undershoots by a diode's voltage", on(func(o *outputState) {
			o.Demand, o.WasHigh, o.High, o.HighAtEnd, o.Before, o.Level, o.Rest, o.Held, o.AwayVolts, o.Transient = analyze.Low, true, false, false, 13.5, 0.6, 0.6, 0.6, 0.6, -0.7
		}), "", 0},
		{"pulsed", on(func(o *outputState) { o.Demand, o.HighAtEnd, o.Pulses, o.Crossings = analyze.Pulse, false, 1, 2 }), "", 0},
		{"no pulse, stood still", on(func(o *outputState) { o.Demand, o.Moved, o.HighAtEnd, o.Placed = analyze.Pulse, false, false, false }), analyze.DidNotMove, 13.5},
		{"pulse never ended", on(func(o *outputState) { o.Demand, o.Pulses, o.LastEnd = analyze.Pulse, 1, 1.1 }), analyze.NoPulse, math.NaN()},
		{"pulse may end later", on(func(o *outputState) { o.Demand, o.Pulses, o.LastEnd = analyze.Pulse, 1, 2.2 }), analyze.WatchedShort, 2},
		{"two pulses", on(func(o *outputState) { o.Demand, o.HighAtEnd, o.Pulses = analyze.Pulse, false, 2 }), analyze.MorePulses, 2},
		{"pulsed from high", on(func(o *outputState) { o.Demand, o.WasHigh, o.HighAtEnd, o.Pulses = analyze.Pulse, true, false, 0 }), analyze.Inverted, math.NaN()},
		{"anything goes", on(func(o *outputState) { o.Demand, o.Highest, o.Level, o.Placed = analyze.Any, 500, -9, false }), "", 0},
		{"kept its state", on(func(o *outputState) {
			o.Demand, o.Moved, o.HighAtEnd, o.High, o.Crossings = analyze.Unmoved, false, false, false, 0
			o.Level, o.Rest, o.Held, o.AwayVolts, o.Transient = 0.6, 0.6, 0.6, 0.6, 0.6
		}), "", 0},
		{"moved for good and should not have", on(func(o *outputState) { o.Demand = analyze.Unmoved }), analyze.MovedUnasked, 13.5},
		{"an output nobody names moved", on(func(o *outputState) { o.Demand, o.Named = analyze.Unmoved, false }), analyze.MovedUnasked, 13.5},
		{"one nobody names came back", on(func(o *outputState) { o.Demand, o.Named, o.HighAtEnd, o.Crossings = analyze.Unmoved, false, false, 2 }), analyze.MovedUnasked, 13.5},
		{"one nobody names is no overshoot", on(func(o *outputState) { o.Demand, o.Named, o.Transient, o.WasHigh = analyze.Unmoved, false, 99, true }), "", 0},
	} {
		s := &measure.State{Cycle: 3, Event: "arm", Outputs: []outputState{c.output}}
		got := Symptoms(s)
		if c.want == "" {
			if len(got) != 0 {
				t.Errorf("%s: %+v", c.name, got)
			}
			continue
		}
		if len(got) != 1 || got[0].Kind != c.want || got[0].Signal != "OUT3" || got[0].Cycle != 3 || got[0].Event != "arm" || !same(got[0].Value, c.value) {
			t.Errorf("%s: %+v, want one %s of %g", c.name, got, c.want, c.value)
		}
	}
}

func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

// A wrong address shows as one output that stood and another that moved.
func TestSymptoms_MovedInstead(t *testing.T) {
	stood := on(func(o *outputState) { o.Moved, o.HighAtEnd, o.High, o.Placed = false, false, false, false })
	moved := on(func(o *outputState) { o.Signal, o.Demand = "OUT4", analyze.Unmoved })
	got := Symptoms(&measure.State{Outputs: []outputState{stood, moved}})
	if len(got) != 1 || got[0].Kind != analyze.MovedInstead || got[0].Signal != "OUT3" || got[0].Other != "OUT4" {
		t.Errorf("%+v", got)
	}
}

// rest and other ends of a contact's change.
var (
	closes   = measure.ContactChange{Known: true, Closed: true, Closes: true, Edges: 3}
	opens    = measure.ContactChange{Known: true, Opens: true, Edges: 1}
	isOpen   = measure.ContactChange{Known: true}
	isClosed = measure.ContactChange{Known: true, Closed: true}
	restless = measure.ContactChange{Known: true, Closed: true, Edges: 9, Restless: true}
	unknown  = measure.ContactChange{}
)

// closedFor is a contact that does not rest, closed for a share of the time and for so many seconds
// at most.
func closedFor(share, longest float64) measure.ContactChange {
	c := restless
	c.ClosedShare, c.LongestClosed = share, longest
	return c
}

// The coil of a relay that stands still at a pulse swings at the pulse's end.
func TestSymptoms_PulsedCoil(t *testing.T) {
	plan := &analyze.RelayPlan{Signal: "K1", Make: "K1_NO", Break: "K1_NC", MustOperate: 9, MustRelease: 1.2}
	for lowest, want := range map[float64]int{-0.7: 2, 0.36: 1} {
		o := on(func(o *outputState) {
			o.Demand, o.HighAtEnd, o.Pulses, o.Crossings, o.Lowest = analyze.Pulse, false, 1, 2, lowest
		})
		s := &measure.State{Event: "arm", Outputs: []outputState{o}}
		s.Relays = []measure.RelayState{{Plan: plan, Output: &s.Outputs[0], HasMake: true, HasBreak: true,
			Changes: []measure.RelayChange{{Make: isOpen, Break: isClosed, Told: true, Rising: true}}}}
		got := Symptoms(s)
		if len(got) != want || got[0].Kind != analyze.RelayStill || want == 2 && (got[1].Kind != analyze.CoilCarries || got[1].Value != lowest) {
			t.Errorf("down to %g V: %+v", lowest, got)
		}
	}
}

func TestSymptoms_Relays(t *testing.T) {
	plan := &analyze.RelayPlan{Signal: "K1", Make: "K1_NO", Break: "K1_NC", MustOperate: 9, MustRelease: 1.2}
	high, low := on(), on(func(o *outputState) {
		o.Demand, o.WasHigh, o.High, o.HighAtEnd, o.Level, o.Rest, o.Before, o.Held, o.AwayVolts, o.Transient = analyze.Low, true, false, false, 0.6, 0.6, 13.5, 0.6, 0.6, 0.6
	})
	leaky := low
	leaky.Level = 2.7
	swings := low
	swings.Transient = -0.7
	pulse := low
	pulse.Demand, pulse.Level, pulse.Moved, pulse.WasHigh, pulse.Pulses = analyze.Pulse, 13.5, true, false, 1
	operate := func(make, brk measure.ContactChange) measure.RelayChange {
		return measure.RelayChange{Make: make, Break: brk, Told: true, Rising: true}
	}
	release := func(make, brk measure.ContactChange) measure.RelayChange {
		return measure.RelayChange{Make: make, Break: brk, Told: true}
	}
	brief := func(c measure.RelayChange) measure.RelayChange { c.TooBrief = true; return c }
	lost := func(c measure.RelayChange) measure.RelayChange { c.EdgesLost = true; return c }
	suspect := func(c measure.RelayChange) measure.RelayChange { c.EdgesSuspect = true; return lost(c) }
	late := func(c measure.RelayChange) measure.RelayChange { c.Late = true; return c }
	untold := func(make, brk measure.ContactChange) measure.RelayChange {
		return measure.RelayChange{Make: make, Break: brk}
	}
	both, makeOnly, breakOnly := [2]bool{true, true}, [2]bool{true, false}, [2]bool{false, true}
	for _, c := range []struct {
		name   string
		output outputState
		wired  [2]bool
		change measure.RelayChange
		want   analyze.Kind
		signal string
	}{
		{"operates", high, both, operate(closes, opens), "", ""},
		{"releases", low, both, release(opens, closes), "", ""},
		{"operates, make contact alone", high, makeOnly, operate(closes, unknown), "", ""},
		{"operates, break contact alone", high, breakOnly, operate(unknown, opens), "", ""},
		{"never operates", high, both, operate(isOpen, isClosed), analyze.RelayStill, "K1"},
		{"never operates, watched briefly", high, both, brief(operate(isOpen, isClosed)), analyze.WatchedShort, "K1"},
		{"operated already", high, both, operate(isClosed, isOpen), "", ""},
		{"break contact alone was open already", high, breakOnly, operate(unknown, isOpen), "", ""},
		{"break contact alone stays closed", high, breakOnly, operate(unknown, isClosed), analyze.RelayStill, "K1"},
		{"contacts swapped at operating", high, both, operate(opens, closes), analyze.ContactsSwap, "K1"},
		{"make contact alone opens at operating", high, makeOnly, operate(opens, unknown), analyze.ContactsSwap, "K1"},
		{"break contact alone closes at operating", high, breakOnly, operate(unknown, closes), analyze.ContactsSwap, "K1"},
		{"make contact does not close", high, both, operate(isOpen, opens), analyze.UnsteadyMake, "K1_NO"},
		{"make contact does not close, edges lost", high, both, lost(operate(isOpen, opens)), analyze.EdgesLost, "K1"},
		{"make contact does not close, edges in doubt", high, both, suspect(operate(isOpen, opens)), analyze.EdgesSuspect, "K1"},
		{"held in", leaky, both, release(isClosed, isOpen), analyze.HeldIn, "K1"},
		{"held in by a pulse's high level is welded", pulse, both, release(isClosed, isOpen), analyze.Welded, "K1_NO"},
		{"welded", low, both, release(isClosed, isOpen), analyze.Welded, "K1_NO"},
		{"welded, break contact closes", low, both, release(isClosed, closes), analyze.Welded, "K1_NO"},
		{"make contact alone stays closed", low, makeOnly, release(isClosed, unknown), analyze.Welded, "K1_NO"},
		{"had not operated", low, both, release(isOpen, isClosed), "", ""},
		{"had not operated, make contact alone", low, makeOnly, release(isOpen, unknown), "", ""},
		{"break contact alone had stayed closed", low, breakOnly, release(unknown, isClosed), "", ""},
		{"break contact alone stays open", low, breakOnly, release(unknown, isOpen), analyze.UnsteadyMake, "K1_NC"},
		{"does not release, watched briefly", low, both, brief(release(isClosed, isOpen)), analyze.WatchedShort, "K1"},
		{"break contact does not close", low, both, release(opens, isOpen), analyze.UnsteadyMake, "K1_NC"},
		{"contacts swapped at releasing", low, both, release(closes, opens), analyze.ContactsSwap, "K1"},
		{"make contact alone closes at releasing", low, makeOnly, release(closes, unknown), analyze.ContactsSwap, "K1"},
		{"break contact alone opens at releasing", low, breakOnly, release(unknown, opens), analyze.ContactsSwap, "K1"},
		{"moves by itself", high, both, untold(closes, opens), analyze.RelayAlone, "K1"},
		{"answers what it was told before", high, both, late(untold(closes, opens)), "", ""},
		{"stands still and was told nothing", high, both, untold(isOpen, isClosed), "", ""},
		{"had not operated, and its coil carries current", swings, both, release(isOpen, isClosed), analyze.CoilCarries, "K1"},
		{"releases, and its coil swings", swings, both, release(opens, closes), "", ""},
		{"chatters", high, both, operate(restless, restless), analyze.Chattering, "K1"},
		{"make contact alone opens for moments", high, makeOnly, operate(closedFor(0.9, 0.04), unknown), analyze.Chattering, "K1_NO"},
		{"make contact opens for moments, the break contact not", high, both, operate(closedFor(0.9, 0.04), opens), analyze.UnsteadyMake, "K1_NO"},
		{"make contact alone is open mostly", high, makeOnly, operate(closedFor(0.1, 0.04), unknown), analyze.UnsteadyMake, "K1_NO"},
		{"make contact alone bounces for long", high, makeOnly, operate(closedFor(0.9, 0.0006), unknown), analyze.UnsteadyMake, "K1_NO"},
		{"make contact unsteady", high, both, operate(restless, opens), analyze.UnsteadyMake, "K1_NO"},
		{"break contact unsteady", high, both, operate(closes, restless), analyze.UnsteadyMake, "K1_NC"},
	} {
		s := &measure.State{Event: "arm", Outputs: []outputState{c.output}}
		s.Relays = []measure.RelayState{{Plan: plan, Output: &s.Outputs[0], HasMake: c.wired[0], HasBreak: c.wired[1], Changes: []measure.RelayChange{c.change}}}
		got := Symptoms(s)
		switch {
		case c.want == "" && len(got) != 0:
			t.Errorf("%s: %+v", c.name, got)
		case c.want != "" && (len(got) != 1 || got[0].Kind != c.want || got[0].Signal != c.signal):
			t.Errorf("%s: %+v, want %s of %s", c.name, got, c.want, c.signal)
		}
	}
}

// figure is a row of the state's.
func row(q analyze.Quantity, signal string, value float64, lower, upper float64, v analyze.Verdict, doubts ...analyze.Doubt) analyze.Measurement {
	return analyze.Measurement{Event: "arm", Signal: signal, Quantity: q, Value: value, Expanded: 0.1, Limit: limits(lower, upper), Verdict: v, Doubts: doubts}
}

func TestSymptoms_Figures(t *testing.T) {
	nan := math.NaN()
	still := analyze.Doubt{Code: analyze.DidNotCloseTill, Value: 13.8, Signal: "K1_NO"}
	stuck := analyze.Doubt{Code: analyze.DidNotOpenTill, Value: 0, Signal: "K1_NO"}
	for _, c := range []struct {
		name string
		row  analyze.Measurement
		want analyze.Kind
		at   string
	}{
		{"passes", row(analyze.HighLevel, "OUT3", 13.5, 12, 14.5, analyze.Pass), "", ""},
		{"low when on", row(analyze.HighLevel, "OUT3", 11, 12, 14.5, analyze.Fail), analyze.LowWhenOn, "OUT3"},
		{"high when on", row(analyze.HighLevel, "OUT3", 15, 12, 14.5, analyze.Fail), analyze.HighWhenOn, "OUT3"},
		{"high when off", row(analyze.LowLevel, "OUT3", 2, nan, 1, analyze.Fail), analyze.HighWhenOff, "OUT3"},
		{"below the least when off", row(analyze.LowLevel, "OUT3", 0, 0.3, 1, analyze.Fail), analyze.OffLimit, "OUT3"},
		{"late", row(analyze.SwitchingDelay, "OUT3", 2, 0.1, 1, analyze.Fail), analyze.SlowSwitching, "OUT3"},
		{"early", row(analyze.SwitchingDelay, "OUT3", 0.05, 0.1, 1, analyze.Fail), analyze.EarlySwitching, "OUT3"},
		{"ripple", row(analyze.Ripple, "OUT3", 1, nan, 0.5, analyze.Fail), analyze.Rippling, "OUT3"},
		{"out of its state", row(analyze.Hold, "OUT3", 1, nan, 0, analyze.Fail), analyze.LeftState, "OUT3"},
		{"overlap", row(analyze.TransferTime, "K1", -0.001, 0, nan, analyze.Fail), analyze.Overlap, "K1"},
		{"too short a gap", row(analyze.TransferTime, "K1", 0.001, 0.002, nan, analyze.Fail), analyze.OffLimit, "K1"},
		{"too long a gap", row(analyze.TransferTime, "K1", 0.009, 0, 0.005, analyze.Fail), analyze.OffLimit, "K1"},
		{"near", row(analyze.HighLevel, "OUT3", 12.05, 12, 14.5, analyze.Undecided), analyze.NearLimit, "OUT3"},
		{"near from below", row(analyze.HighLevel, "OUT3", 14.45, 12, 14.5, analyze.Undecided), analyze.NearLimit, "OUT3"},
		{"undecided for something else", row(analyze.HighLevel, "OUT3", 13, 12, 14.5, analyze.Undecided, analyze.Doubt{Code: analyze.FewSamples, Value: 2}), analyze.Doubtful, "OUT3"},
		{"a bound", row(analyze.TransitionDuration, "OUT3", 0.05, nan, 0.04, analyze.Undecided, analyze.Doubt{Code: analyze.AtMost}), analyze.Doubtful, "OUT3"},
		{"edges lost", row(analyze.BounceTime, "K1_NO", 0.01, nan, 0.005, analyze.Undecided, analyze.Doubt{Code: analyze.EdgesMissing}), analyze.EdgesLost, "K1"},
		{"edges in doubt", row(analyze.BounceTime, "K1_NO", 0.01, nan, 0.005, analyze.Undecided, analyze.Doubt{Code: analyze.EdgesInDoubt}), analyze.EdgesSuspect, "K1"},
		{"samples missing", row(analyze.Hold, "OUT3", 0, nan, 0, analyze.Undecided, analyze.Doubt{Code: analyze.SamplesAbsent, Value: 1}), analyze.SamplesMissing, "OUT3"},
		{"samples left out on purpose", row(analyze.Hold, "OUT3", 0, nan, 0, analyze.Undecided, analyze.Doubt{Code: analyze.SamplesLeftOut, Value: 1}), "", ""},
		{"not measured", row(analyze.HighLevel, "OUT3", nan, 12, 14.5, analyze.Undecided), "", ""},
		{"never pulled in on a ramp", row(analyze.PullInVoltage, "K1", nan, nan, 9, analyze.Fail, still), analyze.RelayStill, "K1"},
		{"never pulled in, by the break contact", row(analyze.PullInVoltage, "K1", nan, nan, 9, analyze.Fail, stuck), analyze.RelayStill, "K1"},
		{"never released on a ramp", row(analyze.DropOutVoltage, "K1", nan, 1.2, nan, analyze.Fail, stuck), analyze.Welded, "K1_NO"},
		{"never pulled in, and nothing is demanded", row(analyze.PullInVoltage, "K1", nan, nan, nan, analyze.Fail, still), "", ""},
		{"a ramp that was too short", row(analyze.PullInVoltage, "K1", nan, nan, 9, analyze.Undecided, still), "", ""},
		{"failed for something else", row(analyze.PullInVoltage, "K1", nan, nan, 9, analyze.Fail), "", ""},
	} {
		s := &measure.State{Event: "arm", Outputs: []outputState{on()}, Rows: []analyze.Measurement{c.row}}
		s.Relays = []measure.RelayState{{Plan: &analyze.RelayPlan{Signal: "K1", Make: "K1_NO", Break: "K1_NC"}, Output: &s.Outputs[0]}}
		got := Symptoms(s)
		switch {
		case c.want == "" && len(got) != 0:
			t.Errorf("%s: %+v", c.name, got)
		case c.want != "" && (len(got) != 1 || got[0].Kind != c.want || got[0].Signal != c.at):
			t.Errorf("%s: %+v, want %s of %s", c.name, got, c.want, c.at)
		}
	}
}

// What one symptom explains is not said again.
func TestSymptoms_Explained(t *testing.T) {
	nan := math.NaN()
	inverted := on(func(o *outputState) {
		o.WasHigh, o.HighAtEnd, o.High, o.WentHigh, o.Placed = true, false, false, false, false
	})
	s := &measure.State{Event: "arm", Outputs: []outputState{inverted}, Rows: []analyze.Measurement{
		row(analyze.LowLevel, "OUT3", 2, nan, 1, analyze.Fail), row(analyze.OperateTime, "K1", 1, nan, 0.5, analyze.Fail), row(analyze.BounceTime, "K1_NO", 1, nan, 0.5, analyze.Fail)}}
	s.Relays = []measure.RelayState{{Plan: &analyze.RelayPlan{Signal: "K1", Make: "K1_NO"}, Output: &s.Outputs[0]}}
	if got := Symptoms(s); len(got) != 1 || got[0].Kind != analyze.Inverted {
		t.Errorf("an inverted output: %+v", got)
	}

	s = &measure.State{Event: "arm", Outputs: []outputState{on()}, Rows: []analyze.Measurement{
		row(analyze.HighLevel, "OUT3", 11, 12, nan, analyze.Fail), row(analyze.PullInMargin, "K1", 1, 2, nan, analyze.Fail)}}
	s.Relays = []measure.RelayState{{Plan: &analyze.RelayPlan{Signal: "K1"}, Output: &s.Outputs[0]}}
	if got := Symptoms(s); len(got) != 1 || got[0].Kind != analyze.LowWhenOn {
		t.Errorf("a low level, and the margin that follows from it: %+v", got)
	}

	droops := on(func(o *outputState) { o.Drifts, o.HoldLimited = true, true })
	s = &measure.State{Event: "arm", Outputs: []outputState{droops}, Rows: []analyze.Measurement{
		row(analyze.Ripple, "OUT3", 1, nan, 0.5, analyze.Fail), row(analyze.Hold, "OUT3", 1, nan, 0, analyze.Fail)}}
	if got := Symptoms(s); len(got) != 1 || got[0].Kind != analyze.Drooping {
		t.Errorf("a drift, shown by two figures: %+v", got)
	}

	s = &measure.State{Event: "arm", SupplyLost: true, Outputs: []outputState{inverted}}
	if got := Symptoms(s); len(got) != 1 || got[0].Kind != analyze.SupplyLost {
		t.Errorf("without its supply: %+v", got)
	}
}

// A pulse tells a relay twice in one state. That it had not released before the first is for the
// second to say, since no earlier state has.
func TestSymptoms_RelayBehindAPulse(t *testing.T) {
	s := &measure.State{Outputs: []outputState{on(func(o *outputState) { o.Demand, o.HighAtEnd, o.Pulses, o.Crossings = analyze.Pulse, false, 1, 2 })}}
	open := measure.ContactChange{Known: true}
	s.Relays = []measure.RelayState{{Plan: &analyze.RelayPlan{Signal: "K1", Break: "K1_NC"}, Output: &s.Outputs[0], HasBreak: true,
		Changes: []measure.RelayChange{{Told: true, Rising: true, Break: open}, {Told: true, Break: open}}}}
	if found := Symptoms(s); len(found) != 1 || found[0].Signal != "K1_NC" || found[0].Kind != analyze.UnsteadyMake {
		t.Errorf("a break contact that never closes: %+v", found)
	}
}
