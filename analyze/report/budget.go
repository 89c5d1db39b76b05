package report

import (
	"fmt"
	"strconv"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/words"
)

// Budget is the uncertainty budget of one measurement of a record, as JCGM 100:2008
// (the GUM), 8, wants it shown.
type Budget struct {
	Record      *Record
	Measurement analyze.Measurement
}

// budgetForm is how a measurement is named.
const budgetForm = "SIGNAL.QUANTITY[@EVENT][#CYCLE], as in OUT3.high_level@arm-away#5"

// wantedBudget names one measurement.
type wantedBudget struct {
	signal   string
	quantity analyze.Quantity
	event    string
	anyEvent bool
	cycle    int // 0: the latest
}

// parseBudget reads SIGNAL.QUANTITY[@EVENT][#CYCLE]. An empty event is the state
// before the first one.
func parseBudget(s string) (wantedBudget, error) {
	for i := range s {
		if s[i] != '.' || i == 0 {
			continue
		}
		q, rest := s[i+1:], ""
		if end := strings.IndexAny(q, "@#"); end >= 0 {
			q, rest = q[:end], q[end:]
		}
		if !analyze.Quantity(q).Known() {
			continue
		}
		w := wantedBudget{signal: s[:i], quantity: analyze.Quantity(q)}
		return w, w.place(rest)
	}
	return wantedBudget{}, fmt.Errorf("write it as %s; the quantities are %s", budgetForm, joined(analyze.Quantities()))
}

// place reads [@EVENT][#CYCLE].
func (w *wantedBudget) place(s string) error {
	if i := strings.LastIndexByte(s, '#'); i >= 0 {
		n, err := strconv.Atoi(s[i+1:])
		if err != nil || n < 1 {
			return fmt.Errorf("%q is not a cycle: write a whole number, 1 or more, after the #", s[i+1:])
		}
		w.cycle, s = n, s[:i]
	}
	var named bool
	w.event, named = strings.CutPrefix(s, "@")
	w.anyEvent = !named
	return nil
}

// FindBudget finds the measurement named by SIGNAL.QUANTITY[@EVENT][#CYCLE]: without
// an event at any, without a cycle in the latest one that has a budget. An error says
// what there is instead.
func FindBudget(r *Record, name string) (*Budget, error) {
	w, err := parseBudget(name)
	if err != nil {
		return nil, err
	}
	s := search{wantedBudget: w}
	for m, err := range r.measurements() {
		if err != nil {
			return nil, readingFailed(err)
		}
		s.see(m)
	}
	if s.found == nil {
		return nil, s.missing()
	}
	if len(s.found.Budget) == 0 {
		return nil, fmt.Errorf("%s in cycle %d has no budget: %s", name, s.found.Cycle, withoutBudget(s.found))
	}
	return &Budget{r, *s.found}, nil
}

// withoutBudget says why a measurement has none.
func withoutBudget(m *analyze.Measurement) string {
	switch {
	case diagnose.Reason(m) != "":
		return oneLine(diagnose.Reason(m))
	case m.Quantity.Unit() == "1":
		return "it is a count"
	}
	return "no uncertainty is stated of it"
}

// search looks for one measurement and keeps what it saw on the way.
type search struct {
	wantedBudget
	found                       *analyze.Measurement
	signals, quantities, events []string
	first, last                 int // cycles
}

func (s *search) see(m analyze.Measurement) {
	s.signals = appendNew(s.signals, m.Signal)
	if m.Signal != s.signal {
		return
	}
	s.quantities = appendNew(s.quantities, string(m.Quantity))
	if m.Quantity != s.quantity {
		return
	}
	s.events = appendNew(s.events, m.Event)
	if !s.anyEvent && m.Event != s.event {
		return
	}
	if s.first == 0 {
		s.first = m.Cycle
	}
	s.last = max(s.last, m.Cycle)
	if s.cycle != 0 && m.Cycle != s.cycle {
		return
	}
	if s.found == nil || len(m.Budget) > 0 || len(s.found.Budget) == 0 {
		s.found = &m
	}
}

// missing says what is not there, and what is.
func (s *search) missing() error {
	switch {
	case len(s.signals) == 0:
		return fmt.Errorf("the run has no figures")
	case len(s.quantities) == 0:
		return fmt.Errorf("the run has no signal %s; it has: %s", s.signal, joined(s.signals))
	case len(s.events) == 0:
		return fmt.Errorf("the run has no %s of %s; it has: %s", s.quantity, s.signal, joined(s.quantities))
	case s.first == 0:
		for i, e := range s.events {
			if e == "" {
				s.events[i] = "the start (an empty event: @)"
			}
		}
		return fmt.Errorf("the run has no %s of %s at %q; it has it at: %s", s.quantity, s.signal, s.event, joined(s.events))
	}
	return fmt.Errorf("the run has no cycle %d of it; its cycles go from %d to %d", s.cycle, s.first, s.last)
}

// joined lists names.
func joined[T ~string](names []T) string {
	return words.And(words.Texts(names, func(n T) string { return oneLine(string(n)) }))
}
