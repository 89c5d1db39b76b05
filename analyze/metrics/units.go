package metrics

import (
	"net/http"
	"slices"

	"github.com/prometheus/client_golang/prometheus"

	"makebreak/rig/capture"
)

// positionLabel holds the name that one of several units at a rig has in the rig file.
const positionLabel = "position"

// Units hold the metrics of several units at one rig. Each unit's have its position as a label; what
// is the rig's has none and is there once. They are safe for concurrent use.
type Units struct {
	of  []*Collector // with one registry
	rig vectors
}

// NewUnits returns the metrics of units by their positions, one or more, which must differ. Counters stand at zero.
func NewUnits(opts Opts, positions []string) *Units {
	shared := func(name string) bool { return slices.Contains(ofRig, name) }
	u, registry := &Units{rig: newVectors(shared)}, prometheus.NewRegistry()
	registry.MustRegister(u.rig)
	for _, p := range positions {
		c := newCollector(opts, newVectors(func(name string) bool { return !shared(name) }))
		c.ofUnit, c.registry = true, registry
		prometheus.WrapRegistererWith(prometheus.Labels{positionLabel: label(p)}, registry).MustRegister(c)
		u.of = append(u.of, c)
	}
	return u
}

// At returns the unit's collector by its place among the positions.
func (u *Units) At(i int) *Collector { return u.of[i] }

// ObserveRig takes in what the acquisition's counters grew by in one cycle of all units.
func (u *Units) ObserveRig(delta capture.Counts) { u.rig.count(delta) }

// Gatherer returns what WriteFile writes and Handler serves.
func (u *Units) Gatherer() prometheus.Gatherer { return u.of[0].Gatherer() }

// Handler serves the metrics as Collector's does.
func (u *Units) Handler() http.Handler { return u.of[0].Handler() }
