package survey

import (
	"cmp"
	"math"
	"slices"
)

// Do is what an output does at an event.
type Do string

// What an output can do.
const (
	Stays   Do = "stays"   // it keeps its state, or goes on with what it was at
	Rises   Do = "rises"   // it goes high and stays so
	Falls   Do = "falls"   // it goes low and stays so
	Pulses  Do = "pulses"  // it goes high for a time, once or a number of times
	Flashes Do = "flashes" // it goes high and low in turn until something ends it, or for a time
	Differs Do = "differs" // now this, now that
)

// Effect is what an event does to an output. Times are in seconds.
type Effect struct {
	Do     Do
	After  float64 // seconds from the event to the first change; NaN: it was never seen to change
	On     float64 // seconds of each pulse; 0: none
	Off    float64 // seconds between pulses; 0: there is one pulse
	Pulses int     // how many; 0: flashing until something ends it
	Lasts  float64 // seconds from the first rise to the last fall of pulses or of flashing; 0: no end was seen
}

// observation is what one output did in one state: from an event to the next.
type observation struct {
	at     int // the state's place in the survey
	known  bool
	high   bool      // at the event
	moving bool      // it was flashing when the event came
	half   float64   // seconds of the longer half of that flashing
	times  []float64 // seconds from the event to each crossing, as far as they were kept
	more   int       // crossings beyond those
	lasts  float64   // seconds
	step   float64   // seconds between samples; 0: not known
}

// end is the state that the output ended in.
func (o *observation) end() bool { return o.high != ((len(o.times)+o.more)%2 == 1) }

// stretches are the times between crossings, those in which the output was high and those in
// which it was low.
func (o *observation) stretches() (highs, lows []float64) {
	high := o.high
	for i := 1; i < len(o.times); i++ {
		high = !high
		if d := o.times[i] - o.times[i-1]; o.high != (i%2 == 1) {
			highs = append(highs, d)
		} else {
			lows = append(lows, d)
		}
	}
	return highs, lows
}

// flashing reports whether the output was still going to and fro when the state ended.
func (o *observation) flashing() bool {
	n := len(o.times)
	if n < 3 {
		return false
	}
	highs, lows := o.stretches()
	if len(highs) == 0 || len(lows) == 0 {
		return false
	}
	half := (median(highs) + median(lows)) / 2
	last := o.times[n-1] + float64(o.more)*half
	wait := median(lows)
	if o.end() {
		wait = median(highs)
	}
	return o.lasts-last <= 1.3*wait+leastTimes || o.more > 0 && o.lasts-last <= 0.1*o.lasts
}

// How far two times may be apart for them to be the same behaviour. A unit's own timer may be
// off by some percent from one time to the next (common practice, no source).
const (
	leastTimes = 0.06 // seconds, between two crossings
	leastAfter = 0.3  // seconds, from the event to the first crossing: units look at their inputs in turn
	sameShare  = 0.1
)

func same(a, b, least float64) bool {
	return math.Abs(a-b) <= math.Max(least, sameShare*math.Max(a, b))
}

// regular reports whether times are alike.
func regular(times []float64) bool {
	if len(times) == 0 {
		return true
	}
	m := median(times)
	return !slices.ContainsFunc(times, func(t float64) bool { return !same(t, m, leastTimes) })
}

func median(all []float64) float64 {
	if len(all) == 0 {
		return math.NaN()
	}
	sorted := slices.Sorted(slices.Values(all))
	return (sorted[(len(sorted)-1)/2] + sorted[len(sorted)/2]) / 2
}

// effect is what the event did by this observation alone, where that can be told.
func (o *observation) effect() (Effect, bool) {
	n := len(o.times)
	switch {
	case !o.known:
		return Effect{}, false
	case o.moving:
		return o.ending()
	case n == 0:
		return Effect{Do: Stays, After: math.NaN()}, true
	case n == 1 && o.more == 0 && o.high:
		return Effect{Do: Falls, After: o.times[0]}, true
	case n == 1 && o.more == 0:
		return Effect{Do: Rises, After: o.times[0]}, true
	case o.high:
		return o.fromHigh()
	}
	return o.train(o.times, o.more)
}

// ending is what ended a flashing: the state after it.
func (o *observation) ending() (Effect, bool) {
	if o.flashing() {
		return Effect{}, false
	}
	e := Effect{Do: Falls, After: math.NaN()}
	if n := len(o.times); n > 0 && o.times[n-1] > o.half {
		e.After = o.times[n-1]
	}
	if o.end() {
		e.Do = Rises
	}
	return e, true
}

// fromHigh is a train that began when the output was high already: its first rise is not seen.
func (o *observation) fromHigh() (Effect, bool) {
	highs, lows := o.stretches()
	if len(highs) == 0 || len(lows) == 0 {
		return Effect{}, false
	}
	begun := max(0, o.times[0]-median(highs))
	return o.train(append([]float64{begun}, o.times...), o.more)
}

// train is what crossings mean that begin with a rise.
func (o *observation) train(times []float64, more int) (Effect, bool) {
	seen := observation{known: true, times: times, more: more, lasts: o.lasts, step: o.step}
	highs, lows := seen.stretches()
	e := Effect{Do: Pulses, After: times[0], On: median(highs)}
	if len(lows) > 0 {
		e.Off = median(lows)
	}
	if seen.flashing() {
		e.Do = Flashes
		return e, regular(highs) && regular(lows)
	}
	n := len(times)
	if n%2 == 1 || more > 0 {
		return Effect{}, false // it ended high
	}
	e.Pulses, e.Lasts = n/2, times[n-1]-times[0]
	whole := highs
	if k := len(highs) - 1; k > 0 && seen.cut(highs[:k], highs[k]) {
		whole = highs[:k] // a time has run out in it
		e.Do, e.Pulses = Flashes, 0
	}
	if e.Pulses > mostPulses {
		e.Do, e.Pulses = Flashes, 0
	}
	e.On = median(whole)
	return e, regular(whole) && regular(lows)
}

// cut reports whether a train's last pulse is shorter than the whole ones before it, by more than
// the sampling makes of it: each end lies within a sampling interval. Of two pulses nothing tells
// how far a unit's own differ.
func (o *observation) cut(whole []float64, last float64) bool {
	if len(whole) < 2 || o.step == 0 {
		m := median(whole)
		return last < m && !same(last, m, leastTimes)
	}
	return slices.Min(whole)-last > 2.5*o.step
}

// mostPulses is how many pulses are counted as such: more of them are a flashing for a time.
const mostPulses = 8

// explains reports whether the observation is what the effect does.
func (e *Effect) explains(o *observation) bool {
	switch {
	case !o.known:
		return true
	case e.Do == Differs:
		return false
	case o.moving && e.Do != Stays:
		return e.ends(o)
	case o.moving:
		return o.goesOn()
	}
	return e.gives(o)
}

// goesOn reports whether the output went on with what it was at.
func (o *observation) goesOn() bool {
	n := len(o.times)
	if n == 0 || o.times[0] > 1.3*o.half+leastTimes {
		return o.lasts < o.half
	}
	return o.flashing() || o.times[n-1] > leastAfter+o.half
}

// ends reports whether the effect is seen after what was left of a flashing.
func (e *Effect) ends(o *observation) bool {
	for skip := 0; skip <= len(o.times); skip++ {
		rest := *o
		rest.moving, rest.times, rest.high = false, o.times[skip:], o.high != (skip%2 == 1)
		if e.gives(&rest) {
			return true
		}
		if skip < len(o.times) && o.times[skip] > e.After+leastAfter+e.On {
			return false
		}
	}
	return false
}

// gives reports whether the effect on an output at rest is what was observed.
func (e *Effect) gives(o *observation) bool {
	n := len(o.times)
	switch e.Do {
	case Stays:
		return n == 0
	case Rises, Falls:
		if o.high == (e.Do == Rises) {
			return n == 0
		}
		return n == 1 && o.more == 0 && (math.IsNaN(e.After) || same(o.times[0], e.After, leastAfter))
	}
	if o.high {
		if n == 1 && e.Pulses == 1 {
			return same(o.times[0], e.After+e.On, leastAfter)
		}
		whole := *o
		whole.high = false
		whole.times = append([]float64{e.After}, o.times...)
		return n > 0 && same(o.times[0], e.After+e.On, leastAfter) && e.pulsesAs(&whole)
	}
	return e.pulsesAs(o)
}

// pulsesAs compares a train with what an output did that was low.
func (e *Effect) pulsesAs(o *observation) bool {
	seen, ok := o.train2()
	if !ok || !same(seen.After, e.After, leastAfter) || !same(seen.On, e.On, leastTimes) {
		return false
	}
	if e.Off > 0 && seen.Off > 0 && !same(seen.Off, e.Off, leastTimes) {
		return false
	}
	if e.Do == Flashes && e.Lasts > 0 || seen.Do == Flashes && seen.Lasts > 0 {
		return same(seen.Lasts, e.Lasts, math.Max(leastTimes, e.On+e.Off))
	}
	return seen.Do == e.Do && seen.Pulses == e.Pulses
}

func (o *observation) train2() (Effect, bool) {
	if len(o.times) < 2 {
		return Effect{}, false
	}
	return o.train(o.times, o.more)
}

// simplicity orders effects that explain the same.
func (e *Effect) simplicity() int {
	return slices.Index([]Do{Stays, Rises, Falls, Pulses, Flashes, Differs}, e.Do)
}

// best returns the effect that explains most observations, the simplest of those, and how many
// it does not explain. Observations of an output at rest come first.
func best(all []*observation) (Effect, int) {
	candidates := []Effect{{Do: Stays, After: math.NaN()}}
	for _, o := range all {
		e, ok := o.effect()
		if !ok || slices.ContainsFunc(candidates, func(c Effect) bool { return c.alike(&e) }) {
			continue
		}
		candidates = append(candidates, e)
	}
	wrong := func(e *Effect) int {
		n := 0
		for _, o := range all {
			if !e.explains(o) {
				n++
			}
		}
		return n
	}
	slices.SortStableFunc(candidates, func(a, b Effect) int {
		likelier := 0
		if a.train() && b.train() {
			likelier = cmp.Compare(shows(b.Do, all), shows(a.Do, all))
		}
		return cmp.Or(cmp.Compare(wrong(&a), wrong(&b)), likelier, cmp.Compare(a.simplicity(), b.simplicity()))
	})
	e := candidates[0]
	e.settle(all)
	return e, wrong(&candidates[0])
}

// train reports whether the effect is pulses or flashing, which can be taken for each other.
func (e *Effect) train() bool { return e.Do == Pulses || e.Do == Flashes }

// shows counts the observations that show such an effect by themselves.
func shows(do Do, all []*observation) (n int) {
	for _, o := range all {
		if e, ok := o.effect(); ok && e.Do == do {
			n++
		}
	}
	return n
}

// alike reports whether two effects are one.
func (e *Effect) alike(b *Effect) bool {
	if e.Do != b.Do {
		return false
	}
	after := same(e.After, b.After, leastAfter) || math.IsNaN(e.After) && math.IsNaN(b.After)
	return after && same(e.On, b.On, leastTimes) && same(e.Off, b.Off, leastTimes) && same(e.Lasts, b.Lasts, math.Max(leastTimes, e.On+e.Off)) && e.Pulses == b.Pulses
}

// settle takes the middle of the times of all observations that show them.
func (e *Effect) settle(all []*observation) {
	var after, on, off, lasts []float64
	for _, o := range all {
		if o.moving || !o.known || !e.explains(o) {
			continue
		}
		x, ok := o.effect()
		if !ok || x.Do != e.Do {
			continue
		}
		after, on, off, lasts = append(after, x.After), append(on, x.On), append(off, x.Off), append(lasts, x.Lasts)
	}
	if len(after) == 0 || e.Do == Stays {
		return
	}
	e.After, e.On, e.Off, e.Lasts = median(after), median(on), median(off), median(lasts)
}
