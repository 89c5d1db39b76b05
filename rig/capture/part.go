package capture

// Named is a signal of a capture, and what a part of the capture calls it.
type Named struct{ Own, As string }

// Part returns the capture of some of the signals and events, under other names, as of one of
// several units at a rig. event says what the part calls an event, and whether it is the part's.
//
// Samples and edges are shared with c, into which nothing more may be recorded. Parts that have
// no output in common can be recycled one by one in place of c.
func (c *Capture) Part(signals []Named, event func(name string) (as string, is bool)) *Capture {
	part := &Capture{Start: c.Start, End: c.End, Counts: c.Counts, Kept: c.Kept, Unsupplied: c.Unsupplied}
	as := make(map[string]string, len(signals))
	for _, s := range signals {
		as[s.Own] = s.As
	}
	for _, t := range c.Traces {
		if name, is := as[t.Signal]; is {
			own := *t
			own.Signal, own.watch = name, nil
			part.Traces = append(part.Traces, &own)
		}
	}
	for _, t := range c.Tracks {
		if name, is := as[t.Signal]; is {
			own := *t
			own.Signal = name
			part.Tracks = append(part.Tracks, &own)
		}
	}
	for _, e := range c.Events {
		if name, is := event(e.Name); is {
			e.Name = name
			part.Events = append(part.Events, e)
		}
	}
	return part
}
