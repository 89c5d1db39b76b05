package sim

import (
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"time"
)

// UnitParams overrides what is drawn for the unit and the relays behind it. A
// field left zero is drawn about its usual value, a field that is set is taken
// as it stands.
type UnitParams struct {
	HighVolts    float64       // an output's voltage when on, without load
	OnOhms       float64       // the source resistance of an output that is on
	LowVolts     float64       // an output's voltage when off, with its load
	OffOhms      float64       // the resistance behind which the leakage of an output that is off stands
	Edge         time.Duration // the time constant of the edges of an output with a relay
	Delay        time.Duration // from the panel's input to its outputs
	DelayJitter  time.Duration // standard deviation of Delay from event to event
	CoilOhms     float64
	CoilTau      time.Duration // the coil's L/R
	PullInVolts  float64       // coil voltage that pulls the armature in
	DropOutVolts float64       // coil voltage at which the armature drops out
	BreakOpens   time.Duration // from pull-in to the break contact's opening
	MakeCloses   time.Duration // from pull-in to the make contact's first closing
	MakeOpens    time.Duration // from drop-out to the make contact's opening
	BreakCloses  time.Duration // from drop-out to the break contact's first closing
}

// typical are the figures about which a unit is drawn, and spreads the half-widths
// of the draws as shares of them. Sources: see the package comment.
var (
	typical = UnitParams{
		HighVolts: 13.55, OnOhms: 12, LowVolts: 0.65, OffOhms: 1000,
		// Half a microfarad across the coil, which keeps its noise from the panel, and some
		// hundred ohms of a switch that opens or closes (common practice, no source).
		Edge:  120 * time.Microsecond,
		Delay: 142 * time.Millisecond, DelayJitter: 500 * time.Microsecond,
		CoilOhms: 400, CoilTau: 1300 * time.Microsecond,
		PullInVolts: 6.8, DropOutVolts: 2.2,
		BreakOpens: 1800 * time.Microsecond, MakeCloses: 4500 * time.Microsecond,
		MakeOpens: 700 * time.Microsecond, BreakCloses: 2400 * time.Microsecond,
	}
	spreads = struct {
		supply, onOhms, low, offOhms, delay, coil, tau, pullIn, dropOut, travel float64
	}{
		supply: 0.004, onOhms: 0.15, low: 0.077, offOhms: 0.2, delay: 0.01,
		coil: 0.1, tau: 0.1, pullIn: 0.08, dropOut: 0.12, travel: 0.06,
	}
)

// NominalCoil is the resistance of a relay's coil by its data sheet, in ohms, and how far one
// may lie from it, as a share.
func NominalCoil() (ohms, within float64) { return typical.CoilOhms, spreads.coil }

// draws gives the random figures of one part of the bench. Each part has its
// own stream, so that a fault planted in one does not change the others.
type draws struct {
	*rand.Rand
	exact bool // no spread at all: always the middle
}

func newDraws(seed uint64, part string, exact bool) draws {
	h := fnv.New64a()
	h.Write([]byte(part))
	return draws{rand.New(rand.NewPCG(seed, h.Sum64())), exact}
}

// noise gives what differs from time to time on one bench, for one part of it.
func (o *Opts) noise(part string, exact bool) draws {
	if o.Take > 0 {
		part = fmt.Sprintf("%s, take %d", part, o.Take)
	}
	return newDraws(o.Seed, part, exact)
}

// within draws evenly from middle ± half.
func (d draws) within(middle, half float64) float64 {
	x := 2*d.Float64() - 1
	if d.exact {
		return middle
	}
	return middle + half*x
}

// about returns set where it is not zero, else draws evenly about the typical
// value, a share to each side.
func (d draws) about(set, typical, share float64) float64 {
	v := d.within(typical, typical*share)
	if set != 0 {
		return set
	}
	return v
}

// normal draws from the normal distribution, cut off at three standard
// deviations, where no bench has a say.
func (d draws) normal(mean, sd float64) float64 {
	x := cut(d.NormFloat64())
	if d.exact {
		return mean
	}
	return mean + sd*x
}

// cut returns x, or the end of ±3 that it lies beyond.
func cut(x float64) float64 {
	if x > 3 {
		return 3
	}
	if x < -3 {
		return -3
	}
	return x
}

// between draws a time evenly between two, in nanoseconds.
func (d draws) between(low, high time.Duration) int64 {
	return int64(d.within(float64(low+high)/2, float64(high-low)/2))
}
