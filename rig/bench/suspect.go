package bench

import (
	"time"

	"makebreak/rig/line"
)

// A GPIO chip that loses the later one of two edges that come close together (that of a
// Raspberry Pi 1 to 4 does) loses edges of contacts to ready edges, as it loses ready edges to
// one another. A contact's edge that is lost shows at the next one, which is then of the same
// direction. Two in a row that are lost leave no sign. The converters tell whether a chip is
// of that kind: their edges are known to be due, so those that are lost are noticed, and with
// them how close they were to edges that came.

// neighbours are the other converters whose ready lines may be on the same GPIO chip, and what
// a converter's ready edges say of it in one recording.
type neighbours struct {
	gpio         string // the GPIO chip's name in the rig file; empty: a line is named alone
	others       []*neighbours
	last, before instant // this converter's latest edges

	heard, lost apart
}

// apart is of how many ready edges it is known how long after another converter's they came,
// or should have come, and the sum of these times.
type apart struct {
	n   int
	sum time.Duration
}

func (a *apart) add(d time.Duration) { a.n, a.sum = a.n+1, a.sum+d }

func (a apart) plus(b apart) apart { return apart{a.n + b.n, a.sum + b.sum} }

// mean is in nanoseconds.
func (a apart) mean() float64 { return float64(a.sum) / float64(a.n) }

// A chip is taken to lose edges that come close together where lost edges are many (leastLost,
// and lostShare of all), and were due sooner after another converter's than those that came, by
// closer in the mean. A contact's edge is then lost up to twice as often as a converter's.
// Below lostShare, two in a row are fewer than one pair in 600.
const (
	leastLost = 24
	lostShare = 0.02
	closer    = 0.5
)

// meet tells converters of one another whose ready lines may be on one GPIO chip.
func (b *Bench) meet() {
	for i, c := range b.listening {
		if c == nil {
			continue
		}
		n := &c.neighbours
		n.gpio = b.roles[b.readies+i].Line.Chip
		for k, d := range b.listening {
			if d != nil && d != c && mayBeOne(n.gpio, b.roles[b.readies+k].Line.Chip) {
				n.others = append(n.others, &d.neighbours)
			}
		}
	}
}

// mayBeOne reports whether two names may be of one GPIO chip: a line that is named alone may be
// on any.
func mayBeOne(a, b string) bool { return a == b || a == "" || b == "" }

// begin forgets what a recording before this one showed.
func (n *neighbours) begin() { n.heard, n.lost = apart{}, apart{} }

// came takes in an edge.
func (n *neighbours) came(at instant) {
	n.before, n.last = n.last, at
	if d, ok := n.since(at, 0); ok {
		n.heard.add(d)
	}
}

// stayedAway takes in an edge that did not come though it was due.
func (n *neighbours) stayedAway(due instant) {
	if d, ok := n.since(due, EdgeLatency); ok {
		n.lost.add(d)
	}
}

// since is how long after another converter's edge an instant is, which is known to within
// early; false: none has come.
func (n *neighbours) since(at instant, early time.Duration) (d time.Duration, ok bool) {
	var latest instant
	for _, o := range n.others {
		switch {
		case o.last <= at.Add(early):
			latest = max(latest, o.last)
		case o.before <= at.Add(early):
			latest = max(latest, o.before)
		}
	}
	return max(0, at.Sub(latest)), latest > 0
}

// suspect doubts the contacts on GPIO chips that lose edges that come close together.
func (b *Bench) suspect() {
	for name := range b.losing() {
		for i, t := range b.c.Tracks {
			if r := b.roles[i]; r.Role == line.Contact && mayBeOne(r.Line.Chip, name) {
				t.Suspect(b.c.Start, b.c.End)
			}
		}
	}
}

// losing returns the GPIO chips that in this recording have lost edges because they came close
// together.
func (b *Bench) losing() map[string]bool {
	of := map[string]neighbours{}
	for _, c := range b.listening {
		if c == nil {
			continue
		}
		n := &c.neighbours
		sum := of[n.gpio]
		of[n.gpio] = neighbours{heard: sum.heard.plus(n.heard), lost: sum.lost.plus(n.lost)}
	}
	names := map[string]bool{}
	for name, n := range of {
		if n.losesClose() {
			names[name] = true
		}
	}
	return names
}

// losesClose reports whether edges got lost because they came close to others.
func (n *neighbours) losesClose() bool {
	return n.lost.n >= leastLost && float64(n.lost.n) > lostShare*float64(n.lost.n+n.heard.n) &&
		n.heard.n > 0 && n.lost.mean() < closer*n.heard.mean()
}
