package survey

import (
	"slices"
)

// state is one state of a survey: from an event to the next.
type state struct {
	event  string
	before string // the event before; empty: none of this survey
	cycle  int
	place  int     // in its round, from 0
	lasts  float64 // seconds
}

// seen is all that was observed: of each output what it did in each state.
type seen struct {
	states  []state
	events  []string // in the rig's order
	outputs map[string][]*observation
}

// learner finds what each event does to each output, and which events decide about that of
// others: after arming a panel may do at an alarm what it does not do after disarming.
type learner struct {
	*seen
	// deciding are the events that decide; mode is, of each state, the last of them before.
	deciding []string
	mode     []string
}

// The cost of what is assumed, counted in observations that would be unexplained without: a
// condition must explain two at least, since one may be a slip of the unit. Where different
// events could be those that decide, as few of them are taken as explain everything; but those
// that arm or disarm by their names rather than others, and all of these.
const (
	conditionCost = 1.9
	decidingCost  = 0.01
)

// assumed is what it costs to take events for those that decide.
func assumed(deciding []string) (cost float64) {
	for _, e := range deciding {
		if roleByName(e) == "" {
			cost += decidingCost
		} else {
			cost -= decidingCost
		}
	}
	return cost
}

// mostDeciding is of how many events all choices of deciding ones are tried. Beyond, either none
// or all are.
const mostDeciding = 8

// learn finds which events decide.
func learn(s *seen) *learner {
	var found *learner
	least := 0.0
	for _, deciding := range choices(s.events) {
		l := &learner{seen: s, deciding: deciding}
		l.setModes()
		cost := assumed(deciding)
		for _, all := range s.outputs {
			for _, event := range s.events {
				acts := l.acts(event, all)
				for _, a := range acts {
					cost += float64(a.Wrong)
				}
				cost += conditionCost * float64(len(acts)-1)
			}
		}
		if found == nil || cost < least {
			found, least = l, cost
		}
	}
	return found
}

// choices are the sets of events that may decide, none of them first.
func choices(events []string) [][]string {
	if len(events) > mostDeciding {
		return [][]string{nil, events}
	}
	var all [][]string
	for set := range 1 << len(events) {
		var these []string
		for i, e := range events {
			if set>>i&1 == 1 {
				these = append(these, e)
			}
		}
		if len(these) != 1 { // one alone decides nothing: it is always the last
			all = append(all, these)
		}
	}
	slices.SortStableFunc(all, func(a, b []string) int { return len(a) - len(b) })
	return all
}

// setModes finds the last deciding event before each state's own.
func (l *learner) setModes() {
	l.mode = make([]string, len(l.states))
	mode := ""
	for i, s := range l.states {
		if slices.Contains(l.deciding, s.before) {
			mode = s.before
		} else if s.before == "" {
			mode = "" // nobody knows what was before
		}
		l.mode[i] = mode
	}
}

// Act is what an event does to an output, in all states or in some.
type Act struct {
	Event string
	// While are the events after the last of which, among Table.Deciding, the event does this;
	// nil: always.
	While  []string
	Effect Effect
	N      int // states in which it was observed
	Wrong  int // of these, those in which it did something else
	// Firm says that it was seen more than once, and the same each time.
	Firm bool
}

// acts is what an event does to an output: one act, or one for each of the conditions that make
// a difference.
func (l *learner) acts(event string, all []*observation) []Act {
	groups := map[string][]*observation{}
	var modes []string
	var known []*observation
	for _, o := range all {
		if l.states[o.at].event != event {
			continue
		}
		mode := l.mode[o.at]
		if mode == "" && len(l.deciding) > 0 {
			continue // what was before the survey nobody knows
		}
		if groups[mode] == nil {
			modes = append(modes, mode)
		}
		groups[mode] = append(groups[mode], o)
		known = append(known, o)
	}
	if len(known) == 0 {
		return []Act{{Event: event, Effect: Effect{Do: Stays}}}
	}
	together, wrong := best(known)
	apart := 0
	for _, mode := range modes {
		_, n := best(groups[mode])
		apart += n
	}
	if wrong > apart && len(modes) > 1 && !l.unsteady(known) {
		if acts := l.byMode(event, modes, groups); float64(wrong-apart) > conditionCost*float64(len(acts)-1) {
			return acts
		}
	}
	return []Act{newAct(event, nil, together, wrong, known)}
}

// unsteady reports whether an output did different things in rounds which are alike: no condition
// explains that, since all that came before was the same.
func (l *learner) unsteady(all []*observation) bool {
	first := map[int]*observation{}
	for _, o := range all {
		place := l.states[o.at].place
		before := first[place]
		if before == nil {
			first[place] = o
			continue
		}
		if before.high != o.high || before.moving || o.moving {
			continue
		}
		a, ok := before.effect()
		b, too := o.effect()
		if ok && too && !a.explains(o) && !b.explains(before) {
			return true
		}
	}
	return false
}

// byMode puts together the conditions under which an event does the same.
func (l *learner) byMode(event string, modes []string, groups map[string][]*observation) []Act {
	type part struct {
		modes []string
		all   []*observation
		wrong int
	}
	var parts []*part
	slices.SortStableFunc(modes, func(a, b string) int { return l.order(a) - l.order(b) })
next:
	for _, mode := range modes {
		_, alone := best(groups[mode])
		for _, p := range parts {
			both := slices.Concat(p.all, groups[mode])
			if _, n := best(both); n == p.wrong+alone {
				p.modes, p.all, p.wrong = append(p.modes, mode), both, n
				continue next
			}
		}
		parts = append(parts, &part{[]string{mode}, groups[mode], alone})
	}
	var acts []Act
	for _, p := range parts {
		e, wrong := best(p.all)
		acts = append(acts, newAct(event, p.modes, e, wrong, p.all))
	}
	return acts
}

func (l *learner) order(event string) int { return slices.Index(l.events, event) }

func newAct(event string, while []string, e Effect, wrong int, all []*observation) Act {
	return Act{Event: event, While: while, Effect: e, N: len(all), Wrong: wrong, Firm: wrong == 0 && len(all) > 1}
}

// at is the act of an event in a state.
func (l *learner) at(acts []Act, i int) *Act {
	for k := range acts {
		a := &acts[k]
		if a.Event == l.states[i].event && (a.While == nil || slices.Contains(a.While, l.mode[i])) {
			return a
		}
	}
	return nil
}
