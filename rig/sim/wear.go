package sim

import "math"

// wear is what gets worse with each time that a relay operates. All figures are 0 for a
// relay that does not wear, which draws nothing for it.
type wear struct {
	operations float64 // so far
	bounce     float64 // ns that a closing bounces more for each operation
	creep      float64 // ns that an operation takes longer for each one before
	welds      float64 // operation at which the make contact welds; 0: never
	drawn      draws
	sticks     int64 // ns for which the next release sticks
}

// wearOff counts an operation, and welds the make contact when its time has come.
func (k *relay) wearOff() {
	x := &k.worn
	x.operations++
	if x.welds == 0 {
		return
	}
	if x.operations >= x.welds {
		k.welded = true
		return
	}
	x.sticks = x.stick()
}

// A contact that begins to weld sticks for longer the nearer the weld is: as the square of
// the operations done, up to mostStuck, each time by more or less. Invented, plausible
// figures.
const (
	mostStuck   = 80e6 // ns
	stuckSpread = 0.15 // one standard deviation, a share
)

func (x *wear) stick() int64 {
	done := x.operations / x.welds
	return int64(mostStuck * done * done * math.Max(0, x.drawn.normal(1, stuckSpread)))
}

func (x *wear) stuckFor() int64 { return x.sticks }

func (x *wear) operateLate() int64 { return int64(x.creep * x.operations) }

// wornFrom is how long a closing of a contact bounces that begins to wear, in ns: half of what
// a healthy one may.
const wornFrom = float64(bounceLimit) / 2

// bounces is how long a closing bounces, some fifth more or less each time; 0: as usual.
func (x *wear) bounces() int64 {
	if x.bounce == 0 {
		return 0
	}
	return int64((wornFrom + x.bounce*x.operations) * x.drawn.normal(1, 0.1))
}
