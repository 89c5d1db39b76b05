package capture

import "time"

// Shift moves the whole capture in time, its samples, edges and events with it.
func (c *Capture) Shift(by time.Duration) {
	c.Start, c.End = c.Start.Add(by), c.End.Add(by)
	for _, t := range c.Traces {
		for _, b := range t.blocks {
			for i := range b.at[:b.n] {
				b.at[i] += int64(by)
			}
			b.sum.shift(by)
		}
	}
	for _, t := range c.Tracks {
		for i := range t.Edges {
			t.Edges[i].At = t.Edges[i].At.Add(by)
		}
		for i := range t.Losses {
			l := &t.Losses[i]
			l.From, l.To = l.From.Add(by), l.To.Add(by)
		}
		for i := range t.Lapses {
			t.Lapses[i].shift(by)
		}
	}
	for i := range c.Events {
		c.Events[i].At = c.Events[i].At.Add(by)
	}
	for _, spans := range [][]Span{c.Kept, c.Unsupplied} {
		for i := range spans {
			spans[i] = Span{spans[i].From.Add(by), spans[i].To.Add(by)}
		}
	}
}
