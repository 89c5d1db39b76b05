package capture

import (
	"math"
	"slices"
	"time"
)

// How far from the level about it a reading must be to have left it: rather less than the
// least that any measurement takes for an excursion, a volt or a twentieth of the range.
const (
	leastDeparture = 0.8  // volts
	departure      = 0.04 // of the range of all samples of the state
)

// watch follows one output while a capture is thinned: when it leaves the level about it and
// when it comes back.
type watch struct {
	thinner *thinner
	trace   *Trace
	cut     int // blocks of the trace that have been looked at, and thinned out where they may be

	on           bool // the level is known
	out          bool // off it
	above, below float32
	moves        float32 // how far it must go, off the level, to be still on its way
	level        float64
	low, high    float32 // of the state
	outFor       int     // blocks in a row that began and ended off the level
	lastMiddle   float64 // volts: the median of the block before

	blocks, stride int // that were looked at in the state; every how many one is a specimen
	specimens      int

	run    run
	firsts int // episodes that stay as the first
	ranks  [measures]rank
}

// run is the present time off the level or at it.
type run struct {
	from    Instant
	out     bool
	high    bool // it is above what came before
	deepest float64
	episode *episode // in which it began; nil: its samples stay anyway
	movedTo float32
}

// What departures are ranked by. The same output may be judged by the one or the other level,
// so that times off it are told apart by their side, and those at it count as well.
const (
	outLow  = iota // time below the level about
	outHigh        // time above it
	within         // time at it
	deepest        // distance from it
	measures
)

// begin begins a state.
func (w *watch) begin() {
	*w = watch{thinner: w.thinner, trace: w.trace, cut: w.cut}
}

// interval is the mean time between samples, of those that have not been looked at; 0: not known.
func (w *watch) interval() time.Duration {
	recent := w.trace.blocks[w.cut:]
	n := 0
	for _, b := range recent {
		n += b.n
	}
	if n < timedBy {
		return 0
	}
	return time.Duration((recent[len(recent)-1].last() - recent[0].first()) / int64(n-1))
}

// sample looks at a new sample.
func (w *watch) sample(at int64, v float32) {
	if out := v > w.above || v < w.below; out != w.out {
		w.cross(Instant(at), v)
	}
	if w.out {
		w.run.deepest = math.Max(w.run.deepest, math.Abs(float64(v)-w.level))
		if v > w.run.movedTo+w.moves || v < w.run.movedTo-w.moves {
			w.move(Instant(at), v)
		}
	}
}

// cross takes in that the output left its level or came back.
func (w *watch) cross(at Instant, v float32) {
	w.out = !w.out
	e := w.thinner.mark(at)
	if e != nil {
		e.refs++ // the run's
		if w.firsts < w.thinner.first && e != w.run.episode {
			e.refs++
			w.firsts++
		}
	}
	w.endRun(at, e)
	w.run = run{from: at, out: w.out, episode: e, movedTo: v}
	if w.run.high = float64(v) > w.level; !w.out {
		w.run.high = !w.run.high
	}
}

// move takes in that the output goes on, off its level.
func (w *watch) move(at Instant, v float32) {
	w.run.movedTo = v
	e := w.thinner.mark(at)
	if e == nil || e.refs > 0 {
		return
	}
	e.refs++
	if w.firsts++; w.firsts > w.thinner.first {
		w.thinner.release(e)
	}
}

// endRun ranks the run that ends in an episode, and the two episodes by it.
func (w *watch) endRun(at Instant, e *episode) {
	old := &w.run
	lasted := at.Sub(old.from)
	measure := within
	if old.out {
		if measure = outLow; old.high {
			measure = outHigh
		}
	}
	for _, x := range [...]*episode{old.episode, e} {
		if x == nil {
			continue
		}
		if old.out {
			w.rank(deepest, x, old.deepest)
		}
		w.rank(measure, x, float64(lasted))
	}
	if old.episode != nil {
		w.thinner.release(old.episode)
	}
}

func (w *watch) rank(measure int, e *episode, score float64) {
	if dropped := w.ranks[measure].offer(e, score, w.thinner.ranked); dropped != nil {
		w.thinner.release(dropped)
	}
}

// rank is the episodes that have most of something.
type rank []ranked

type ranked struct {
	episode *episode
	score   float64
}

// offer takes an episode in where it has more than one of most others, and returns that one;
// nil: none. Of equals the earlier one stays.
func (r *rank) offer(e *episode, score float64, most int) *episode {
	if i := slices.IndexFunc(*r, func(x ranked) bool { return x.episode == e }); i >= 0 {
		(*r)[i].score = math.Max((*r)[i].score, score)
		return nil
	}
	if len(*r) < most {
		*r = append(*r, ranked{e, score})
		e.refs++
		return nil
	}
	least := 0
	for i, x := range *r {
		if x.score <= (*r)[least].score {
			least = i
		}
	}
	if (*r)[least].score >= score {
		return nil
	}
	dropped := (*r)[least].episode
	(*r)[least] = ranked{e, score}
	e.refs++
	return dropped
}

// block looks at the trace's last block, which is full, and thins out what has become old.
func (w *watch) block() {
	th, t := w.thinner, w.trace
	if th.c.Kept != nil {
		return // of what was left out before nothing is known
	}
	b := t.blocks[len(t.blocks)-1]
	th.time(Instant(b.last()))
	w.renew(b)
	if th.lag == 0 {
		return
	}
	w.dismiss()
	old := int64(Instant(b.last()).Add(-th.lag))
	for w.cut < len(t.blocks) && t.blocks[w.cut].last() < old {
		if !w.specimen(t.blocks[w.cut]) {
			w.cut += t.recut(w.cut)
		}
	}
	t.join()
}

// specimen reports whether a block stays as one of those spread evenly over the state. Where
// they get too many, every other one of them goes.
func (w *watch) specimen(b *block) bool {
	if Instant(b.first()) <= w.thinner.present().To || !b.whole() {
		return false
	}
	w.stride = max(1, w.stride)
	if w.blocks++; w.blocks%w.stride != 0 {
		return false
	}
	b.specimen = w.blocks
	w.cut++
	if w.specimens++; w.specimens <= mostSpecimens {
		return true
	}
	w.stride *= 2
	for _, b := range w.trace.blocks[w.trace.reaching(w.thinner.state):w.cut] {
		if b.specimen > 0 && b.specimen%w.stride != 0 {
			b.specimen = spent
			w.specimens--
		}
	}
	return true
}

// spent is of a block that stays as a specimen no longer.
const spent = -1

// dismiss thins one spent specimen out: one at a time, so that no sample takes long.
func (w *watch) dismiss() {
	for k, b := range w.trace.blocks[:w.cut] {
		if b.specimen == spent {
			b.specimen = 0
			w.cut += w.trace.recut(k) - 1
			return
		}
	}
}

// renew follows the level about the output: block by block, and where it has gone to another
// one and stays there.
func (w *watch) renew(b *block) {
	const stays = 4 // blocks
	if Instant(b.first()) < w.thinner.state.Add(Settling) && Instant(b.last()) < w.thinner.present().To {
		return // it may still be on its way
	}
	middle, low, high, ok := middleOf(b)
	if !ok {
		return
	}
	if !w.on {
		w.low, w.high = low, high
	}
	w.low, w.high = min(w.low, low), max(w.high, high)
	far := math.Max(leastDeparture, departure*float64(w.high-w.low))
	if math.Abs(middle-w.level) > far && w.on {
		if w.outFor++; w.outFor < stays || math.Abs(middle-w.lastMiddle) > far/2 {
			w.lastMiddle = middle
			return
		}
	}
	w.outFor, w.lastMiddle = 0, middle
	w.on, w.level = true, middle
	w.above, w.below, w.moves = float32(middle+far), float32(middle-far), float32(far)/4
	last := b.v[b.n-1]
	if out := last > w.above || last < w.below; out != w.out {
		// The level moved, not the output: the present run goes on.
		w.out = out
	}
}

// middleOf returns the median of readings spread over a block, and the extremes of all.
func middleOf(b *block) (middle float64, low, high float32, ok bool) {
	const places = 65
	var room [places]float32
	some := room[:0]
	low, high = float32(math.Inf(1)), float32(math.Inf(-1))
	every := max(1, b.n/(places-1))
	for i, v := range b.v[:b.n] {
		if v-v != 0 {
			continue
		}
		low, high = min(low, v), max(high, v)
		if i%every == 0 && len(some) < places {
			some = append(some, v)
		}
	}
	if len(some) == 0 {
		return 0, 0, 0, false
	}
	slices.Sort(some)
	return float64(some[len(some)/2]), low, high, true
}
