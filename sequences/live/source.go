package live

import "context"

// hubSource is a hub's run as a source.
type hubSource struct {
	hub    *Hub
	record func(*State) string
}

// OfHub is the run of a hub. Record gives the address of its record once it has ended; nil:
// nobody serves it.
func OfHub(h *Hub, record func(*State) string) Source { return &hubSource{h, record} }

// Next implements Source.
func (s *hubSource) Next(ctx context.Context, since uint64) ([]Run, uint64, error) {
	state, number, err := s.hub.Next(ctx, since)
	if err != nil {
		return nil, 0, err
	}
	r := Run{State: state, Plan: &s.hub.of.Sequence.Plan}
	if state.End != nil && s.record != nil {
		r.Record = s.record(state)
	}
	return []Run{r}, number, nil
}
