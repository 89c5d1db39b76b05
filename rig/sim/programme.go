package sim

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// Action is what the panel does with an output at an event.
type Action int

// The actions.
const (
	Nothing   Action = iota
	GoHigh           // switch on
	GoLow            // switch off
	PulseHigh        // switch on, and off again after Rule.For
	Train            // switch on for Rule.For and off for Rule.Off, again and again
)

// Rule is one line of the unit's output programming. What the panel decides for an output
// voids what it had still in mind for it: a delay that has not run out, or the rest of a train.
type Rule struct {
	Output string
	Event  string
	Do     Action
	After  time.Duration // exit or entry delay, before the output acts
	For    time.Duration // length of a pulse, or of each pulse of a train
	Off    time.Duration // of a Train: from the end of a pulse to the next one
	Pulses int           // of a Train: how many; 0: no end but Until and the next order
	Until  time.Duration // of a Train: from its beginning to its end, in which it is low; 0: none
	// While names arming and disarming events, see Opts.Arming. The rule acts only where one
	// of them was the last before Event. Empty: always.
	While []string
}

// check says what is wrong with a rule, whatever the rig has.
func (r *Rule) check() error {
	train := r.Do == Train
	switch {
	case r.Event == "":
		return errors.New("it must have an event")
	case r.Do < Nothing || r.Do > Train:
		return fmt.Errorf("action %d is not known", r.Do)
	case r.After < 0 || r.For < 0 || r.Off < 0 || r.Until < 0 || r.Pulses < 0:
		return errors.New("times and numbers must not be negative")
	case r.For == 0 && (train || r.Do == PulseHigh):
		return errors.New("a pulse must have a length")
	case train && r.Off == 0:
		return errors.New("a train must have a time between its pulses")
	case !train && (r.Off > 0 || r.Until > 0 || r.Pulses > 0):
		return errors.New("only a train has a time off, a number of pulses and an end")
	}
	return nil
}

// String tells the rule, as in "OUT3 at arm-away: on after 30 s".
func (r Rule) String() string {
	text := fmt.Sprintf("%s at %s: %s", r.Output, r.Event, r.does())
	if r.After > 0 {
		text += " after " + told(r.After)
	}
	if len(r.While) > 0 {
		text += ", where the last was " + strings.Join(r.While, " or ")
	}
	return text
}

func (r *Rule) does() string {
	switch r.Do {
	case GoHigh:
		return "on"
	case GoLow:
		return "off"
	case PulseHigh:
		return "a pulse of " + told(r.For)
	case Train:
		text := "flashing"
		if r.Pulses > 0 {
			text = words.Count(r.Pulses, "pulse")
		}
		text += fmt.Sprintf(", %s on and %s off", told(r.For), told(r.Off))
		if r.Until > 0 {
			text += ", for " + told(r.Until)
		}
		return text
	}
	return "nothing"
}

func told(d time.Duration) string { return unit.Time.Format(d.Seconds()) }

// panel is the unit's processor: it reads its inputs and switches its outputs.
type panel struct {
	events []string
	rules  [][]order // by event
	draw   draws
	delay  float64 // ns
	jitter float64 // ns, standard deviation

	arming []arming // of each panel whose outputs these are
}

// arming is what arms and disarms a panel.
type arming struct {
	by   func(event string) bool // whether an event does
	last string                  // the last one that did
}

// order is a rule with its output found.
type order struct {
	named        string  // the output that is programmed
	out          *output // the one that is switched
	do           Action
	after, lasts int64 // ns
	train        train // of a Train, without its end
	until        int64 // ns; 0: none
	while        []string
}

// train is what an output has before it: on and off until there are no pulses left, or the end
// has come.
type train struct {
	on, off int64 // ns
	pulses  int   // left; negative: no end
	end     int64 // the instant; never: none
}

// IsArming reports whether an event arms or disarms where nobody says so: by what the trade calls it.
func IsArming(event string) bool {
	first, _, _ := strings.Cut(event, "-")
	return first == "arm" || first == disarm
}

const disarm = "disarm"

// setArming says which events arm and disarm each panel, and what was the last before the start.
func (p *panel) setArming(opts *Opts) {
	panels := opts.Panels
	if panels == nil {
		panels = []Arming{{opts.Arming, opts.LastArming}}
	}
	for _, a := range panels {
		x := arming{IsArming, disarm}
		if a.Events != nil {
			x.by = func(event string) bool { return slices.Contains(a.Events, event) }
		}
		if a.Last != "" {
			x.last = a.Last
		}
		p.arming = append(p.arming, x)
	}
}

// arms reports whether an event arms or disarms one of the panels.
func (p *panel) arms(event string) bool {
	return slices.ContainsFunc(p.arming, func(a arming) bool { return a.by(event) })
}

// lastOf is the last event that armed or disarmed the panel whose events a rule's While names.
func (p *panel) lastOf(while []string) string {
	i := slices.IndexFunc(p.arming, func(a arming) bool { return a.by(while[0]) })
	return p.arming[max(0, i)].last
}

// armedBy takes in that an event came.
func (p *panel) armedBy(event string) {
	for i := range p.arming {
		if a := &p.arming[i]; a.by(event) {
			a.last = event
		}
	}
}

// event returns the index of an event's name, which is added where it is new.
func (p *panel) event(name string) int32 {
	for i, e := range p.events {
		if e == name {
			return int32(i)
		}
	}
	p.events = append(p.events, name)
	p.rules = append(p.rules, nil)
	return int32(len(p.events) - 1)
}

// program takes the rules in. Outputs that a drive switches itself are not the
// panel's.
func (w *World) program(rules []Rule) error {
	for i, r := range rules {
		o := w.output(r.Output)
		if o == nil {
			return fmt.Errorf("programme, rule %d: the rig has no output %q", i+1, r.Output)
		}
		if err := r.check(); err != nil {
			return fmt.Errorf("programme, rule %d, %s at %s: %w", i+1, r.Output, r.Event, err)
		}
		if r.Do == Nothing || w.driven(o) {
			continue
		}
		if w.firstRule == nil {
			w.firstRule = o
		}
		o.programmed = true
		e := w.panel.event(r.Event)
		w.panel.rules[e] = append(w.panel.rules[e], r.order(o))
	}
	return nil
}

func (r *Rule) order(o *output) order {
	t := train{on: int64(r.For), off: int64(r.Off), pulses: r.Pulses, end: never}
	if r.Pulses == 0 {
		t.pulses = -1
	}
	return order{named: o.name, out: o, do: r.Do, after: int64(r.After), lasts: int64(r.For), train: t, until: int64(r.Until), while: r.While}
}

// tell lets an event happen at the panel's input.
func (w *World) tell(event int32) {
	delay := max(1e6, w.panel.draw.normal(w.panel.delay, w.panel.jitter))
	w.truth.begin(w.panel.events[event], w.now)
	if len(w.panel.rules[event]) > 0 || w.panel.arms(w.panel.events[event]) {
		w.plan(happening{at: w.now + int64(delay), kind: panelReacts, index: event})
	}
}

// react schedules what the panel decides at an event.
func (w *World) react(event int32) {
	for i := range w.panel.rules[event] {
		r := &w.panel.rules[event][i]
		if len(r.while) == 0 || slices.Contains(r.while, w.panel.lastOf(r.while)) {
			w.obey(r)
		}
	}
	w.panel.armedBy(w.panel.events[event])
}

// obey schedules what a rule says.
func (w *World) obey(r *order) {
	o := r.out
	o.orders++
	h := happening{at: w.now + o.skew + r.after, kind: outputCommand, index: o.index, turn: o.orders}
	switch h.flag = r.do != GoLow; r.do {
	case Train:
		o.train = r.train
		if r.until > 0 {
			o.train.end = h.at + r.until
		}
		if o.falls > 0 {
			o.train.end = min(o.train.end, h.at+o.falls)
		}
		h.kind = trainStep
		w.plan(h)
	case PulseHigh:
		w.plan(h)
		h.at, h.flag = h.at+r.lasts, false
		w.plan(h)
	default:
		w.plan(h)
	}
}

// stepTrain switches an output to the next step of its train, and plans the one after that.
func (w *World) stepTrain(o *output, h happening) {
	t := &o.train
	w.command(o, h.flag)
	if h.flag {
		h.at, h.flag = min(h.at+t.on, t.end), false
		w.plan(h)
		return
	}
	if t.pulses > 0 {
		t.pulses--
	}
	if h.at, h.flag = h.at+t.off, true; t.pulses != 0 && h.at < t.end {
		w.plan(h)
	}
}
