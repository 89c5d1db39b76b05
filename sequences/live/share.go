package live

import (
	"slices"

	"makebreak/rig/bench"
	"makebreak/rig/line"
	"makebreak/rig/wiring"
)

// share is what of a glance at a rig is one unit's: places among its outputs and its lines.
type share struct{ outputs, lines []int }

// shareOf is a unit's share of glances at a rig that samples these outputs, and what the unit
// calls its own of them.
func shareOf(rig *wiring.Rig, u *wiring.Unit, sampled []string) (*share, []string) {
	s, names := &share{}, []string{}
	for i, own := range sampled {
		if as := u.AsOf(own); as != "" {
			s.outputs, names = append(s.outputs, i), append(names, as)
		}
	}
	all := bench.Requests(rig)
	for _, r := range bench.Requests(rig.For(u)) {
		own := u.OwnOf(r.Line.Name)
		if own == "" {
			own = r.Line.Name // shared
		}
		if i := slices.IndexFunc(all, func(x line.Request) bool { return x.Role == r.Role && x.Line.Name == own }); i >= 0 {
			s.lines = append(s.lines, i)
		}
	}
	return s, names
}

// of is the share of a glance.
func (s *share) of(g *bench.Glance) *bench.Glance {
	if s == nil {
		return g
	}
	own := *g
	own.Outputs, own.Lines = nil, nil
	for _, i := range s.outputs {
		if i < len(g.Outputs) {
			own.Outputs = append(own.Outputs, g.Outputs[i])
		}
	}
	for _, i := range s.lines {
		if i < len(g.Lines) {
			own.Lines = append(own.Lines, g.Lines[i])
		}
	}
	return &own
}
