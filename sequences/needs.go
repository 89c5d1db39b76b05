package sequences

import (
	"fmt"
	"slices"

	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
)

// Panel says in which state the panel must be for an event, and in which it is after it.
type Panel struct {
	Begins string // the state before the first event; empty: nothing is said of states
	Events map[string]Transition
}

// Transition is one event's part of that.
type Transition struct {
	Needs   []string // states, of which one must be; empty: any
	LeadsTo string   // the state after it; empty: as before
}

const (
	transitionRule = "must be {needs: disarmed, leads_to: armed}, or one of both"
	stateRule      = "must be a state, as in armed, or a list of them, as in [armed, alarmed]"
)

// panel reads what the events need and where they lead.
func (r *reader) panel(events, begins *yamlfile.Node) {
	p := &r.seq.Panel
	if begins != nil {
		p.Begins, _ = begins.Text()
		checkName(begins, p.Begins)
	}
	if events == nil {
		begins.Refuse("without events it decides nothing", "leave it out, or add events, for example events: {alarm: {needs: armed}}")
		return
	}
	p.Events = map[string]Transition{}
	causes := r.seq.Causes()
	var needs []*yamlfile.Node
	for _, e := range events.Entries("must be events by name, as in alarm: {needs: armed}") {
		if len(causes) > 0 && !slices.Contains(causes, e.Name()) {
			e.Key.Refuse("no step brings this event about", words.UseOneOf(e.Name(), causes))
			continue
		}
		f, ok := e.Value.Fields(transitionRule)
		if !ok {
			continue
		}
		var t Transition
		n, to := f.May("needs"), f.May("leads_to")
		if n == nil && to == nil && !f.Empty() {
			e.Value.Refuse("it has neither needs nor leads_to", transitionRule)
		}
		if n != nil {
			t.Needs = states(n)
			needs = append(needs, n)
		}
		if t.LeadsTo, _ = to.Text(); to != nil {
			checkName(to, t.LeadsTo)
		}
		f.Done()
		p.Events[e.Name()] = t
	}
	if len(needs) > 0 && begins == nil {
		events.Fail("begins is missing: nothing says in which state the panel is at first", "add it, for example begins: disarmed")
		return
	}
	r.reachable(needs)
	if step, state := r.seq.unmet(1); step >= 0 && !r.refused && step < len(r.events) {
		why, remedy := r.seq.why(step, state)
		r.events[step].Refuse(why, remedy)
	}
}

// states reads one state or several.
func states(n *yamlfile.Node) []string {
	if n.IsText() {
		s, _ := n.Text()
		checkName(n, s)
		return []string{s}
	}
	var all []string
	for _, item := range n.Items() {
		s, ok := item.Text()
		if !ok {
			continue
		}
		checkName(item, s)
		if slices.Contains(all, s) {
			item.Refuse("this state is in the list already", "leave it out")
		}
		all = append(all, s)
	}
	return all
}

// reachable refuses states that are needed and that nothing leads to.
func (r *reader) reachable(needs []*yamlfile.Node) {
	p := &r.seq.Panel
	known := []string{}
	if p.Begins != "" {
		known = append(known, p.Begins)
	}
	for _, name := range r.seq.Causes() {
		if to := p.Events[name].LeadsTo; to != "" && !slices.Contains(known, to) {
			known = append(known, to)
		}
	}
	for _, n := range needs {
		list := []*yamlfile.Node{n}
		if !n.IsText() {
			list = n.Items()
		}
		for _, item := range list {
			if s := item.Plain(); s != "" && !slices.Contains(known, s) {
				item.Refuse("no event leads to this state, and the panel does not begin in it", words.UseOneOf(s, known))
				r.refused = true
			}
		}
	}
}

// unmet returns the first step, counted over so many cycles, for which the panel is in the wrong
// state, and that state; -1: there is none.
func (s *Sequence) unmet(cycles int) (step int, state string) {
	state = s.Panel.Begins
	if len(s.Panel.Events) == 0 {
		return -1, ""
	}
	for n := range cycles * len(s.Steps) {
		t := s.Panel.Events[s.Steps[n%len(s.Steps)].Cause]
		if s.Steps[n%len(s.Steps)].Supply != nil {
			continue // nothing is said of what the supply does to the panel
		}
		if len(t.Needs) > 0 && !slices.Contains(t.Needs, state) {
			return n, state
		}
		if t.LeadsTo != "" {
			state = t.LeadsTo
		}
	}
	return -1, ""
}

// why says what is wrong with a step for which the panel is in the wrong state, and what would do.
func (s *Sequence) why(step int, state string) (why, remedy string) {
	at := s.Steps[step%len(s.Steps)]
	need := s.Panel.Events[at.Cause].Needs
	why = fmt.Sprintf("step %d, %s, needs the panel %s, and it is %s then", step%len(s.Steps)+1, at.Event, words.Or(need), state)
	remedy = "add a step before it that leads to " + words.Or(need)
	for _, name := range s.Causes() {
		if t := s.Panel.Events[name]; slices.Contains(need, t.LeadsTo) {
			remedy += ", as " + name + " does"
			break
		}
	}
	if step >= len(s.Steps) {
		why += " from cycle 2 on"
		remedy += ", or run one cycle"
	}
	return why, remedy
}

// needs refuses a sequence whose later cycles find the panel in the wrong state.
func (f *fitter) needs() {
	if step, state := f.seq.unmet(f.rounds()); step >= 0 {
		why, remedy := f.seq.why(step, state)
		i := step % len(f.seq.Steps)
		f.doc.Report(fmt.Sprintf("steps[%d].event", i), f.seq.Steps[i].Cause, why, remedy)
	}
}
