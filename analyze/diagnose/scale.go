package diagnose

import (
	"math"

	"makebreak/analyze"
	"makebreak/rig/unit"
)

// Scale returns the Scaler with which a record's table writes a quantity of a signal at an
// event, and whether it has such a row. Findings write their figures alike, so that one
// value reads the same wherever it stands.
type Scale func(signal string, q analyze.Quantity, event string) (unit.Scaler, bool)

// extremes are the lowest and the highest value at one event, in the base unit of what they
// are.
type extremes struct{ low, high float64 }

// measured says whose quantity at an event a group's values are, where the table has it.
func (g *group) measured(plan *analyze.Plan, event string) (signal string, q analyze.Quantity, known bool) {
	if q := analyze.Quantity(g.other); q.Known() {
		return g.signal, q, true
	}
	switch g.kind {
	case analyze.LeftState, analyze.LooseWire, analyze.FellBack:
		return g.signal, analyze.Hold, true
	case analyze.RelayStill:
		return g.other, analyze.HighLevel, true
	case analyze.HeldIn:
		return g.other, analyze.LowLevel, true
	case analyze.DidNotMove, analyze.Overshoots, analyze.Undershoots:
		if plan == nil || plan.Output(g.signal) == nil {
			return "", "", false
		}
		high, named := plan.Output(g.signal).Expect[event].Demand.State()
		return g.signal, map[bool]analyze.Quantity{true: analyze.HighLevel, false: analyze.LowLevel}[high], named
	}
	return "", "", false
}

// asInTable writes the values at an event as the table does, where it has them.
func (g *group) asInTable(event string) (unit.Scaler, bool) {
	signal, q, known := g.measured(g.plan, event)
	if g.scale == nil || !known {
		return unit.Scaler{}, false
	}
	return g.scale(signal, q, event)
}

// scalerAt writes the values at an event as the table does, and else with three digits.
func (g *group) scalerAt(k unit.Kind, event string) unit.Scaler {
	if s, has := g.asInTable(event); has {
		return s
	}
	return k.Scaler(unit.Figures{Values: []float64{g.lowest, g.highest}, Uncertainty: math.NaN(), Limits: []float64{g.limit}})
}

// span writes the lowest and the highest value, each as at its event.
func (g *group) span(k unit.Kind) string {
	low, high := g.scalerAt(k, g.where(g.lowest)), g.scalerAt(k, g.where(g.highest))
	if low.Text(g.lowest) == high.Text(g.lowest) {
		return high.Range(g.lowest, g.highest, " to ")
	}
	return low.Text(g.lowest) + " to " + high.Text(g.highest)
}

// where is an event at which the group has the value as its lowest or highest.
func (g *group) where(value float64) string {
	for _, e := range g.events {
		if x := g.ranges[e]; x.low == value || x.high == value {
			return e
		}
	}
	return ""
}

// level writes a voltage beside the group's values as the table writes those at an event.
func (g *group) level(volts float64, event string) string {
	if s, has := g.asInTable(event); has {
		return s.Text(volts)
	}
	return unit.Voltage.Short(volts, 3)
}

// limitText writes the limit as it was stated.
func (g *group) limitText(k unit.Kind) string {
	return g.scalerAt(k, g.where(g.lowest)).LimitText(g.limit)
}
