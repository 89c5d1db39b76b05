package sim

import "time"

// relay is a change-over relay: coil, armature and two contacts.
type relay struct {
	name   string
	index  int32
	out    *output
	coil   coil
	ends   ends     // the wires at its contacts, where they were changed
	turned bool     // the two wires at its coil have changed places
	boards int      // by how many boards it was replaced
	makes  *contact // the make contact; nil: not wired
	breaks *contact
	draw   draws

	breakOpens, makeCloses float64 // ns after pull-in
	makeOpens, breakCloses float64 // ns after drop-out

	in     bool // where the armature is, or travels to
	moving bool
	watch  uint32 // turn of the armatureMoves that counts
	steps  []step // of the travel
	done   int    // steps that have happened
	spell  uint32 // turn of the weak contact's spells

	// Planted faults.
	dead       bool
	welded     bool
	weak       bool
	chatters   bool
	slow       int64 // ns that a release takes longer
	bounceLong int64 // ns that a closing bounces; 0: as usual
	worn       wear
}

// step is one change of a contact in a travel.
type step struct {
	at     int64
	brk    bool // the break contact, else the make contact
	closed bool
}

// setup draws the relay's parts. What its travels draw goes on from there, or is another take's.
func (k *relay) setup(opts *Opts, part string) {
	p, d := opts.Unit, newDraws(opts.Seed, part, opts.Exact)
	if k.draw = d; opts.Take > 0 {
		k.draw = opts.noise(part, opts.Exact)
	}
	c := &k.coil
	c.ohms = d.about(p.CoilOhms, typical.CoilOhms, spreads.coil)
	tau := d.about(p.CoilTau.Seconds(), typical.CoilTau.Seconds(), spreads.tau)
	c.henries, c.made = tau*c.ohms, c.ohms
	c.pullIn = d.about(p.PullInVolts, typical.PullInVolts, spreads.pullIn) / c.ohms
	c.dropOut = d.about(p.DropOutVolts, typical.DropOutVolts, spreads.dropOut) / c.ohms
	ns := func(set, mid time.Duration) float64 {
		return d.about(float64(set), float64(mid), spreads.travel)
	}
	k.breakOpens = ns(p.BreakOpens, typical.BreakOpens)
	k.makeCloses = ns(p.MakeCloses, typical.MakeCloses)
	k.makeOpens = ns(p.MakeOpens, typical.MakeOpens)
	k.breakCloses = ns(p.BreakCloses, typical.BreakCloses)
}

// beginRelay puts the armature where the settled coil current holds it.
func (w *World) beginRelay(k *relay) {
	k.in = !k.dead && k.coil.current(w.now) >= k.coil.pullIn
	k.makes.begin(w, k.in && !k.weak)
	k.breaks.begin(w, !k.in)
}

// begin puts a contact in its first state, in which nobody has seen it change.
func (c *contact) begin(w *World, shut bool) {
	if c == nil {
		return
	}
	c.shut, c.closed = shut, shut && !c.severed && c.reads(c.film)
	if shut && c.film > 0 {
		w.plan(happening{at: w.now + int64(shortestTouch), kind: filmChanges, index: c.index, turn: c.touch})
	}
}

// watchArmature schedules the armature's next move under the coil's present law.
func (w *World) watchArmature(k *relay) {
	k.watch++
	if k.dead || k.moving || k.in && k.welded {
		return
	}
	level := k.coil.pullIn
	if k.in {
		level = k.coil.dropOut
	}
	at, ok := k.coil.crossing(w.now, level, !k.in)
	if !ok {
		return
	}
	w.plan(happening{at: at, kind: armatureMoves, index: k.index, turn: k.watch, flag: !k.in})
}

// moveArmature begins a travel.
func (w *World) moveArmature(k *relay, in bool) {
	k.in, k.moving = in, true
	k.spell++
	k.steps, k.done = k.steps[:0], 0
	if in {
		k.wearOff()
		begins := w.now + k.worn.operateLate()
		at := begins + k.jitter(k.breakOpens)
		k.opening(at, true)
		k.closing(begins+k.jitter(k.makeCloses), false)
	} else {
		begins := w.now + k.slow + k.worn.stuckFor()
		k.opening(begins+k.jitter(k.makeOpens), false)
		k.closing(begins+k.jitter(k.breakCloses), true)
	}
	w.truth.travel(k, in)
	w.nextStep(k)
}

// jitter draws the time of one travel: some 0.1 ms from one to the next.
func (k *relay) jitter(ns float64) int64 {
	return int64(k.draw.normal(ns, min(100e3, ns/10)))
}

// opening adds the steps of an opening contact: one in six closes again once.
func (k *relay) opening(at int64, brk bool) {
	k.steps = append(k.steps, step{at, brk, false})
	again := k.draw.IntN(6) == 0
	gap, closed := k.draw.between(20*time.Microsecond, 100*time.Microsecond), k.draw.between(20*time.Microsecond, 100*time.Microsecond)
	if k.draw.exact || !again {
		return
	}
	k.steps = append(k.steps, step{at + gap, brk, true}, step{at + gap + closed, brk, false})
}

// bounceLimit is how long a healthy contact bounces at most.
const bounceLimit = int64(3500 * time.Microsecond)

// closing adds the steps of a closing contact: it opens again a few times, each
// time for less.
func (k *relay) closing(at int64, brk bool) {
	k.steps = append(k.steps, step{at, brk, true})
	if lasts := min(max(k.bounceLong, k.worn.bounces()), int64(longestBounce)); lasts > 0 {
		k.bounceOn(at, brk, lasts)
		return
	}
	n := k.draw.IntN(4) + k.draw.IntN(4)
	if k.draw.exact {
		return
	}
	end, weight := at+bounceLimit, 1.0
	for range n {
		closed := int64(weight * float64(k.draw.between(100*time.Microsecond, 600*time.Microsecond)))
		open := int64(weight * float64(k.draw.between(100*time.Microsecond, 600*time.Microsecond)))
		if at+closed+open > end {
			return
		}
		k.steps = append(k.steps, step{at + closed, brk, false}, step{at + closed + open, brk, true})
		at += closed + open
		weight *= 0.8
	}
}

// longestBounce is for how long a contact can bounce. Each of its edges is kept in memory, so one
// that bounced for a day would fill it.
const longestBounce = 10 * time.Second

// bounceOn lets the contact bounce for the time given.
func (k *relay) bounceOn(at int64, brk bool, lasts int64) {
	end := at + lasts
	for {
		closed := k.draw.between(100*time.Microsecond, 600*time.Microsecond)
		open := k.draw.between(100*time.Microsecond, 600*time.Microsecond)
		if at+closed >= end {
			return
		}
		k.steps = append(k.steps, step{at + closed, brk, false}, step{min(at+closed+open, end), brk, true})
		at += closed + open
		if at >= end {
			return
		}
	}
}

// nextStep schedules the travel's next step, or its end.
func (w *World) nextStep(k *relay) {
	if k.done < len(k.steps) {
		w.plan(happening{at: k.steps[k.done].at, kind: contactStep, index: k.index})
		return
	}
	w.plan(happening{at: w.now + int64(500*time.Microsecond), kind: travelEnds, index: k.index})
}

func (w *World) moveContact(k *relay) {
	s := k.steps[k.done]
	k.done++
	c := k.makes
	if s.brk {
		c = k.breaks
	}
	if c != nil {
		w.setContact(c, s.closed)
	}
	w.nextStep(k)
}

// endTravel lets the armature follow the coil again.
func (w *World) endTravel(k *relay) {
	k.moving = false
	w.watchArmature(k)
	if k.in {
		w.disturb(k)
	}
}

// disturb is what a faulty relay does while its armature is in.
func (w *World) disturb(k *relay) {
	if k.weak && k.makes != nil {
		k.spell++
		w.setSpell(k, false)
	}
	if k.chatters && !k.welded {
		w.plan(happening{at: w.now + k.draw.between(15*time.Millisecond, 60*time.Millisecond), kind: armatureShakes, index: k.index, turn: k.spell})
	}
}

// shake lets an armature that is in fall off and come back.
func (w *World) shake(k *relay) {
	k.moving = true
	k.steps, k.done = k.steps[:0], 0
	off := w.now + k.draw.between(300*time.Microsecond, 1000*time.Microsecond)
	back := off + k.draw.between(500*time.Microsecond, 2*time.Millisecond)
	k.steps = append(k.steps, step{w.now + 1, false, false}, step{off, true, true}, step{back, true, false})
	k.closing(back+k.draw.between(300*time.Microsecond, 1000*time.Microsecond), false)
	w.nextStep(k)
}

// setSpell makes a weak contact read closed or open, and schedules the change
// back.
func (w *World) setSpell(k *relay, closed bool) {
	w.setContact(k.makes, closed)
	lasts := k.draw.between(15*time.Millisecond, 70*time.Millisecond)
	if closed {
		lasts = k.draw.between(300*time.Microsecond, 3*time.Millisecond)
	}
	w.plan(happening{at: w.now + lasts, kind: contactSpell, index: k.index, turn: k.spell, flag: !closed})
}
