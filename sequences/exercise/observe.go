package exercise

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
	"makebreak/rig/unit"
)

// sight is one figure that an action shows.
type sight struct {
	of          string  // what it is of, for people
	value       float64 // in the base unit of what it is of
	uncertainty float64 // expanded, likewise
	kind        unit.Kind
	wild        bool // it differs much from time to time on one bench
}

// wild are the quantities that differ much from time to time on one bench.
var wild = map[analyze.Quantity]bool{analyze.BounceTime: true, analyze.BounceCount: true, analyze.Ripple: true, analyze.Hold: true}

// sights are what one action shows, by what it is of.
type sights map[string]sight

// shown is what a bench shows at every action that a trainee can do on it as it stands, by
// the action's key.
type shown map[string]sights

// key tells an action from others on the same bench.
func (a *Action) key() string {
	switch a.Kind {
	case Look:
		return string(Look) + " " + a.After
	case Probe:
		return fmt.Sprint(Probe, " ", a.A, " ", a.B, " ", a.Meter, " ", a.Off, " ", a.After)
	case Change:
		return string(Change) + " " + a.Change
	}
	return string(a.Kind)
}

// observe simulates all that can be done on a specimen as it stands, with runs of so many cycles.
// probes are the measurements with the meter that are tried.
func (s *specimen) observe(ctx context.Context, cycles int, probes []Action) (shown, error) {
	all := shown{}
	drawn := newDiagrams()
	figures, err := s.pass(ctx, cycles, func(n int, event string, w *sim.World, c *capture.Capture) error {
		drawn.state(event, c)
		if n > 0 {
			return nil
		}
		all[(&Action{Kind: Look, After: event}).key()] = looked(c)
		return s.probed(all, event, w, probes)
	})
	if err != nil {
		return nil, err
	}
	all[string(Try)] = tried(figures)
	maps.Copy(all[string(Try)], drawn.sights())
	return all, nil
}

// shows simulates one action on a specimen as it stands.
func (s *specimen) shows(ctx context.Context, a *Action) (sights, error) {
	if a.Kind == Try {
		all, err := s.observe(ctx, s.def.cyclesOf(a), nil)
		return all[a.key()], err
	}
	all := shown{}
	err := s.stopAfter(ctx, a.After, func(w *sim.World, c *capture.Capture) error {
		all[(&Action{Kind: Look, After: a.After}).key()] = looked(c)
		if a.Kind == Probe {
			return s.probed(all, a.After, w, []Action{*a})
		}
		return nil
	})
	return all[a.key()], err
}

// cyclesOf is how many cycles a run has.
func (d *Definition) cyclesOf(a *Action) int { return cmp.Or(a.Cycles, d.Sequence.Cycles) }

// diagrams gathers what a record's diagrams show of each state: how far an output went, for how
// long it was below zero, where a coil that is switched off takes it, and when a contact
// changed first, and how it stood in the end.
type diagrams struct {
	lowest, highest, below, changes map[string][]float64 // volts and seconds, by what they are of
	closed                          map[string][]sight   // contacts at the end of a state
	apart                           float64              // seconds between two samples of an output, at most
}

func newDiagrams() *diagrams {
	return &diagrams{map[string][]float64{}, map[string][]float64{}, map[string][]float64{}, map[string][]float64{}, map[string][]sight{}, 0}
}

// stampDoubt is the expanded uncertainty of a contact's time stamp, in seconds.
const stampDoubt = 20e-6

// belowZero is under which level, in volts, an output counts as below zero: the diode across a
// coil takes it to -0.7 V.
const belowZero = -0.3

// state takes in the state that a capture ends with.
func (d *diagrams) state(event string, c *capture.Capture) {
	n := len(c.Events)
	if n == 0 {
		return
	}
	from := c.Events[n-1].At
	for _, t := range c.Traces {
		low, high, below, samples := math.Inf(1), math.Inf(-1), 0, 0
		for _, volts := range t.Blocks(from, c.End) {
			for _, v := range volts {
				low, high = min(low, float64(v)), max(high, float64(v))
				if v < belowZero {
					below++
				}
			}
			samples += len(volts)
		}
		if samples == 0 {
			continue
		}
		of := t.Signal + " after " + event
		d.lowest[of], d.highest[of] = append(d.lowest[of], low), append(d.highest[of], high)
		apart := c.End.Sub(from).Seconds() / float64(samples)
		d.below[of] = append(d.below[of], float64(below)*apart)
		d.apart = max(d.apart, apart)
	}
	for _, t := range c.Tracks {
		of := t.Signal + " after " + event
		if i := slices.IndexFunc(t.Edges, func(e capture.Edge) bool { return e.At > from }); i >= 0 && isContact(t.Signal) {
			d.changes[of] = append(d.changes[of], t.Edges[i].At.Sub(from).Seconds())
		}
		if x, known := contactNow(t, c); known {
			of = t.Signal + " closed after " + event
			d.closed[of] = append(d.closed[of], x)
		}
	}
}

func (d *diagrams) sights() sights {
	all := sights{}
	add := func(what string, from map[string][]float64, kind unit.Kind, share, least float64) {
		for of, values := range from {
			v := mean(values)
			all[what+of] = sight{of: what + of, value: v, uncertainty: share*math.Abs(v) + least, kind: kind, wild: kind.Base == unit.Voltage.Base}
		}
	}
	add("lowest sample of ", d.lowest, unit.Voltage, levelShare, levelVolts)
	add("highest sample of ", d.highest, unit.Voltage, levelShare, levelVolts)
	add("time below 0 V of ", d.below, unit.Time, 0, d.apart)
	add("first change of ", d.changes, unit.Time, 0, stampDoubt)
	for of, list := range d.closed {
		x := sight{of: "cycles with " + of, kind: unit.Share}
		for _, s := range list {
			x.value, x.uncertainty = x.value+s.value/float64(len(list)), max(x.uncertainty, s.uncertainty)
		}
		all[x.of] = x
	}
	return all
}

// tried sums up what a run's record shows.
func tried(figures []analyze.Measurement) sights {
	type place struct {
		event, signal string
		quantity      analyze.Quantity
	}
	byPlace := map[place][]*analyze.Measurement{}
	for i := range figures {
		m := &figures[i]
		if m.Quantity == analyze.TransitionDuration {
			continue // mostly a bound, which depends on where the samples lie
		}
		p := place{m.Event, m.Signal, m.Quantity}
		byPlace[p] = append(byPlace[p], m)
	}
	all := sights{}
	for p, list := range byPlace {
		summed(all, fmt.Sprintf("%s %s at %s", p.signal, p.quantity.Words(), p.event), unit.Of(p.quantity.Unit()), list)
	}
	return all
}

// fewestForCourse is of how many cycles a course can be read.
const fewestForCourse = 20

// summed adds what there is to see of one quantity over the cycles: its middle, how often it could not be measured, and whether it wanders.
func summed(into sights, of string, kind unit.Kind, list []*analyze.Measurement) {
	var values []float64
	expanded := 0.0
	for _, m := range list {
		if math.IsNaN(m.Value) || m.Bound() != analyze.NoBound {
			continue
		}
		values = append(values, m.Value)
		if !math.IsNaN(m.Expanded) {
			expanded = max(expanded, m.Expanded)
		}
	}
	missing := 1 - float64(len(values))/float64(len(list))
	into[of+", cycles without it"] = sight{of: "cycles without " + of, value: missing, kind: unit.Share}
	if len(values) == 0 {
		return
	}
	add := func(what string, v, u float64) {
		into[of+what] = sight{of: of + what, value: v, uncertainty: u, kind: kind, wild: wild[list[0].Quantity]}
	}
	add("", mean(values), expanded)
	if n := len(values) / 4; len(values) >= fewestForCourse {
		add(", last quarter less the first", mean(values[len(values)-n:])-mean(values[:n]), expanded)
	}
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// lookedFor is over how long a level is read when somebody looks at it.
const lookedFor = 100 * time.Millisecond

// levelDoubt is the expanded uncertainty of a level looked at, a share of it and volts: two
// resistors of 1 % and the converter's errors.
const (
	levelShare = 0.012
	levelVolts = 0.02
)

// looked is what levels and contacts are at the end of a capture.
func looked(c *capture.Capture) sights {
	all := sights{}
	for _, t := range c.Traces {
		v, ok := levelNow(t, c.End)
		if !ok {
			continue
		}
		all[t.Signal] = sight{of: t.Signal, value: v, uncertainty: levelShare*math.Abs(v) + levelVolts, kind: unit.Voltage}
	}
	for _, t := range c.Tracks {
		if x, known := contactNow(t, c); known {
			all[t.Signal] = x
		}
	}
	return all
}

// contactNow is how a contact stands at the end of a capture; false: it is not known, or no contact.
func contactNow(t *capture.Track, c *capture.Capture) (sight, bool) {
	closed, known := t.StateAt(c.End)
	x := sight{of: t.Signal, value: map[bool]float64{true: 1}[closed], kind: unit.Number}
	if restless(t, c) {
		x.uncertainty = 1 // another look may find it the other way
	}
	return x, known && isContact(t.Signal)
}

// restless reports whether a contact changed in the second half of the state that a capture
// ends with.
func restless(t *capture.Track, c *capture.Capture) bool {
	from := c.Start
	if n := len(c.Events); n > 0 {
		from = c.Events[n-1].At
	}
	half := from.Add(c.End.Sub(from) / 2)
	return slices.ContainsFunc(t.Edges, func(e capture.Edge) bool { return e.At > half })
}

// isContact reports whether a track is of a relay's contact, by its name.
func isContact(signal string) bool {
	return strings.HasSuffix(signal, "_NO") || strings.HasSuffix(signal, "_NC")
}

// levelNow is an output's mean over the last moments of a capture.
func levelNow(t *capture.Trace, end capture.Instant) (float64, bool) {
	sum, n := 0.0, 0
	for _, volts := range t.Blocks(end.Add(-lookedFor), end) {
		for _, v := range volts {
			sum += float64(v)
			n++
		}
	}
	if n == 0 {
		_, v, ok := t.Last()
		return v, ok
	}
	return sum / float64(n), true
}
