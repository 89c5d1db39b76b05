package drawnbench

import (
	"fmt"
	"strings"
	"time"

	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
)

// Bench is a bench as it was drawn.
type Bench struct {
	Seed   uint64
	Rig    *wiring.Rig
	Seq    *sequences.Sequence
	Cycles int
	Faults []sim.Fault
	// RigFile and SequenceFile are the texts that Rig and Seq were read from.
	RigFile, SequenceFile string

	unit    sim.UnitParams
	weights sim.Weights
	layout  *layout
}

// layout is what the drawing knows of the bench.
type layout struct {
	relayBench bool
	endurance  bool // one relay, hundreds of cycles
	chips      []chip
	outputs    []output
	relays     []relay
	references bool
	keySwitch  bool // arming and disarming set one drive on and off
	supply     supplyKind
	steps      []step
	volts      float64 // how many times 12 V the unit works on
	others     bool    // every output that is not named must stay unmoved
}

type supplyKind int

const (
	ownSupply supplyKind = iota
	converterSupply
	stageSupply
)

type chip struct {
	name    string
	rate    int
	model   string
	ready   bool
	follows bool
	outputs int
}

type output struct {
	name, chip string
	channel    int
	role       role
	relay      string
	pulse      time.Duration // of a pulse or an exit delay
	within     int           // per cent
}

type relay struct {
	name, makes, breaks string // contacts may be empty
	output              string
}

type step struct {
	event, as string
	supply    string // what it does to the supply instead
	hold      time.Duration
}

// tries is how many benches are drawn, at most, until one can have the faults.
const tries = 400

// Draw draws the bench of a seed with as many faults, each of the kind that kinds names in
// turn. A bench that cannot have them is drawn again.
func Draw(seed uint64, kinds ...string) (*Bench, error) {
	var refused error
	for n := range uint64(tries) {
		d := newDice(seed, 1000+n)
		b, err := drawBench(d, seed, kinds)
		if err != nil {
			refused = err
			continue
		}
		ok := true
		for _, kind := range kinds {
			drawn, can := b.drawFault(d, kind)
			if !can {
				ok = false
				break
			}
			f, err := sim.ParseFault(drawn.String()) // as a person writes it
			if err != nil {
				return nil, fmt.Errorf("seed %d, %s: %w", seed, drawn, err)
			}
			b.Faults = append(b.Faults, f)
		}
		if !ok {
			continue
		}
		if _, refused = sim.NewWorld(b.Rig, b.opts(b.Faults)); refused == nil {
			return b, nil // two faults may not go together
		}
	}
	return nil, fmt.Errorf("seed %d: no bench can have %s: %w", seed, strings.Join(kinds, " and "), refused)
}

// drawBench draws a healthy bench. The error says why its files do not go together.
func drawBench(d dice, seed uint64, kinds []string) (*Bench, error) {
	l := drawLayout(d, kinds)
	b := &Bench{Seed: seed, layout: l}
	b.Cycles = 3 + d.IntN(4)
	switch {
	case l.endurance:
		b.Cycles = 100 + d.IntN(101)
	case l.relayBench:
		b.Cycles = 3 + d.IntN(8)
	}
	b.drawUnit(d)
	b.RigFile, b.SequenceFile = b.rigText(d), b.sequenceText(d)
	var err error
	if b.Rig, err = rigfile.Parse("drawn-rig.yaml", []byte(b.RigFile)); err != nil {
		return nil, fmt.Errorf("%w\n%s", err, b.RigFile)
	}
	if b.Seq, err = sequences.Parse("drawn.yaml", []byte(b.SequenceFile)); err != nil {
		return nil, fmt.Errorf("%w\n%s", err, b.SequenceFile)
	}
	if _, err := b.Seq.Fits(b.Rig); err != nil {
		return nil, fmt.Errorf("%w\n%s\n%s", err, b.RigFile, b.SequenceFile)
	}
	return b, nil
}

// drawUnit draws what kind of unit it is: its parts are then drawn about that by the simulator.
func (b *Bench) drawUnit(d dice) {
	u := &b.unit
	defer b.scaleUnit(d)
	if b.layout.supply == ownSupply && d.chance(0.6) {
		u.HighVolts = d.between(12.8, 14.1)
	}
	if d.chance(0.6) {
		u.Delay = time.Duration(d.between(60, 240) * 1e6)
	}
	if d.chance(0.4) {
		u.CoilOhms = d.spread(250, 700)
	}
	if d.chance(0.4) {
		u.LowVolts = d.between(0.25, 0.75)
	}
	b.weights = []sim.Weights{nil, sim.Last(0.9), sim.Sinc(2), sim.Sinc(3)}[d.IntN(4)]
}

// scaleUnit makes a unit of 24 V of one of 12 V. Its relay's figures are those of a 24 V coil:
// twice the volts, four times the ohms.
func (b *Bench) scaleUnit(d dice) {
	u, by := &b.unit, b.layout.volts
	if by == 1 {
		return
	}
	if u.HighVolts == 0 {
		u.HighVolts = 13.55
	}
	if u.CoilOhms == 0 {
		u.CoilOhms = 400
	}
	u.HighVolts *= by
	u.CoilOhms *= by * by
	u.PullInVolts, u.DropOutVolts = by*d.between(6.3, 7.3), by*d.between(1.95, 2.45)
}
