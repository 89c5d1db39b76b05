package sim

import (
	"fmt"
	"math"
	"time"

	"makebreak/rig/simchip"
	"makebreak/rig/wiring"
)

// The amplifier behind the DAC. Its voltage is gain · the chip's + offset, not below
// ground, and follows with a time constant. Invented, plausible figures: resistors of
// 1 % set the gain.
const (
	supplyGainSpread   = 0.01
	supplyOffsetSpread = 0.02 // V at the unit
	supplyTau          = 200 * time.Microsecond
	supplyTauSpread    = 0.2
)

// A switch between two supplies, and the capacitor behind it. Invented, plausible figure.
const stageTau = 500 * time.Microsecond

// supply is the unit's supply where the rig can change it: from at on its voltage is
// to + gap·exp(-t/tau).
type supply struct {
	chip      *simchip.DAC  // nil: a drive switches it
	stage     *wiring.Stage // nil: a converter sets it
	gain      float64       // volts at the unit per volt of the chip, or per volt that the rig file gives
	gainError float64       // a share, in gain already
	offset    float64       // V
	tau       float64       // ns

	at      int64
	to, gap float64
}

// addSupply puts the rig's supply on the bus, where there is one. Until somebody writes
// to it, it stands where its EEPROM puts it.
func (w *World) addSupply(opts Opts) error {
	r := w.rig.Supply
	if r == nil {
		return nil
	}
	d := newDraws(opts.Seed, "supply", opts.Exact)
	s := &supply{gainError: d.within(0, supplyGainSpread), offset: d.within(0, supplyOffsetSpread),
		tau: d.within(1, supplyTauSpread), at: w.now}
	if r.Stage != nil {
		return w.addStage(s, r.Stage)
	}
	s.tau *= float64(supplyTau)
	s.gain = r.Gain * (1 + s.gainError)
	s.chip = simchip.NewDAC(simchip.DACOpts{SupplyVolts: r.Reference, Stored: simchip.FactoryCode, Changed: w.setSupply})
	if err := w.bus.AttachDAC(r.Address, s.chip); err != nil {
		return fmt.Errorf("supply: %w", err)
	}
	s.to = s.target(s.chip.Volts())
	w.supply = s
	return nil
}

// addStage puts two supplies on the bench, and has a drive switch between them. What is
// drawn holds for both.
func (w *World) addStage(s *supply, g *wiring.Stage) error {
	d := w.drive(g.Drive)
	if d == nil {
		return fmt.Errorf("supply: the rig has no drive %q", g.Drive)
	}
	d.supplies = true
	s.stage = g
	s.tau *= float64(stageTau)
	s.gain = 1 + s.gainError
	s.to = s.target(g.Off)
	w.supply = s
	return nil
}

// setStage lets the supply follow its drive.
func (w *World) setStage(on bool) {
	if g := w.supply.stage; on {
		w.setSupply(g.On)
	} else {
		w.setSupply(g.Off)
	}
}

// target is the voltage at which the supply settles for one of its chip, or for one that
// the rig file gives.
func (s *supply) target(set float64) float64 { return max(0, s.gain*set+s.offset) }

// volts returns the supply's voltage at an instant of its present law.
func (s *supply) volts(at int64) float64 {
	if s.gap == 0 {
		return s.to
	}
	return s.to + s.gap*math.Exp(-float64(at-s.at)/s.tau)
}

// setSupply lets the supply follow its chip or its drive, and all outputs the supply. A
// droop begins anew with that.
func (w *World) setSupply(set float64) {
	s := w.supply
	now := s.volts(w.now)
	s.at, s.to = w.now, s.target(set)
	s.gap = now - s.to
	for _, o := range w.outputs {
		o.feed(s.to)
	}
	for _, o := range w.outputs {
		if o.carrier() == o {
			w.apply(o, w.source(o))
		}
	}
}

// feed gives the output the supply's voltage: when on all of it, or as much as a fault
// lets through, and in proportion to it when off.
func (o *output) feed(supply float64) {
	o.on.volts, o.off.volts = o.onShare*supply, o.offShare*supply
}

// fedFrom hands the outputs over to the supply: what was drawn for them stands for
// their shares of it.
func (w *World) fedFrom(s *supply) {
	for _, o := range w.outputs {
		o.onShare, o.offShare = o.on.volts/o.drawn, o.off.volts/o.drawn
		o.feed(s.to)
	}
}

// restSupply is what the program's last word does. A supply that a drive switches needs
// none.
func (w *World) restSupply() {
	if w.SupplyChip() == nil {
		return
	}
	const attempts = 4
	r := w.rig.Supply
	code := r.Code(r.Rest)
	for range attempts {
		if (*bus)(w).Tx(r.Address, []byte{byte(code >> 8), byte(code)}, nil) == nil {
			return
		}
	}
}

// TruthSupply is what the supply is really like and where it stands.
type TruthSupply struct {
	Volts       float64 // at the unit, now
	Settled     float64 // where it is on the way to, in volts
	GainError   float64 // of the amplifier, or of both supplies against the rig file, a share
	OffsetVolts float64 // at the unit
	Tau         time.Duration
}

// truth returns the supply's truth, nil where the rig has none.
func (s *supply) truth(now int64) *TruthSupply {
	if s == nil {
		return nil
	}
	return &TruthSupply{s.volts(now), s.to, s.gainError, s.offset, time.Duration(s.tau)}
}

// SupplyChip returns the supply's converter, for faults; nil where no converter sets one.
func (w *World) SupplyChip() *simchip.DAC {
	if w.supply == nil {
		return nil
	}
	return w.supply.chip
}

// PullIn returns the voltage at a relay's coil that pulls it in, by the current that it
// drives once settled; NaN where there is no such relay.
func (w *World) PullIn(name string) float64 {
	return w.coilVolts(name, func(k *coil) float64 { return k.pullIn })
}

// DropOut returns the voltage at a relay's coil at which it drops out; NaN where there is
// no such relay.
func (w *World) DropOut(name string) float64 {
	return w.coilVolts(name, func(k *coil) float64 { return k.dropOut })
}

func (w *World) coilVolts(name string, amperes func(*coil) float64) float64 {
	for _, k := range w.relays {
		if k.name == name {
			return amperes(&k.coil) * k.coil.ohms
		}
	}
	return math.NaN()
}
