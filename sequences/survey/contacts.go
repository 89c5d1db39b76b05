package survey

import (
	"cmp"
	"math"
	"slices"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/unit"
)

// notStated is a voltage that nobody has stated.
var notStated = unit.Volts(math.NaN())

// answers is within what time of its output's crossing a contact changes over, at most. A small
// relay takes some 15 ms (makers' data sheets), and contacts bounce before their level is placed.
const answers = 100 * time.Millisecond

// early is how much sooner a contact may seem to change than its output's first sample beyond
// its middle level is taken.
const early = 25 * time.Millisecond

// moment is when a signal changed, and to which state: high or closed.
type moment struct {
	at capture.Instant
	on bool
}

// contactsSeen are the changes of contacts and of outputs over a whole survey.
type contactsSeen struct {
	contacts map[string][]moment // bounce not counted
	outputs  map[string][]moment
	// blind are the times in which an output moved more often than its moments are kept.
	blind map[string][]capture.Span
	rests map[string]bool // of contacts: closed at first
}

func newContactsSeen() *contactsSeen {
	return &contactsSeen{contacts: map[string][]moment{}, outputs: map[string][]moment{}, blind: map[string][]capture.Span{}, rests: map[string]bool{}}
}

// observe adds what changed in a state.
func (k *contactsSeen) observe(c *capture.Capture, from, to capture.Instant, s *seen) {
	for _, t := range c.Tracks {
		closed, known := t.StateAt(from - 1)
		if _, there := k.rests[t.Signal]; !there && known {
			k.rests[t.Signal] = closed
		}
		k.contacts[t.Signal] = append(k.contacts[t.Signal], changesOf(t, from, to)...)
	}
	i := len(s.states) - 1
	for signal, all := range s.outputs {
		o := all[len(all)-1]
		if o.at != i {
			continue
		}
		on := o.high
		for _, at := range o.times {
			on = !on
			k.outputs[signal] = append(k.outputs[signal], moment{from.Add(time.Duration(at * 1e9)), on})
		}
		if n := len(o.times); n > 0 && o.more > 0 {
			last := from.Add(time.Duration(o.times[n-1] * 1e9))
			k.blind[signal] = append(k.blind[signal], capture.Span{From: last.Add(answers), To: to})
		}
	}
}

// changesOf are a line's changes from one rest to another, each at its first edge.
func changesOf(t *capture.Track, from, to capture.Instant) (all []moment) {
	closed, known := t.StateAt(from - 1)
	var first capture.Instant
	last := capture.Instant(math.MinInt64 / 2)
	now := closed
	end := func() {
		if now != closed || !known {
			all = append(all, moment{first, now})
		}
		closed, known = now, true
	}
	for _, e := range t.Edges {
		if e.At < from || e.At >= to {
			continue
		}
		if e.At.Sub(last) > capture.Rest/2 {
			if last > from-1 {
				end()
			}
			first = e.At
		}
		last, now = e.At, e.Closed
	}
	if last >= from {
		end()
	}
	return all
}

// Behind says which output a relay stands behind.
type Behind struct {
	Outputs []string // one; several where they move together, so that nothing tells which; none
	Changes int      // of the relay's contacts
	Matched int      // of these, those that followed the output
	// Normal and Reverse count changes by which a contact closes with a high output, and by
	// which it opens.
	Normal, Reverse map[string]int
}

// behind finds the output that a relay's contacts follow: each of its changes follows one of
// the output's, and none of the output's is without one.
func (k *contactsSeen) behind(contacts ...string) Behind {
	found := Behind{Normal: map[string]int{}, Reverse: map[string]int{}}
	lead := ""
	for _, c := range contacts {
		if n := len(k.contacts[c]); c != "" && n > found.Changes {
			found.Changes, lead = n, c
		}
	}
	if lead == "" {
		return found
	}
	type score struct {
		output  string
		share   float64
		matched int
	}
	var scores []score
	for output, moments := range k.outputs {
		n := matched(moments, k.contacts[lead])
		if n > 0 {
			scores = append(scores, score{output, 2 * float64(n) / float64(len(moments)+seenBy(k.blind[output], k.contacts[lead])), n})
		}
	}
	slices.SortFunc(scores, func(a, b score) int { return cmp.Or(cmp.Compare(b.share, a.share), cmp.Compare(a.output, b.output)) })
	const enough, alike = 0.8, 0.02
	for _, s := range scores {
		if s.share >= enough && s.share >= scores[0].share-alike {
			found.Outputs = append(found.Outputs, s.output)
			found.Matched = scores[0].matched
		}
	}
	k.pickSide(&found, contacts)
	return found
}

// pickSide counts what the contacts do. Of outputs that move together, some one way and some the
// other, the relay is behind one that makes of the contacts what their names say.
func (k *contactsSeen) pickSide(found *Behind, contacts []string) {
	var fit []string
	for _, output := range found.Outputs {
		if k.sides(found, output, contacts); !found.swapped(contacts) {
			fit = append(fit, output)
		}
	}
	if len(fit) > 0 {
		found.Outputs = fit
	}
	if len(found.Outputs) > 0 {
		k.sides(found, found.Outputs[0], contacts)
	}
}

// swapped reports whether the make contact opens with a high output, or the break contact closes.
func (b *Behind) swapped(contacts []string) bool {
	makes, breaks := contacts[0], contacts[len(contacts)-1]
	if makes != "" && b.Normal[makes]+b.Reverse[makes] > 0 {
		return b.Reverse[makes] > b.Normal[makes]
	}
	return len(contacts) > 1 && breaks != "" && b.Normal[breaks] > b.Reverse[breaks]
}

// seenBy counts a contact's changes that an output's moments could be compared with.
func seenBy(blind []capture.Span, contact []moment) (n int) {
	i := 0
	for _, c := range contact {
		for i < len(blind) && blind[i].To < c.at {
			i++
		}
		if i == len(blind) || c.at < blind[i].From {
			n++
		}
	}
	return n
}

// matched counts the output's changes that a contact's follows, each by one.
func matched(output, contact []moment) (n int) {
	i := 0
	for _, o := range output {
		for i < len(contact) && contact[i].at < o.at.Add(-early) {
			i++
		}
		if i < len(contact) && contact[i].at <= o.at.Add(answers) {
			n++
			i++
		}
	}
	return n
}

// sides counts which contact closes with an output and which opens.
func (k *contactsSeen) sides(b *Behind, output string, contacts []string) {
	b.Normal, b.Reverse = map[string]int{}, map[string]int{}
	moments := k.outputs[output]
	for _, name := range contacts {
		i, all := 0, k.contacts[name]
		for _, o := range moments {
			for i < len(all) && all[i].at < o.at.Add(-early) {
				i++
			}
			if i == len(all) || all[i].at > o.at.Add(answers) {
				continue
			}
			if all[i].on == o.on {
				b.Normal[name]++
			} else {
				b.Reverse[name]++
			}
			i++
		}
	}
}
