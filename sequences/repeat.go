package sequences

import (
	"fmt"
	"strconv"
	"time"

	"makebreak/analyze"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// repeats refuses a sequence of several cycles whose later ones cannot do what the first
// does: a good unit would fail them.
func (f *fitter) repeats() {
	f.drivesLeft()
	for i := range f.seq.Plan.Outputs {
		f.stateLeft(&f.seq.Plan.Outputs[i])
	}
}

// drivesLeft finds events that switch a drive on which no step switches off again, so that
// from cycle 2 on they do nothing, and those that only switch off what is never on.
func (f *fitter) drivesLeft() {
	switched := map[string]bool{} // on, or on and off, by a step
	off := map[string]bool{}      // by a step
	for i := range f.seq.Steps {
		s := &f.seq.Steps[i]
		if drive, on := f.sets(s); drive != "" {
			switched[drive], off[drive] = switched[drive] || on, off[drive] || !on
		} else if c := f.rig.Cause(s.Cause); s.Supply == nil && c != nil && c.Drive != "" {
			switched[c.Drive], off[c.Drive] = true, true // a pulse ends
		}
	}
	told := map[string]bool{}
	for i := range f.seq.Steps {
		s := &f.seq.Steps[i]
		drive, on := f.sets(s)
		if drive == "" || told[s.Event] {
			continue
		}
		told[s.Event] = true
		switch {
		case on && off[drive]:
		case on && s.Supply != nil:
			f.supplyLeft(i, drive)
		case on && f.seq.Cycles != 1 && !f.left[drive]:
			f.left[drive] = f.doesNothing(i, "drive "+drive+" on and no step sets it off: from cycle 2 on it does nothing", f.stepTo(drive, false)+", or run one cycle")
		case !on && !switched[drive] && s.Supply == nil:
			f.doesNothing(i, "drive "+drive+" off and no step sets it on: it does nothing", f.stepTo(drive, true)+" before it")
		}
	}
}

// doesNothing tells of a step that switches a drive as it is already. It is refused where an
// output is expected to go somewhere then: that would be judged without the event.
func (f *fitter) doesNothing(step int, why, remedy string) (refused bool) {
	s := &f.seq.Steps[step]
	for i := range f.seq.Plan.Outputs {
		if _, state := f.seq.Plan.Outputs[i].Expect[s.Event].Demand.State(); state {
			f.doc.Report(fmt.Sprintf("steps[%d].event", step), s.Cause, "it sets "+why, remedy)
			return true
		}
	}
	f.cautions = append(f.cautions, s.Event+" sets "+why)
	return false
}

// stepTo says how a drive can be set on or off by a step.
func (f *fitter) stepTo(drive string, on bool) string {
	for i := range f.rig.Causes {
		if c := &f.rig.Causes[i]; c.Drive == drive && c.Pulse == 0 && c.On == on {
			return "add a step with " + c.Event
		}
	}
	event := map[bool]string{false: "released: {drive: " + drive + ", set: off}", true: "pressed: {drive: " + drive + ", set: on}"}[on]
	return "add an event to the rig file, as in " + event + ", and a step with it"
}

// supplyLeft refuses a supply that a drive switches over and no step switches back, where
// the drive may not be on for as long as all cycles take.
func (f *fitter) supplyLeft(step int, drive string) {
	d := f.rig.Drive(drive)
	path := fmt.Sprintf("steps[%d].supply", step)
	if d == nil || f.left[drive] || f.doc.Refused(path) {
		return
	}
	lasts := time.Duration(0)
	for _, s := range f.seq.Steps[step:] {
		lasts += s.Hold
	}
	if lasts.Seconds()+float64(f.seq.Cycles-1)*f.seq.Duration().Seconds() > d.LongestOn.Seconds() {
		f.left[drive] = true
		f.doc.Report(path, "", "drive "+drive+" would be on for longer than "+unit.Time.Format(d.LongestOn.Seconds())+" in "+words.Count(f.seq.Cycles, "cycle"),
			"add a step that sets the supply back")
	}
}

// stateLeft finds what an output is expected to do from a state in which the steps before
// have left it differently: to pulse or to wait out an exit delay where it is high already. An
// output that flashes may be in either state when it ends.
func (f *fitter) stateLeft(o *analyze.OutputPlan) {
	high, known, flashes := false, false, ""
	for n := range f.rounds() * len(f.seq.Steps) {
		s := &f.seq.Steps[n%len(f.seq.Steps)]
		if s.Supply != nil {
			known, flashes = false, "" // every output follows the supply
			continue
		}
		x, named := o.Expect[s.Event]
		want, state := x.Demand.State()
		path := "outputs." + o.Signal + ".expect." + s.Event
		switch {
		case flashes != "" && !f.doc.Refused(path) && (!named || x.Demand == analyze.Unmoved || state && (x.After > 0 || x.Demand == analyze.Train)):
			f.stillFlashes(o, s.Event, flashes, n)
		case known && state && high == want && (x.After > 0 || x.Demand == analyze.Train) && !f.doc.Refused(path):
			f.doc.Report(path, "", contradiction(x, want)+", but the steps before "+s.Event+" leave it "+stateWord(want)+f.inCycle(n),
				"add a step that makes it "+stateWord(!want)+" before "+s.Event+f.orOnce(n))
		}
		if !named {
			continue // unmoved
		}
		switch flashes = ""; {
		case x.Flashes():
			known, flashes = false, s.Event
		case x.Demand == analyze.Pulse || x.Demand == analyze.Train:
			high, known = false, true
		case state:
			high, known = want, true
		case x.Demand == analyze.Any:
			known = false
		}
	}
}

// stillFlashes refuses what is expected of an output that flashes until then, and for which it
// would have to be known in which state that leaves it.
func (f *fitter) stillFlashes(o *analyze.OutputPlan, event, since string, step int) {
	path := "outputs." + o.Signal + ".expect." + event
	if _, named := o.Expect[event]; !named {
		path = "outputs." + o.Signal + ".expect"
		if f.doc.Refused(path) {
			return
		}
	}
	f.doc.Report(path, "", "from "+since+" on the output flashes until "+event+f.inCycle(step)+", where it may be high or low",
		"expect high, low or any at "+event+f.orOnce(step))
}

// contradiction is what an expectation wants of an output that is in its state already.
func contradiction(x analyze.Expectation, want bool) string {
	switch {
	case x.Demand == analyze.Pulse:
		return "the output is to pulse"
	case x.Demand == analyze.Train && x.Pulses == 0:
		return "the output is to flash"
	case x.Demand == analyze.Train:
		return "the output is to pulse " + strconv.Itoa(x.Pulses) + " times"
	}
	return "the output is to go " + stateWord(want) + " after " + unit.Time.Format(x.After.Seconds())
}

func stateWord(high bool) string {
	if high {
		return "high"
	}
	return "low"
}

// inCycle says of a step that is only wrong once the cycle is repeated that it is.
func (f *fitter) inCycle(step int) string {
	if step < len(f.seq.Steps) {
		return ""
	}
	return " from cycle 2 on"
}

func (f *fitter) orOnce(step int) string {
	if step < len(f.seq.Steps) {
		return ""
	}
	return ", or run one cycle"
}
