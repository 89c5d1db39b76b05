package capture

import (
	"cmp"
	"slices"
)

// Loss is edges of a line that are known to have happened and were not recorded.
type Loss struct {
	// Span goes from the recorded edge before, or an instant at which the line was as
	// recorded, to the one that showed the loss.
	Span
	// Edges is the least that there were.
	Edges int
	Sign  Sign
}

// Sign is what showed a loss.
type Sign byte

// The signs.
const (
	// Gap is a gap in the numbers of the edges: those between were dropped, anywhere in
	// the span, which ends with the edge after them.
	Gap Sign = iota
	// Merge is an edge to the state that the line was in already: it and others came so
	// close together that they were taken for one. It is at the span's end, and has the
	// last one's stamp.
	Merge
	// Level is a line that was found in the other state than its edges say, at the span's
	// end.
	Level
	// Neighbour is other lines of the same GPIO chip that lost edges in the span, so many that
	// this one may have lost some, too, though it shows no sign of it. It counts none.
	Neighbour

	signs
)

// Lost counts the edges that are known to have happened and were not recorded.
func (t *Track) Lost() int {
	n := 0
	for _, l := range t.Losses {
		n += l.Edges
	}
	return n
}

// Lose notes edges that happened since the last recorded one, or since the instant where
// that is later, and were not recorded.
func (t *Track) Lose(edges int, sign Sign, since, at Instant) {
	if n := len(t.Edges); n > 0 {
		since = max(since, t.Edges[n-1].At)
	}
	t.Losses = append(t.Losses, Loss{Span{min(since, at), at}, edges, sign})
	if len(t.Losses) > mostLosses {
		t.joinLosses()
	}
}

// Suspect notes that edges may have been lost from one instant to the other, as other lines of
// the same GPIO chip lost some. What it said before of the same beginning it says anew.
func (t *Track) Suspect(from, to Instant) {
	t.Losses = slices.DeleteFunc(t.Losses, func(l Loss) bool { return l.Sign == Neighbour && l.From == from })
	t.Losses = append(t.Losses, Loss{Span: Span{from, to}, Sign: Neighbour})
}

// mostLosses is how many losses are told apart; beyond that those in the middle are joined.
const mostLosses = 2048

// joinLosses joins the losses in the middle that have one sign. One by a line's level says in
// what state the line is, and stays.
func (t *Track) joinLosses() {
	const ends = mostLosses / 4
	joined := t.Losses[:ends]
	last := map[Sign]int{}
	for _, l := range t.Losses[ends : len(t.Losses)-ends] {
		if i, ok := last[l.Sign]; ok && l.Sign != Level {
			joined[i].To = l.To
			joined[i].Edges += l.Edges
			continue
		}
		last[l.Sign] = len(joined)
		joined = append(joined, l)
	}
	latest := slices.Clone(t.Losses[len(t.Losses)-ends:])
	slices.SortFunc(joined, func(a, b Loss) int { return cmp.Compare(a.To, b.To) })
	t.Losses = append(joined, latest...)
}
