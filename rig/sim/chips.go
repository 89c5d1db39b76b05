package sim

import (
	"fmt"
	"math"

	"periph.io/x/conn/v3/physic"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/simchip"
	"makebreak/rig/wiring"
)

// chip is one converter on the bus, with its ready line.
type chip struct {
	*simchip.Chip
	name  string
	addr  uint16
	opts  simchip.Opts
	ready *line.Line
	line  int   // index in the open set of lines; -1: not asked for
	end   int64 // when the kernel sees its ready pin assert next
	late  int64 // how long after the pin that is
	edges uint64
	loses uint64 // every loses-th ready edge is lost, without a sign of it; 0: none
}

// noiseVolts is a conversion's noise at the pin, rms, at 860 conversions a
// second; it grows with the square root of the rate. The data sheet gives some
// 0.1 mV for ±4.096 V (TI SBAS444, noise table).
const (
	noiseVolts = 0.15e-3
	noiseRate  = 860
)

// straps is how many addresses a converter can be strapped to, one beside the other.
const straps = 4

// oscillatorSpread is how far the converters' oscillators are drawn, half of
// what the data sheet allows.
const oscillatorSpread = 0.05

// addChips puts the rig's converters on the bus.
func (w *World) addChips(opts Opts) error {
	w.bus = simchip.NewBus(w, w.rig.BusHz)
	for i := range w.rig.Chips {
		r := &w.rig.Chips[i]
		c := &chip{name: r.Name, addr: r.Address, opts: chipOpts(r, opts), ready: r.Ready, line: -1, end: never}
		inputs, err := w.inputs(r, opts)
		if err != nil {
			return err
		}
		c.Chip = simchip.NewChip(inputs, c.opts)
		if err := w.bus.Attach(r.Address, c.Chip); err != nil {
			return fmt.Errorf("chip %s: %w", r.Name, err)
		}
		w.chips = append(w.chips, c)
		w.strapped[c.addr%straps] = c
	}
	return w.checkWired()
}

func chipOpts(r *wiring.Chip, opts Opts) simchip.Opts {
	d := newDraws(opts.Seed, "chip "+r.Name, opts.Exact)
	e := ads1x15.Errors(r.Model, r.Range)
	o := simchip.Opts{Model: r.Model, SupplyVolts: r.Supply, Rand: d.Rand}
	o.Oscillator = d.within(0, oscillatorSpread)
	if planted, ok := plantedOscillator(opts.Faults); ok {
		o.Oscillator = planted
	}
	o.GainError = d.within(0, e.GainShare+e.MatchShare)
	o.OffsetVolts = d.within(0, e.OffsetSteps) * e.StepVolts
	if opts.Take > 0 {
		o.Rand = opts.noise("chip "+r.Name, opts.Exact).Rand
	}
	if !opts.Exact {
		o.NoiseVolts = noiseVolts * math.Sqrt(float64(r.Rate)/noiseRate)
	}
	return o
}

// inputs returns what a chip's pins see: the terminals behind their dividers.
func (w *World) inputs(r *wiring.Chip, opts Opts) ([4]simchip.Input, error) {
	var in [4]simchip.Input
	load := ads1x15.Errors(r.Model, r.Range).InputOhms
	late := int64(opts.Filter)
	for i := range w.rig.Outputs {
		x := &w.rig.Outputs[i]
		if x.Chip != r.Name {
			continue
		}
		if x.Channel < 0 || x.Channel > 3 {
			return in, fmt.Errorf("output %s: channel %d must be 0 to 3", x.Name, x.Channel)
		}
		o := w.outputs[i]
		d := newDraws(opts.Seed, "divider "+x.Name, opts.Exact)
		ohms := d.within(load, load*loadSpread)
		o.parts = drawDivider(x.Divider, ohms, d)
		o.share = o.parts.share()
		o.lift = returnShare(x.Divider, o.share, ohms) * d.within(0, returnVolts)
		in[x.Channel] = func(from, to capture.Instant) float64 {
			return w.atPin(o, o.sense.mean(int64(from)-late, int64(to)-late), int64(from)-late, int64(to)-late)
		}
		if weights := opts.Weights; weights != nil {
			in[x.Channel] = func(from, to capture.Instant) float64 {
				return w.atPin(o, o.sense.weighted(int64(from)-late, int64(to)-late, weights), int64(from)-late, int64(to)-late)
			}
		}
	}
	return in, nil
}

// atPin returns the volts at a converter's pin over a time, by those behind the sense wire.
func (w *World) atPin(o *output, sensed float64, from, to int64) float64 {
	if w.floating {
		sensed -= w.lifted(o, from, to)
	}
	return sensed*o.share + o.lift
}

// The converter's input loads the divider. Its impedance is drawn within a share
// of the data sheet's typical figure, and the point that its current returns to
// within this many volts of ground. Assumptions, as the rig file's uncertainty
// makes them; the data sheet gives no limits.
const (
	loadSpread  = 0.3
	returnVolts = 0.7
)

// returnShare returns the volts at a pin per volt at the point that the input's
// current returns to.
func returnShare(v wiring.Divider, share, load float64) float64 {
	if v.Upper == 0 || load <= 0 {
		return 0
	}
	return share * v.Upper / load
}

// divider is an output's two resistors as they are, and the converter's input behind them.
type divider struct {
	upper, lower float64 // ohms; upper is 0 where the terminal goes straight to the input
	load         float64 // ohms from the input to about ground; 0: none
}

// lifted is by how much an output's divider sees less than its terminal has, as a mean over
// a conversion, where the rig's 0 V is not joined to the unit's. Where both supplies float, the
// dividers are all that joins the two. No current can flow through them together, so the rig's
// 0 V is the mean of all outputs, each by the conductance of its divider. Each terminal
// follows it a little, by the resistance that it has itself. What stray capacitance to the
// mains adds is left out, and what converters' inputs conduct that are pulled below their
// ground.
func (w *World) lifted(o *output, from, to int64) float64 {
	sum, all := 0.0, 0.0
	for _, x := range w.outputs {
		if x.parts.upper == 0 {
			continue
		}
		behind, ohms := x.parts.thevenin(x.lift, x.share)
		sum += (x.sense.mean(from, to) - behind) / ohms
		all += x.stays() / ohms
	}
	if all == 0 {
		return 0
	}
	return sum / all * o.stays()
}

// stays is the share of a voltage between the two 0 V that an output's terminal does not
// follow.
func (o *output) stays() float64 {
	c := o.carrier()
	inner := c.fed.ohms
	if k := c.load(); k != nil {
		inner = parallel(inner, k.loaded())
	}
	follows := inner * o.parts.siemens()
	if o.joined != nil {
		follows += inner * o.joined.parts.siemens()
	}
	return 1 - follows
}

// siemens is the conductance from a terminal through its divider; 0 where there is none.
func (v divider) siemens() float64 {
	if v.upper == 0 {
		return 0
	}
	return 1 / (v.upper + v.below())
}

// below is what lies between the pin and about ground, in ohms.
func (v divider) below() float64 {
	if v.load > 0 {
		return parallel(v.lower, v.load)
	}
	return v.lower
}

// drawDivider draws the resistors within their tolerance.
func drawDivider(v wiring.Divider, load float64, d draws) divider {
	upper := d.within(v.Upper, v.Upper*v.Tolerance)
	lower := d.within(v.Lower, v.Lower*v.Tolerance)
	if v.Upper == 0 {
		return divider{}
	}
	return divider{upper, lower, load}
}

// share returns the volts at the pin per volt at the terminal.
func (v divider) share() float64 {
	if v.upper == 0 {
		return 1
	}
	return v.below() / (v.upper + v.below())
}

// checkWired refuses outputs whose chip the rig does not have.
func (w *World) checkWired() error {
	for i := range w.rig.Outputs {
		if x := &w.rig.Outputs[i]; w.rig.Chip(x.Chip) == nil {
			return fmt.Errorf("output %s: the rig has no chip %q", x.Name, x.Chip)
		}
	}
	return nil
}

// chip returns the chip named, or nil.
func (w *World) chip(name string) *chip {
	for _, c := range w.chips {
		if c.name == name {
			return c
		}
	}
	return nil
}

// asserted reports whether the ready pin says that a conversion has finished: it
// is low then, as the driver sets it up.
func (c *chip) asserted(now int64) bool {
	c.Settle(capture.Instant(now))
	return !c.Pin(capture.Instant(now))
}

// refresh asks a chip anew when its ready pin asserts next.
func (w *World) refresh(c *chip) {
	end := int64(never)
	if c.line >= 0 {
		if c.end-c.late <= w.now && w.now < c.end {
			return // the pin has asserted, and the kernel is about to see it
		}
		if at, ok := c.NextReady(); ok {
			end = int64(at) + c.late
		}
	}
	if end == c.end {
		return
	}
	c.end = end
	if c != w.readyNext && end != w.readyDue {
		if end < w.readyDue {
			w.readyNext, w.readyDue = c, end
		}
		return
	}
	w.nextEdge()
}

// nextEdge finds the chip whose ready edge comes next.
func (w *World) nextEdge() {
	next, due := (*chip)(nil), int64(never)
	for _, c := range w.chips {
		if c.end < due {
			next, due = c, c.end
		}
	}
	w.readyNext, w.readyDue = next, due
}

// endConversion lets the conversion end whose ready edge comes next.
func (w *World) endConversion() {
	c, at := w.readyNext, w.readyDue
	c.Settle(capture.Instant(at))
	c.late, c.end = w.kernel.Next(), never
	if next, ok := c.NextReady(); ok {
		c.end = int64(next) + c.late
	}
	w.nextEdge()
	if c.edges++; c.loses > 0 && c.edges%c.loses == 0 {
		return
	}
	w.lines.queue(c.line, at, true)
}

// bus is the simulated bus as the program sees it. After a transfer that may have
// changed something the world asks again when a ready pin will assert.
type bus World

func (b *bus) String() string { return b.bus.String() }

func (b *bus) SetSpeed(f physic.Frequency) error { return b.bus.SetSpeed(f) }

func (b *bus) Tx(addr uint16, wr, rd []byte) error {
	w := (*World)(b)
	w.listen()
	end, err := w.bus.TxFrom(addr, wr, rd, w.Now())
	w.AdvanceTo(end)
	// A transfer that only reads changes nothing, nor does one that only names a register.
	if err != nil {
		w.changed()
	} else if len(wr) > 1 {
		if c := w.strapped[addr%straps]; c != nil && c.addr == addr {
			w.refresh(c)
			w.schedule()
		} else {
			w.changed() // the transfer went to all, or to none
		}
	}
	if w.real != nil {
		w.pace()
	}
	return err
}

// changed asks all chips again when their ready pins assert.
func (w *World) changed() {
	for _, c := range w.chips {
		w.refresh(c)
	}
	w.schedule()
}
