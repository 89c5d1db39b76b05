package survey

import (
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/rig/wiring"
)

// Kind is what an output or a relay does, taken as a whole.
type Kind string

// The kinds. Delays, conditions and times stand in a behaviour's acts.
const (
	NeverMoves    Kind = "never-moves"    // it kept one state: Behaviour.High
	FollowsArming Kind = "follows-arming" // high from each way of arming to disarming
	FollowsOne    Kind = "follows-one"    // high from some ways of arming only: Behaviour.From
	FollowsEvents Kind = "follows-events" // high from some events to others, of which none is known to arm
	Latches       Kind = "latches"        // high from an event that does not arm, until it is disarmed or the like
	PulsesAt      Kind = "pulses-at"      // one pulse at an event
	TrainAt       Kind = "train-at"       // a number of pulses at an event
	FlashesAt     Kind = "flashes-at"     // flashing from an event, until another or for a time
	FollowsDrive  Kind = "follows-drive"  // a coil that the rig switches itself
	Mixed         Kind = "mixed"          // different things at different events
	CannotTell    Kind = "cannot-tell"    // it did different things at the same event in the same state
)

// Behaviour is what one output does.
type Behaviour struct {
	Signal string
	Kind   Kind
	// High says of an output that never moves in which state it is.
	High bool
	// Inverted says that it is low where the kind says high.
	Inverted bool
	// From are the events that switch it on, or make it pulse or flash; Until those that switch it
	// off. Of an inverted one it is the other way round.
	From, Until []string
	// Delay is how long, in seconds, the exit or entry delay is before it acts; 0: none.
	Delay float64 // s
	// Acts is what each event does to it, in the rig's order of events; Stays included.
	Acts []Act
	// Figures are how its levels and times are spread.
	Figures []Figure
	// Once says that some of what it does was seen once only.
	Once bool
}

// Figure is one quantity of a signal at an event, or at several: how its values are spread.
type Figure struct {
	Event    string // the step's name; empty: at all of them
	Quantity analyze.Quantity
	Bound    analyze.Bound // of the values, where they are bounds
	Contact  string        // that it is of; empty: the output or the relay itself
	Spread
}

// RelayBehaviour is what one relay does.
type RelayBehaviour struct {
	Plan   analyze.RelayPlan // Make and Break by what the contacts did, where they did something
	Behind Behind
	// Swapped says that the contacts did the opposite of what their names say.
	Swapped bool
	Figures []Figure
}

// Roles say which events arm and which disarm, and how that is known.
type Roles struct {
	Arming, Disarming []string
	By                RoleSource
}

// RoleSource is how the roles of events are known.
type RoleSource string

// The sources. Nothing of what is measured, and of what the outputs do at each event, depends on
// them: they choose the words.
const (
	ByUser      RoleSource = "user"      // the command line says so
	ByName      RoleSource = "name"      // the events' names say so
	ByBehaviour RoleSource = "behaviour" // a delay before an output acts tells arming from disarming
	NotKnown    RoleSource = "not-known"
)

// Table is what was learnt of a unit.
type Table struct {
	Events   []string
	Deciding []string // events of which the last one decides what others do; none: nothing depends on it
	Roles    Roles
	Outputs  []Behaviour
	Relays   []RelayBehaviour
	Cycles   int // from which something was learnt
	States   int // that were watched
	// Watched is how long, in seconds, a state was watched at least.
	Watched float64 // s

	rig   *wiring.Rig // nil: not known
	seen  *seen
	acts  map[string][]Act
	learn *learner
}

// Settings are what a table is made with beside the captures.
type Settings struct {
	Rig *wiring.Rig // nil: not known
	// Arming and Disarming are the events that do so; nil: see Roles.
	Arming, Disarming []string
}

// Of makes the table of what captures show.
func Of(captures Captures, o Settings) (*Table, error) {
	var order, outputs, contacts []string
	if o.Rig != nil {
		for _, c := range o.Rig.Causes {
			order = append(order, c.Event)
		}
		for _, x := range o.Rig.Outputs {
			outputs = append(outputs, x.Name)
		}
		for _, x := range o.Rig.Contacts {
			contacts = append(contacts, x.Name)
		}
	}
	s, k, err := observe(captures, order)
	if err != nil {
		return nil, err
	}
	if err := CheckRoles(s.events, o.Arming, o.Disarming); err != nil {
		return nil, err
	}
	l := learn(s)
	t := &Table{Events: s.events, Deciding: l.deciding, States: len(s.states), Watched: math.Inf(1), rig: o.Rig, seen: s, learn: l, acts: map[string][]Act{}}
	cycles := map[int]bool{}
	for _, x := range s.states {
		cycles[x.cycle] = true
		t.Watched = min(t.Watched, x.lasts)
	}
	t.Cycles = len(cycles)
	names := s.signals(outputs)
	for _, name := range names {
		for _, e := range s.events {
			t.acts[name] = append(t.acts[name], l.acts(e, s.outputs[name])...)
		}
	}
	if !t.conditional() {
		t.Deciding = nil
	}
	t.Roles = t.roles(o)
	for _, name := range names {
		t.Outputs = append(t.Outputs, t.behaviour(name, o.Rig))
	}
	if err := t.relays(captures, k, contacts); err != nil {
		return nil, err
	}
	return t, nil
}

// conditional reports whether what any event does depends on what came before.
func (t *Table) conditional() bool {
	for _, acts := range t.acts {
		if slices.ContainsFunc(acts, func(a Act) bool { return a.While != nil }) {
			return true
		}
	}
	return false
}

// signals are the outputs observed, in the order given, then the others by name.
func (s *seen) signals(order []string) []string {
	var all []string
	for _, name := range order {
		if s.outputs[name] != nil {
			all = append(all, name)
		}
	}
	var others []string
	for name := range s.outputs {
		if !slices.Contains(all, name) {
			others = append(others, name)
		}
	}
	slices.Sort(others)
	return append(all, others...)
}

// Output returns the behaviour of an output, nil where there is none of the name.
func (t *Table) Output(name string) *Behaviour {
	for i := range t.Outputs {
		if t.Outputs[i].Signal == name {
			return &t.Outputs[i]
		}
	}
	return nil
}

// relays finds what stands behind which output.
func (t *Table) relays(captures Captures, k *contactsSeen, contacts []string) error {
	for c, err := range captures {
		if err != nil {
			return err
		}
		for _, plan := range relaysOf(c.Capture, contacts) {
			t.Relays = append(t.Relays, relayOf(plan, k))
		}
		return nil
	}
	return nil
}

// relayOf says what a relay's contacts did.
func relayOf(plan analyze.RelayPlan, k *contactsSeen) RelayBehaviour {
	r := RelayBehaviour{Plan: plan, Behind: k.behind(plan.Make, plan.Break)}
	b := &r.Behind
	if b.Reverse[plan.Make] > b.Normal[plan.Make] || plan.Make == "" && b.Normal[plan.Break] > b.Reverse[plan.Break] ||
		plan.Break != "" && plan.Make != "" && b.Normal[plan.Make] == 0 && b.Normal[plan.Break] > b.Reverse[plan.Break] {
		r.Plan.Make, r.Plan.Break, r.Swapped = plan.Break, plan.Make, true
	}
	return r
}
