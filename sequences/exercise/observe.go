package exercise

import (
	"context"
	"fmt"
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
}

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

// observe simulates all that can be done on a specimen as it stands. probes are the
// measurements with the meter that are tried.
func (s *specimen) observe(ctx context.Context, probes []Action) (shown, error) {
	all := shown{}
	figures, err := s.pass(ctx, s.def.Sequence.Cycles, func(event string, w *sim.World, c *capture.Capture) error {
		all[(&Action{Kind: Look, After: event}).key()] = looked(c)
		return probed(all, event, s.seed, w, probes)
	})
	if err != nil {
		return nil, err
	}
	all[string(Try)] = tried(figures)
	return all, nil
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
		p := place{m.Event, m.Signal, m.Quantity}
		byPlace[p] = append(byPlace[p], m)
	}
	all := sights{}
	for p, list := range byPlace {
		summed(all, fmt.Sprintf("%s %s at %s", p.signal, p.quantity.Words(), p.event), kindOf(p.quantity), list)
	}
	return all
}

// fewestForCourse is of how many cycles a course can be read.
const fewestForCourse = 20

// summed adds what there is to see of one quantity over the cycles: its middle, its ends,
// how often it could not be measured, and whether it wanders.
func summed(into sights, of string, kind unit.Kind, list []*analyze.Measurement) {
	var values []float64
	expanded := 0.0
	for _, m := range list {
		if math.IsNaN(m.Value) {
			continue
		}
		values = append(values, m.Value)
		if !math.IsNaN(m.Expanded) {
			expanded = max(expanded, m.Expanded)
		}
	}
	missing := 1 - float64(len(values))/float64(len(list))
	into[of+", cycles without it"] = sight{of + ", share of cycles without it", missing, 0, unit.Share}
	if len(values) == 0 {
		return
	}
	add := func(what string, v, u float64) { into[of+what] = sight{of + what, v, u, kind} }
	add("", mean(values), expanded)
	if len(values) > 1 {
		add(", lowest", slices.Min(values), expanded)
		add(", highest", slices.Max(values), expanded)
	}
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

// kindOf is how a quantity is written.
func kindOf(q analyze.Quantity) unit.Kind {
	switch q.Unit() {
	case "V":
		return unit.Voltage
	case "s":
		return unit.Time
	}
	return unit.Number
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
		all[t.Signal] = sight{t.Signal, v, levelShare*math.Abs(v) + levelVolts, unit.Voltage}
	}
	for _, t := range c.Tracks {
		closed, known := t.StateAt(c.End)
		if !known || !isContact(t.Signal) {
			continue
		}
		all[t.Signal] = sight{of: t.Signal, value: map[bool]float64{true: 1}[closed], kind: unit.Number}
	}
	return all
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
