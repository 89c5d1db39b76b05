package capture

// Loss is edges of a line that are known to have happened and were not recorded.
type Loss struct {
	// Span goes from the recorded edge before to the one that showed the loss; from the
	// capture's start where there is none before.
	Span
	// Edges is the least that there were.
	Edges int
	// Merged says that they and the edge at To came so close together that they were taken
	// for one, whose stamp is the last one's. Else they were dropped, anywhere in the span.
	Merged bool
}

// Lost counts the edges that are known to have happened and were not recorded.
func (t *Track) Lost() int {
	n := 0
	for _, l := range t.Losses {
		n += l.Edges
	}
	return n
}

// Lose notes edges that must have happened since the last recorded one, or since the
// start, and before the one at the instant, or together with it.
func (t *Track) Lose(edges int, merged bool, start, at Instant) {
	if edges == 0 {
		return
	}
	if n := len(t.Edges); n > 0 {
		start = t.Edges[n-1].At
	}
	t.Losses = append(t.Losses, Loss{Span{min(start, at), at}, edges, merged})
}
