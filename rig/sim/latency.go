package sim

import "time"

// A kernel stamps an edge in the interrupt handler, some time after the edge
// itself. Edges on one line keep their order. The figures are those of a gpiolib
// line under Linux on a virtual machine, rounded.
const (
	latencyMean   = 20 * time.Microsecond
	latencySpread = 10 * time.Microsecond // standard deviation
	latencyLeast  = 2 * time.Microsecond
)

// latency draws how late the kernel stamps an edge, in nanoseconds.
func (w *World) latency() int64 {
	if w.kernel.exact {
		return 0
	}
	return max(int64(latencyLeast), int64(float64(latencyMean)+float64(latencySpread)*cut(w.kernel.NormFloat64())))
}
