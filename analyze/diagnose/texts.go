package diagnose

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// findingTexts are the findings' words: what was seen, the likely cause, and the first
// thing to check.
var findingTexts = map[analyze.Kind]func(*analyze.Plan, *group) string{
	analyze.NotSampled: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s gave no samples at %s. Check the converter and its channel in the rig file.", g.signal, g.at())
	},
	analyze.SamplesMissing: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("Samples of %s are missing at %s, for %s at a time. What it did meanwhile is not known. Check the converter's wires and what else keeps the processor busy, or the file's rows.", g.signal, g.at(), g.time())
	},
	analyze.WatchedShort: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s was watched for only %s at %s. That is too short to say whether it does what is expected. Hold the step for longer.", g.signal, g.time(), g.at())
	},
	analyze.Reversed: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s is at %s at %s, below zero. Check whether its two wires are swapped.", g.signal, g.volts(), g.at())
	},
	analyze.MorePulses: func(plan *analyze.Plan, g *group) string {
		if ofCoils(plan) {
			return fmt.Sprintf("%s pulsed %s times at %s, %s expected. Check for a loose wire, and what else switches the coil.", g.signal, g.number(), g.at(), pulsesExpected(plan, g))
		}
		return fmt.Sprintf("%s pulsed %s times at %s, %s expected. Check the output's programming, and for a loose wire.", g.signal, g.number(), g.at(), pulsesExpected(plan, g))
	},
	analyze.FewerPulses:    fewerPulsesText,
	analyze.LongOn:         phaseText("stays on too long", "each time"),
	analyze.ShortOn:        phaseText("is on too briefly", "each time"),
	analyze.LongOff:        phaseText("stays off too long", "between two pulses"),
	analyze.ShortOff:       phaseText("is off too briefly", "between two pulses"),
	analyze.FlashesOn:      flashesOnText,
	analyze.FlashesBriefly: flashesBrieflyText,
	analyze.DoesNotFlash:   doesNotFlashText,
	analyze.StopsEarly:     stopsEarlyText,
	analyze.DidNotMove:     didNotMoveText,
	analyze.MovedInstead: func(plan *analyze.Plan, g *group) string {
		if ofCoils(plan) {
			return fmt.Sprintf("%s did not move at %s, but %s moved instead: very likely crossed wires. Check which drive switches which coil, then the line's number in the rig file.", g.signal, g.at(), g.other)
		}
		return fmt.Sprintf("%s did not move at %s, but %s moved instead: very likely a wrong output address. Check the address of this output in the unit's programming (main board and expanders share one list), then the wire.", g.signal, g.at(), g.other)
	},
	analyze.MovedUnasked: func(plan *analyze.Plan, g *group) string {
		if ofCoils(plan) {
			return fmt.Sprintf("%s moved at %s and should have kept its state. Check which drive its coil is wired to.", g.signal, g.at())
		}
		return fmt.Sprintf("%s moved at %s and should have kept its state. Check whether another output is programmed to its address.", g.signal, g.at())
	},
	analyze.MovedTogether: func(plan *analyze.Plan, g *group) string {
		if ofCoils(plan) {
			return fmt.Sprintf("%s moves together with %s at %s, at the same time and between the same levels, and should not have moved. Check for a short between their wires or terminals, then which drive switches which coil.", g.signal, g.other, g.at())
		}
		return fmt.Sprintf("%s moves together with %s at %s, at the same time and between the same levels, and should not have moved. Check for a short between their wires or terminals: take one off and see whether it still moves. If it does, check whether both are programmed to one address.", g.signal, g.other, g.at())
	},
	analyze.Inverted: func(plan *analyze.Plan, g *group) string {
		if ofCoils(plan) {
			return fmt.Sprintf("%s is inverted: it does the opposite of what is expected at %s. Check the drive's polarity in the rig file (active), then the transistor that switches the coil.", g.signal, g.at())
		}
		return fmt.Sprintf("%s is inverted: it does the opposite of what is expected at %s. Check the output's polarity in the unit's programming.", g.signal, g.at())
	},
	analyze.FellBack: func(plan *analyze.Plan, g *group) string {
		if ofCoils(plan) {
			return fmt.Sprintf("%s reached its state at %s and did not keep it until the next event. Check whether the coil's supply holds under load, then the drive's wire.", g.signal, g.at())
		}
		return fmt.Sprintf("%s reached its state at %s and did not keep it until the next event. Check whether the output is programmed as a pulse or with a time, and whether its supply holds under load.", g.signal, g.at())
	},
	analyze.NoPulse: func(plan *analyze.Plan, g *group) string {
		if ofCoils(plan) {
			return fmt.Sprintf("%s went high at %s and did not come back: no pulse. Check whether the event is a pulse in the rig file.", g.signal, g.at())
		}
		return fmt.Sprintf("%s went high at %s and did not come back: no pulse. Check whether the output is programmed as a pulse.", g.signal, g.at())
	},
	analyze.PulseLength: func(plan *analyze.Plan, g *group) string {
		if ofCoils(plan) {
			return fmt.Sprintf("%s pulses for %s at %s; the nearest limit is %s. Check the event's pulse in the rig file.", g.signal, g.time(), g.at(), g.timeLimit())
		}
		return fmt.Sprintf("%s pulses for %s at %s; the nearest limit is %s. Check the pulse time in the unit's programming.", g.signal, g.time(), g.at(), g.timeLimit())
	},
	analyze.LowWhenOn: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s is low when on: %s, at least %s expected. ", g.signal, g.volts(), g.voltLimit()) + eitherBench(plan,
			"Check the supply and battery under load, then the load's current and the wiring's resistance.",
			"Check the coil's supply under load, then the voltage across what switches the coil, and the wiring's resistance.")
	},
	analyze.HighWhenOn: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s is too high when on: %s, at most %s expected. ", g.signal, g.volts(), g.voltLimit()) + eitherBench(plan,
			"Check the charger's voltage.", "Check what voltage the coil's supply is set to.")
	},
	analyze.HighWhenOff: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s is too high when off: %s, at most %s expected. ", g.signal, g.volts(), g.voltLimit()) + eitherBench(plan,
			"Check for leakage and for a load that returns to another supply.",
			"Check for leakage of the transistor that switches the coil, then whether the drive's line goes all the way to its off level.")
	},
	analyze.OffMayHold: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("The off-state voltage can hold relay %s in. It leaves a margin of %s to the must-release voltage%s, at least %s wanted. ", g.signal, g.volts(), mustRelease(plan, g.signal), g.voltLimit()) + eitherBench(plan,
			"Check for leakage. Fit a resistor across the coil, or a relay with a lower coil resistance.",
			"Check for leakage of the transistor that switches the coil.")
	},
	analyze.WeakPullIn: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s has little margin to pull in: %s above its must-operate voltage, at least %s wanted. ", g.signal, g.volts(), g.voltLimit()) + eitherBench(plan,
			"Check the output's level under load and the relay's rating.",
			"Check the coil's supply under load, then the relay's rating against it.")
	},
	analyze.Rippling: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s is not steady: %s peak to peak, at most %s expected. ", g.signal, g.volts(), g.voltLimit()) + eitherBench(plan,
			"Check for mains hum, a bad ground, or a failing supply or battery.",
			"Check for mains hum, a bad ground, or a coil's supply that fails under load.")
	},
	analyze.Drooping: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s does not hold its level: it drifts during the state at %s. ", g.signal, g.at()) + eitherBench(plan,
			"Check the battery and the supply under load.",
			"Check the coil's supply under load, then whether what switches the coil gets hot.")
	},
	analyze.LeftState: func(plan *analyze.Plan, g *group) string {
		if ofCoils(plan) {
			return fmt.Sprintf("%s left its state for %s at %s. Check its wire and terminal, then the drive's wire and the coil's supply.", g.signal, g.time(), g.at())
		}
		return fmt.Sprintf("%s left its state for %s at %s. Check its wire and terminal, then the output's programming.", g.signal, g.time(), g.at())
	},
	analyze.LooseWire: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s falls to 0 V for %s at a time, below its own off level: very likely a loose wire or terminal. Pull gently at its wires.", g.signal, g.time())
	},
	analyze.SlowSwitching: func(plan *analyze.Plan, g *group) string {
		if ofCoils(plan) {
			return fmt.Sprintf("%s switches late at %s: after %s, limit %s. Check what is between the drive and the coil: a slow optocoupler, a capacitor, another relay.", g.signal, g.at(), g.time(), g.timeLimit())
		}
		return fmt.Sprintf("%s switches late at %s: after %s, limit %s. Check delays in the unit's programming.", g.signal, g.at(), g.time(), g.timeLimit())
	},
	analyze.EarlySwitching: func(plan *analyze.Plan, g *group) string {
		if ofCoils(plan) {
			return fmt.Sprintf("%s switches early at %s: after %s, not before %s expected. Check what else switches the coil.", g.signal, g.at(), g.time(), g.timeLimit())
		}
		return fmt.Sprintf("%s switches early at %s: after %s, not before %s expected. Check the exit delay in the unit's programming.", g.signal, g.at(), g.time(), g.timeLimit())
	},
	analyze.SlowTransition: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s changes its level slowly at %s: %s. Check for a capacitive load.", g.signal, g.at(), g.time())
	},
	analyze.RelayStill: relayStillText,
	analyze.CommonOpen: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("Neither contact of %s ever reads closed, not even the break contact at rest. Check the wire to the contacts' common, then whether the relay is in its socket.", g.signal)
	},
	analyze.PulledDown: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s is pulled down at %s: it goes up to %s only. Something takes all its current, and may get hot: a diode across the coil the wrong way round, or a short. ", g.signal, g.at(), g.volts()) + eitherBench(plan,
			"Switch off, take the load off the output and run again. Then check the diode's polarity.",
			"Switch off and check the diode's polarity, then the coil's resistance with a meter.")
	},
	analyze.SagsOnLoad: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s is low when on: %s, at least %s expected. It is higher for a moment and sags as the load draws its current. ", g.signal, g.volts(), g.voltLimit()) + eitherBench(plan,
			"Check the battery and the supply under load, then the resistance of their wires.",
			"Check the coil's supply under load, then the resistance of its wires.")
	},
	analyze.HeavyLoad: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s is low when on (%s, at least %s expected), and nearly 0 V when off. A load that draws too much does that. Check the coil's resistance with a meter: shorted turns lower it. ", g.signal, g.volts(), g.voltLimit()) + eitherBench(plan,
			"Then look for a second load on the output. Where good outputs read as little when off, check the supply under load first.",
			"Then look for a second load beside the coil. Where a good coil reads as little when off, check the supply under load first.")
	},
	analyze.NoDiode: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s goes to %s or lower when it switches off at %s: no diode across the coil of %s holds it. Check that the diode is there and joined at both ends. Without it %s takes the coil's energy and may fail.", g.signal, g.level(g.lowest, g.where(g.lowest)), g.at(), g.other, eitherBench(plan, "the output stage", "what switches the coil"))
	},
	analyze.ZeroNotJoined: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("Outputs that are off read below zero, down to %s, as another one goes on: the 0 V of rig and unit are not joined. No figure counts until they are. Check the wire from the rig's 0 V to that of the %s.", g.level(g.lowest, g.where(g.lowest)), eitherBench(plan, "unit", "coils' supply"))
	},
	analyze.RefInverted: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("Reference %s reads the opposite: it becomes inactive as a drive goes on, and active at its end. No time counts from it. Check its wires, then its polarity in the rig file (active).", g.signal)
	},
	analyze.PullsInHigh: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("Relay %s pulls in only at %s; it must operate at %s. Check the coil's rated voltage, then whether the relay is hot or its armature is hindered.", g.signal, g.volts(), g.rating())
	},
	analyze.LetsGoLow: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("Relay %s releases only at %s; it must release at %s. Check the armature and its spring. ", g.signal, g.volts(), g.rating()) + eitherBench(plan,
			"Leakage of an output may hold such a relay in.",
			"What leaks through a switch that is off may hold it in.")
	},
	analyze.RelayAlone: func(plan *analyze.Plan, g *group) string {
		if plan.MovesAt(g.events) {
			return fmt.Sprintf("Relay %s changed over at %s, where only the supply was set. Check its must-operate and must-release voltages against that supply.", g.signal, g.at())
		}
		return fmt.Sprintf("Relay %s moved at %s although its %s %s did not. ", g.signal, g.at(), eitherBench(plan, "output", "coil"), g.other) + eitherBench(plan,
			"Check which output the coil is wired to.", "Check which drive switches this relay's coil, and which contacts are wired to which lines.")
	},
	analyze.HeldIn: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("Relay %s is held in: %s is off at %s, above the %s at which the relay must release. ", g.signal, g.other, g.volts(), g.rating()) + eitherBench(plan,
			"Check for leakage. Fit a resistor across the coil: it lowers the off-state voltage.",
			"Check for leakage of the transistor that switches the coil, then for a wire that feeds the coil past it.")
	},
	analyze.ContactsSwap: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("NO and NC of %s are swapped: the contact named as normally open opens when the relay operates. Swap the two wires, or the names in the rig file.", g.signal)
	},
	analyze.Welded: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("Contact %s is welded: it stays closed although the %s is off and low enough to release the relay. Check with the coil unplugged. Replace the relay and find what overloaded it.", g.signal, eitherBench(plan, "output", "coil"))
	},
	analyze.UnsteadyMake: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("Contact %s does not close steadily although the relay moves: high contact resistance or a bad wire. Check its resistance with a meter, then its terminal.", g.signal)
	},
	analyze.Chattering: func(plan *analyze.Plan, g *group) string {
		steady := eitherBench(plan, "output", "coil's voltage")
		if relay := relayOfContact(plan, g.signal); relay != "" {
			return fmt.Sprintf("Contact %s keeps opening for moments while the %s is steady: relay %s chatters, or the contact is bad. Check the coil's voltage for ripple and whether it is high enough, then the contact.", g.signal, steady, relay)
		}
		return fmt.Sprintf("Relay %s chatters: both contacts keep changing while the %s is steady. Check the coil's voltage for ripple and whether it is high enough.", g.signal, steady)
	},
	analyze.CoilCarries: func(plan *analyze.Plan, g *group) string {
		return fmt.Sprintf("The coil of %s carries current: %s swings down to %s as it goes off, below its level of %s. The coil and its wires are not open. Check the voltage at the coil's own terminals, then the armature.", g.signal, g.other, g.level(g.lowest, g.where(g.lowest)), g.level(g.limit, g.where(g.lowest)))
	},
	analyze.LongBounce: func(_ *analyze.Plan, g *group) string {
		if g.other == string(analyze.BounceCount) {
			return fmt.Sprintf("Contact %s bounces too often: up to %s, limit %s. Check for worn or dirty contacts.", g.signal, words.Count(int(g.highest), "time"), g.limitText(unit.Number))
		}
		return fmt.Sprintf("Contact %s bounces too long: %s, limit %s. Check for worn or dirty contacts and a loose relay.", g.signal, g.time(), g.timeLimit())
	},
	analyze.SlowOperate: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("Relay %s operates slowly: %s, limit %s. Check the coil's voltage when it pulls in, then whether the armature moves freely.", g.signal, g.time(), g.timeLimit())
	},
	analyze.SlowRelease: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("Relay %s releases slowly: %s, limit %s. Check for a plain diode or a capacitor across the coil, and for off-state voltage. Where it gets later from cycle to cycle, a contact begins to weld.", g.signal, g.time(), g.timeLimit())
	},
	analyze.Overlap: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("Both contacts of %s were closed at once during the change-over: transfer time %s. Check whether it is a make-before-break type, and whether a contact sticks.", g.signal, g.time())
	},
	analyze.EdgesLost: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("Edges of relay %s were lost at %s, so what its contacts did is not known. Check what else keeps the processor busy, then for a contact that chatters faster than the lines can follow.", g.signal, g.at())
	},
	analyze.EdgesSuspect: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("What the contacts of %s did at %s is not sure: their GPIO chip loses edges that come close together, for it lost many ready edges of the converters. Take ready out of the rig file, or wire the contacts to another GPIO chip.", g.signal, g.at())
	},
	analyze.NotVolts: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s reads up to %s at %s, which it cannot have. Check whether the file's column holds millivolts (one named _V holds volts), or the divider in the rig file.", g.signal, g.volts(), g.at())
	},
	analyze.Doubtful: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s of %s cannot be decided at %s. The reason stands with each figure.", quantityText(g), g.signal, g.at())
	},
	analyze.SupplyLost: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("The supply's converter had lost its setting at %s. The unit was not supplied as it should be, so nothing counts until the end of that cycle. The converter has been set again. Check its own supply and ground for dips, and what else may write to the bus.", g.at())
	},
	analyze.OverdueCalibration: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("The calibration of %s is overdue, so no figure that rests on it passes or fails. Calibrate %s again. With overdue_calibrations: judge in the rig file or the sequence such figures are judged.", g.signal, g.signal)
	},
	analyze.FutureCalibration: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("The calibration of %s is dated in the future, so no figure that rests on it passes or fails. Check the clock of this computer, then the date of the calibration.", g.signal)
	},
	analyze.Overshoots: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s overshoots at %s: it goes up to %s before it settles at %s. Check for long wires or a load that rings, and whether the load can bear that.", g.signal, g.at(), g.level(g.highest, g.where(g.highest)), g.level(g.limit, g.where(g.highest)))
	},
	analyze.Undershoots: func(_ *analyze.Plan, g *group) string {
		return fmt.Sprintf("%s undershoots at %s: it goes down to %s before it settles at %s. Check the diode across the coil, and for long wires or a load that rings.", g.signal, g.at(), g.level(g.lowest, g.where(g.lowest)), g.level(g.limit, g.where(g.lowest)))
	},
	analyze.OffLimit:  offLimitText,
	analyze.NearLimit: nearLimitText,
}

func relayStillText(plan *analyze.Plan, g *group) string {
	moves := fmt.Sprintf("Relay %s never moves although %s does (%s)", g.signal, g.other, g.volts())
	if g.carries {
		moves += ", and its coil carries current"
	}
	if g.with != nil && g.carries {
		return moves + fmt.Sprintf(", and %s is high when off (%s): very likely a joint in the coil's wire is bad. Check the coil's wires, then its resistance with a meter.", g.other, g.with.volts())
	}
	if g.with != nil {
		return moves + fmt.Sprintf(", and %s is high when off (%s): very likely the coil or its wire is open, or a joint in the wire is bad. Check the coil's wires, then its resistance with a meter.", g.other, g.with.volts())
	}
	return moves + fmt.Sprintf(". Check the voltage at the coil's own terminals. Where it is lower than at the %s, a joint in its wires is bad. Else check the coil's resistance with a meter, then the armature.", eitherBench(plan, "output", "switch"))
}

// relayOfContact is the relay that a contact belongs to; empty: the signal is none.
func relayOfContact(plan *analyze.Plan, signal string) string {
	if plan == nil {
		return ""
	}
	for i := range plan.Relays {
		if r := &plan.Relays[i]; signal == r.Make || signal == r.Break {
			return r.Signal
		}
	}
	return ""
}

// mustRelease is the voltage at which a relay must release, in words.
func mustRelease(plan *analyze.Plan, relay string) string {
	if plan == nil {
		return ""
	}
	if r := plan.Relay(relay); r != nil && !math.IsNaN(float64(r.MustRelease)) {
		return " of " + r.MustRelease.String()
	}
	return ""
}

func didNotMoveText(plan *analyze.Plan, g *group) string {
	demanded := demandAt(plan, g)
	if demanded != "" {
		demanded = " " + demanded
	}
	if g.with != nil {
		return readsNothingText(plan, g)
	}
	if ofCoils(plan) {
		return coilDidNotMoveText(g, demanded)
	}
	if other := otherWays(plan, g); other != "" && g.often == "" {
		return fmt.Sprintf("%s did not go%s at %s, though it does at %s: it stays at %s. Check which ways of arming or alarm the output is programmed to follow, then whether the unit takes that one.", g.signal, demanded, g.at(), other, g.volts())
	}
	if g.often != "" {
		return fmt.Sprintf("%s failed to switch in some cycles: it did not go%s at %s, though it does at other times. Check the key-switch wire and how long it is pulsed, then whether the unit refuses to arm (an open zone, a tamper).", g.signal, demanded, g.at())
	}
	check := "Check whether the unit armed at all, then the output's programming, fuse and wire."
	if g.highest > float64(analyze.AssumedNominal)/2 {
		check = "Check the output's programming and whether its load is connected: without one, what leaks through its switch holds it up. Then check for a short to the supply or a switch that has failed closed."
	}
	return fmt.Sprintf("%s did not go%s at %s: it stays at %s, and no other output moved instead. %s", g.signal, demanded, g.at(), g.volts(), check)
}

// readsNothingText is didNotMoveText for an output that reads 0 V while its relay moves.
func readsNothingText(plan *analyze.Plan, g *group) string {
	return fmt.Sprintf("%s reads 0 V at %s although its relay %s moves: it is not read as it is. Check its sense wire, then the wire between the 0 V of the rig and of the %s.",
		g.signal, g.at(), g.with.signal, eitherBench(plan, "unit", "coils' supply"))
}

// otherWays names the other events at which an output must go where it did not.
func otherWays(plan *analyze.Plan, g *group) string {
	if plan == nil || plan.Output(g.signal) == nil {
		return ""
	}
	expect := plan.Output(g.signal).Expect
	demand := expect[g.events[0]].Demand
	var others []string
	for _, e := range plan.Steps {
		if expect[e].Demand == demand && !slices.Contains(g.events, e) && !slices.Contains(others, e) {
			others = append(others, e)
		}
	}
	return strings.Join(others, ", ")
}

// ofCoils reports whether the rig itself switches the outputs: then there is no panel to
// look at.
func ofCoils(plan *analyze.Plan) bool { return plan != nil && plan.Coils }

// eitherBench is what to say of a panel's outputs, or of coils that the rig itself switches.
func eitherBench(plan *analyze.Plan, panel, coils string) string {
	if ofCoils(plan) {
		return coils
	}
	return panel
}

// coilDidNotMoveText is didNotMoveText for a coil that the rig switches.
func coilDidNotMoveText(g *group, demanded string) string {
	if g.often != "" {
		return fmt.Sprintf("%s failed to switch in some cycles: it did not go%s at %s, though it does at other times. Check for a loose wire between the drive, what switches the coil, and the coil, then whether the coil's supply holds.", g.signal, demanded, g.at())
	}
	check := "Check the coil's supply, then the drive's wire, the line's number in the rig file, and what switches the coil."
	if g.highest > float64(analyze.AssumedNominal)/2 {
		check = "Check for a transistor or contact in the coil's circuit that has failed closed, then for a short to the supply."
	}
	return fmt.Sprintf("%s did not go%s at %s: it stays at %s, and no other coil moved instead. %s", g.signal, demanded, g.at(), g.volts(), check)
}

// demandAt is the word of what was demanded at all of a finding's events.
func demandAt(plan *analyze.Plan, g *group) string {
	if plan == nil {
		return ""
	}
	o := plan.Output(g.signal)
	if o == nil {
		return ""
	}
	word := ""
	for _, e := range g.events {
		d := o.Expect[e].Demand
		w := d.String()
		if d == analyze.Pulse || d == analyze.Train {
			w = "high"
		}
		if word != "" && w != word {
			return ""
		}
		word = w
	}
	return word
}

func offLimitText(_ *analyze.Plan, g *group) string {
	value, limit := g.figures()
	return fmt.Sprintf("%s of %s is out of its limit: %s, limit %s.", quantityText(g), g.signal, value, limit)
}

func nearLimitText(_ *analyze.Plan, g *group) string {
	value, limit := g.figures()
	return fmt.Sprintf("%s of %s cannot be decided: %s is closer to the limit %s than the measurement is sure. What would settle it stands with each figure.", quantityText(g), g.signal, value, limit)
}

// figures are the group's values and their limit, in the unit of the quantity that they are of.
func (g *group) figures() (values, limit string) {
	k := unit.Of(analyze.Quantity(g.other).Unit())
	return g.span(k), g.limitText(k)
}

// quantityText is the name of the group's quantity at the beginning of a sentence.
func quantityText(g *group) string {
	text := strings.ReplaceAll(g.other, "_", " ")
	if text == "" {
		return "A figure"
	}
	return words.Capital(text)
}
