package capture

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
}
