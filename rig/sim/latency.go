package sim

import (
	"time"

	"makebreak/rig/ahead"
)

// A kernel stamps an edge in the interrupt handler, some time after the edge
// itself. Edges on one line keep their order. The figures are those of a gpiolib
// line under Linux on a virtual machine, rounded.
const (
	latencyMean   = 20 * time.Microsecond
	latencySpread = 10 * time.Microsecond // standard deviation
	latencyLeast  = 2 * time.Microsecond
)

// newLatencies returns how late the kernel stamps edges, in nanoseconds, edge after edge.
func newLatencies(d draws) *ahead.Draws[int64] {
	return ahead.New(func() int64 {
		if d.exact {
			return 0
		}
		return max(int64(latencyLeast), int64(float64(latencyMean)+float64(latencySpread)*cut(d.NormFloat64())))
	})
}
