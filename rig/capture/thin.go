package capture

import (
	"slices"
	"sort"
	"time"
)

// A state may last for days, and what is recorded of it must not grow meanwhile. So a capture
// that is thinned keeps of each state its samples
//
//   - from a while before the event to a while after it: the opening,
//   - around every time at which an output left the level about it or came back, or an edge of
//     a line came: an episode, of which the first ones stay and those of the longest and the
//     deepest departures,
//   - of each output a few blocks spread evenly over the state, by which its noise is told,
//   - and the latest ones.
//
// All others are summed up in digests, of which neighbours are joined as they get many. An
// opening and an episode keep the samples of all outputs.

const (
	// Settling is how long after something happened its samples' digest is kept apart from what
	// follows.
	Settling = time.Second
	// LeastOpening is for how long after an event all samples stay, at least.
	LeastOpening = 20 * time.Second
	// LeastEpisodes is how many times something may happen to an output after that whose samples
	// stay, at least.
	LeastEpisodes = 32

	openingOf     = 2560    // samples of the slowest output, at least
	mostOpening   = 1 << 21 // samples of all outputs
	leastLag      = 3 * time.Second
	mostLag       = 1 << 19 // samples of all outputs
	before        = 100 * time.Millisecond
	beforeOf      = 16   // samples of the slowest output, at least
	mostBefore    = 2048 // samples of all outputs
	after         = 250 * time.Millisecond
	afterOf       = 32
	mostAfter     = 4096
	longestOf     = 4   // times before and after an episode's marks, and it is over
	longestDigest = 256 // samples, before it is joined with others
	mostDigests   = 256 // of an output
	mostSpecimens = 4   // blocks of an output
	mostEpisodes  = 64
	allEpisodes   = 512
	leastRanked   = 2 // departures of an output that stay by a measure of them
	mostRanked    = 8
	allRanked     = 32
	timedBy       = 16 // samples of an output tell its interval
)

// thinner says which samples of a capture stay.
type thinner struct {
	c        *Capture
	state    Instant // when the present one began
	openings []Span  // by time; the last is the present state's
	episodes []*episode
	first    int // episodes of an output or a line that stay as its first
	ranked   int
	edges    map[*Track]marks // of the present state
	timing
	room []Span
}

// marks are the episodes that a line's edges made: how many, and the latest.
type marks struct {
	n      int
	latest *episode
}

// timing is how long what stays lasts, by how fast the samples come.
type timing struct {
	lag, opening  time.Duration
	before, after time.Duration // an episode's mark
}

// episode is a time whose samples stay as long as something refers to it.
type episode struct {
	Span
	at   Instant // its first mark
	refs int
	gone bool
}

// Thin has the capture keep, from here on, of long states no more than what is needed to judge
// them. Its events and edges must then be added by AddEvent and AddEdge.
func (c *Capture) Thin() {
	n := max(1, len(c.Traces))
	th := &thinner{c: c, state: c.Start, openings: []Span{{c.Start, c.Start}}, edges: map[*Track]marks{},
		first:  min(mostEpisodes, max(LeastEpisodes, allEpisodes/n)),
		ranked: min(mostRanked, max(leastRanked, allRanked/n))}
	if k := len(c.Events); k > 0 {
		th.state = c.Events[k-1].At
		th.openings[0] = Span{c.Start, th.state}
	}
	c.thinner = th
	for _, t := range c.Traces {
		t.watch = &watch{thinner: th, trace: t}
	}
}

// Thinned reports whether samples of the capture stand in digests.
func (c *Capture) Thinned() bool {
	for _, t := range c.Traces {
		if slices.ContainsFunc(t.blocks, func(b *block) bool { return b.sum != nil }) {
			return true
		}
	}
	return false
}

// AddEvent adds an event, with which a state begins.
func (c *Capture) AddEvent(e Event) {
	c.Events = append(c.Events, e)
	if c.outline != nil {
		c.outline.event(e)
	}
	if c.thinner != nil {
		c.thinner.begin(e.At)
	}
}

// AddEvents adds events by which several units are told the same, a moment apart, by time. One
// state begins with them.
func (c *Capture) AddEvents(all ...Event) {
	for i, e := range all {
		if i == 0 {
			c.AddEvent(e)
			continue
		}
		c.Events = append(c.Events, e)
		if c.outline != nil {
			c.outline.event(e)
		}
	}
}

// AddEdge adds an edge of one of the capture's lines.
func (c *Capture) AddEdge(t *Track, e Edge) {
	t.Edges = append(t.Edges, e)
	if c.outline != nil {
		if x := c.outline.tracks[t]; x != nil {
			x.add(e)
		}
	}
	if th := c.thinner; th != nil {
		th.edge(t, e.At)
		t.lapse(th.state)
	}
}

// begin begins a state. What stays of the one before stays for good.
func (th *thinner) begin(at Instant) {
	th.state = at
	from := at.Add(-th.lag / 2)
	if last := th.present(); th.lag == 0 { // nothing has been thinned out yet
		last.To, from = at, at
	}
	th.openings = append(th.openings, Span{from, at.Add(th.opening)})
	for _, t := range th.c.Traces {
		t.watch.begin()
	}
	clear(th.edges)
}

// discard forgets what lies before the instant.
func (th *thinner) discard(before Instant) {
	for len(th.openings) > 1 && th.openings[0].To < before {
		th.openings = th.openings[1:]
	}
	th.episodes = slices.DeleteFunc(th.episodes, func(e *episode) bool {
		e.gone = e.gone || e.To < before
		return e.gone
	})
}

// present is the opening of the present state.
func (th *thinner) present() *Span { return &th.openings[len(th.openings)-1] }

// time works out, by how fast samples come, how long what stays lasts, as long as the present
// state's opening does.
func (th *thinner) time(now Instant) {
	if th.lag > 0 && now > th.present().To {
		return
	}
	rate, slowest := 0.0, time.Duration(0)
	for _, t := range th.c.Traces {
		if d := t.watch.interval(); d > 0 {
			rate += 1 / float64(d)
			slowest = max(slowest, d)
		}
	}
	if rate == 0 {
		return
	}
	all := func(n float64) time.Duration { return time.Duration(n / rate) }
	th.before = min(max(before, beforeOf*slowest), all(mostBefore))
	th.after = min(max(after, afterOf*slowest), all(mostAfter))
	th.lag = max(min(leastLag, all(mostLag)), 2*(th.before+th.after))
	th.opening = min(max(LeastOpening, openingOf*slowest), all(mostOpening))
	th.present().To = th.state.Add(th.opening)
}

// mark returns the episode of an instant at which something happened; nil where its samples
// stay anyway, settling included.
func (th *thinner) mark(at Instant) *episode {
	if th.lag == 0 || at.Add(th.after+Settling) < th.present().To {
		return nil
	}
	if n := len(th.episodes); n > 0 {
		e := th.episodes[n-1]
		if at <= e.To && at.Sub(e.From) < longestOf*(th.before+th.after) {
			e.From, e.To = min(e.From, at.Add(-th.before)), max(e.To, at.Add(th.after))
			return e
		}
	}
	e := &episode{Span: Span{at.Add(-th.before), at.Add(th.after)}, at: at}
	th.episodes = append(th.episodes, e)
	return e
}

// edge marks an edge of a line: the first ones of a state, and the latest.
func (th *thinner) edge(t *Track, at Instant) {
	e := th.mark(at)
	m := th.edges[t]
	if e == nil || e == m.latest {
		return
	}
	e.refs++
	th.edges[t] = marks{m.n + 1, e}
	if m.n > th.first {
		th.release(m.latest)
	}
}

// release takes one reference from an episode; one that nothing refers to any more is thinned
// out.
func (th *thinner) release(e *episode) {
	if e.refs--; e.refs > 0 || e.gone {
		return
	}
	e.gone = true
	th.episodes = slices.DeleteFunc(th.episodes, func(x *episode) bool { return x == e })
	for _, t := range th.c.Traces {
		t.forget(e)
	}
}

// around returns the episodes whose time, settling included, may reach into from..to.
func (th *thinner) around(from, to Instant) []*episode {
	reach := (longestOf + 1) * (th.before + th.after)
	lo := sort.Search(len(th.episodes), func(i int) bool { return th.episodes[i].From.Add(reach+Settling) >= from })
	hi := lo
	for hi < len(th.episodes) && th.episodes[hi].From <= to {
		hi++
	}
	return th.episodes[lo:hi]
}

// stays returns the spans in from..to whose samples stay, joined, and those of the episodes
// that may reach into it. Both hold until the next call.
func (th *thinner) stays(from, to Instant) ([]Span, []*episode) {
	spans := th.room[:0]
	for i := len(th.openings) - 1; i >= 0 && th.openings[i].To >= from; i-- {
		if th.openings[i].From <= to {
			spans = append(spans, th.openings[i])
		}
	}
	near := th.around(from, to)
	for _, e := range near {
		if e.To >= from {
			spans = append(spans, e.Span)
		}
	}
	th.room = spans[:0]
	return joined(spans, 0), near
}

// recut puts digests in place of the samples of block k that need not stay, and returns how
// many blocks there are now instead of it.
func (t *Trace) recut(k int) int {
	b := t.blocks[k]
	if b.sum != nil || b.specimen > 0 {
		return 1
	}
	spans, near := t.watch.thinner.stays(Instant(b.first()), Instant(b.last()))
	if len(spans) == 1 && int64(spans[0].From) <= b.first() && int64(spans[0].To) >= b.last() {
		return 1
	}
	var pieces []*block
	at, v := b.at[:b.n], b.v[:b.n]
	for i := 0; i < len(at); {
		for len(spans) > 0 && int64(spans[0].To) < at[i] {
			spans = spans[1:]
		}
		if len(spans) > 0 && int64(spans[0].From) <= at[i] {
			j := i + upTo(at[i:], int64(spans[0].To)+1)
			pieces = append(pieces, &block{n: j - i, at: slices.Clone(at[i:j]), v: slices.Clone(v[i:j])})
			i = j
			continue
		}
		end, settling := settles(near, Instant(at[i]))
		if len(spans) > 0 {
			end = min(end, spans[0].From)
		}
		j := min(i+longestDigest, max(i+1, i+upTo(at[i:], int64(end))))
		d := digestOf(at[i:j], v[i:j])
		d.settling = settling
		pieces = append(pieces, &block{sum: d})
		t.n -= j - i
		i = j
	}
	t.giveBack(b)
	t.blocks = slices.Replace(t.blocks, k, k+1, pieces...)
	return len(pieces)
}

// upTo returns how many of the times come before the instant.
func upTo(at []int64, end int64) int {
	return sort.Search(len(at), func(i int) bool { return at[i] >= end })
}

// settles reports whether an instant comes right after an episode, and until when that, or its
// not doing so, lasts.
func settles(near []*episode, at Instant) (end Instant, settling bool) {
	end = never
	for _, e := range near {
		switch till := e.at.Add(Settling); {
		case e.To < at && at < till:
			return till, true
		case till > at:
			end = min(end, e.From)
		}
	}
	return end, false
}

// never is an instant after all others.
const never = Instant(1<<63 - 1)

// forget thins out what has been looked at of an episode that nothing refers to any more.
func (t *Trace) forget(e *episode) {
	w := t.watch
	for k := t.reaching(e.From); k < w.cut && Instant(t.blocks[k].first()) <= e.at.Add(Settling); k++ {
		if d := t.blocks[k].sum; d != nil {
			if d.settling {
				_, d.settling = settles(w.thinner.around(d.From, d.To), d.From)
			}
			continue
		}
		n := t.recut(k)
		w.cut += n - 1
		k += n - 1
	}
}

// join joins neighbouring digests as long as there are too many: those first of which least
// is lost, by how many samples they are of and how far these range.
func (t *Trace) join() {
	digests := 0
	for _, b := range t.blocks {
		if b.sum != nil {
			digests++
		}
	}
	for ; digests > mostDigests; digests-- {
		best, least := -1, 0.0
		for i := 1; i < len(t.blocks); i++ {
			a, b := t.blocks[i-1].sum, t.blocks[i].sum
			if a == nil || b == nil || a.settling != b.settling {
				continue
			}
			if loss := lossOf(a, b); best < 0 || loss < least {
				best, least = i, loss
			}
		}
		if best < 0 {
			return
		}
		t.blocks[best-1].sum.add(t.blocks[best].sum)
		t.blocks = slices.Delete(t.blocks, best, best+1)
		t.watch.cut--
	}
}

// lossOf is a measure of what is lost when two digests are made one.
func lossOf(a, b *Digest) float64 {
	const quiet = 0.05 // volts: a range that no more than noise has
	return float64(a.N+b.N) * (quiet + max(a.High, b.High) - min(a.Low, b.Low))
}

// thinnedOut returns the spans, by time, in which samples of any trace were thinned out.
func (c *Capture) thinnedOut() []Span {
	var spans []Span
	for _, t := range c.Traces {
		for i, b := range t.blocks {
			if b.sum == nil {
				continue
			}
			s := Span{b.sum.From, b.sum.To}
			if i > 0 {
				s.From = Instant(t.blocks[i-1].last() + 1)
			}
			if i+1 < len(t.blocks) {
				s.To = Instant(t.blocks[i+1].first() - 1)
			}
			spans = append(spans, s)
		}
	}
	return joined(spans, 1)
}

// stayed returns the spans, by time, in which no sample of any trace was thinned out; nil
// where none was at all.
func (c *Capture) stayed() []Span {
	thinned := c.thinnedOut()
	if len(thinned) == 0 {
		return nil
	}
	spans := []Span{}
	from := c.Start
	for _, s := range thinned {
		if s.From > from {
			spans = append(spans, Span{from, s.From - 1})
		}
		from = max(from, s.To+1)
	}
	if from <= c.End {
		spans = append(spans, Span{from, c.End})
	}
	return spans
}
