package csvfile

import (
	"cmp"
	"slices"
	"strings"

	"makebreak/rig/capture"
)

// lostEnd ends the name of a column that says when edges of the line named before may be
// lost: 1 from a span's start to its end. It is one only where that line has a column.
const lostEnd = "_lost"

// markLost finds the columns that say so, and the lines that they are about.
func markLost(columns []column) {
	for i := range columns {
		signal, ends := strings.CutSuffix(columns[i].name, lostEnd)
		if columns[i].kind != stateColumn || !ends {
			continue
		}
		if of := slices.IndexFunc(columns, func(c column) bool { return c.kind == stateColumn && c.name == signal }); of >= 0 {
			columns[i].kind, columns[i].of = lostColumn, of
		}
	}
}

// enterLost takes in from where on edges of a line may be lost, and until when.
func (r *Reader) enterLost(c *column, at capture.Instant, losing bool) {
	t := r.columns[c.of].track
	if losing && !c.losing {
		t.Losses = append(t.Losses, capture.Loss{Span: capture.Span{From: at, To: at}, Edges: 1, Sign: capture.Gap})
		c.losing = true
		return
	}
	c.losing = c.losing && losing
}

// goOnLosing moves the end of what is being lost on to the present row.
func (r *Reader) goOnLosing(at capture.Instant) {
	for i := range r.columns {
		c := &r.columns[i]
		if c.kind != lostColumn || !c.losing {
			continue
		}
		if t := r.columns[c.of].track; len(t.Losses) > 0 {
			t.Losses[len(t.Losses)-1].To = at
		}
	}
}

// lostTracks are what the columns of lost edges hold, as if they were lines.
func lostTracks(c *capture.Capture) []*capture.Track {
	var all []*capture.Track
	for _, t := range c.Tracks {
		if len(t.Losses) == 0 {
			continue
		}
		var spans []capture.Span
		for _, l := range t.Losses {
			spans = append(spans, lostSpan(c, t, l))
		}
		all = append(all, spanTrack(c, t.Signal+lostEnd, spans))
	}
	return all
}

// lostSpan is when what was lost may have been, as the file can say it. Where edges merged
// once, any other from that event to the next may be several too. After a line was found in
// another state than its edges say, these are wrong up to the next one.
func lostSpan(c *capture.Capture, t *capture.Track, l capture.Loss) capture.Span {
	s := l.Span
	switch l.Sign {
	case capture.Merge:
		after := slices.IndexFunc(c.Events, func(e capture.Event) bool { return e.At > l.To })
		if s.To = c.End; after >= 0 {
			s.To = c.Events[after].At - 1
		} else {
			after = len(c.Events)
		}
		if s.From = c.Start; after > 0 {
			s.From = c.Events[after-1].At
		}
	case capture.Level:
		next := slices.IndexFunc(t.Edges, func(e capture.Edge) bool { return e.At > l.To })
		if s.To = c.End; next >= 0 {
			s.To = t.Edges[next].At
		}
	}
	return s
}

// spanTrack is a line that is closed in the spans, as far as they lie in the capture.
func spanTrack(c *capture.Capture, signal string, spans []capture.Span) *capture.Track {
	spans = slices.Clone(spans)
	slices.SortFunc(spans, func(a, b capture.Span) int { return cmp.Compare(a.From, b.From) })
	t := &capture.Track{Signal: signal, Known: true}
	end := c.Start // of the spans so far
	for _, s := range spans {
		from, to := max(s.From, end), min(s.To, c.End)
		n := len(t.Edges)
		open := n == 0 && t.Initial || n > 0 && t.Edges[n-1].Closed
		if to < from || open {
			continue // it adds nothing, or the last one goes on to the end
		}
		switch {
		case from == c.Start && n == 0:
			t.Initial = true
		case n > 0 && from <= t.Edges[n-1].At:
			t.Edges = t.Edges[:n-1] // it goes on where the last one ended
		default:
			t.Edges = append(t.Edges, capture.Edge{At: from, Closed: true})
		}
		if end = max(to, from+1); end < c.End {
			t.Edges = append(t.Edges, capture.Edge{At: end})
		}
	}
	return t
}
