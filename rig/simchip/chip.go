package simchip

import (
	"math"
	"math/rand/v2"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/ahead"
	"makebreak/rig/capture"
)

// PowerUp is how long a conversion that starts from power-down waits before it
// integrates (TI SBAS444, single-shot mode: about 25 µs).
const PowerUp = 25 * time.Microsecond

// ReadyPulse is how long the ready pin stays asserted after each conversion in
// continuous mode (TI SBAS444: about 8 µs).
const ReadyPulse = 8 * time.Microsecond

// DefaultSupply is the supply in volts where the options name none.
const DefaultSupply = 3.3

// clampVolts is how far a pin can go beyond ground and supply before its
// protection diodes conduct (TI SBAS444, absolute maximum ratings).
const clampVolts = 0.3

// never lies beyond every instant of a run.
const never = capture.Instant(math.MaxInt64)

// Input returns the mean voltage at a pin, in volts against ground, over the
// time from one instant to a later one.
type Input func(from, to capture.Instant) float64

// Opts are what makes one chip differ from the ideal one.
type Opts struct {
	Model ads1x15.Model
	// Oscillator is the relative error of the conversion period: +0.03 makes
	// conversions last 3 % longer.
	Oscillator float64 // a share of one
	// NoiseVolts is the noise of one conversion, rms, referred to the pin.
	NoiseVolts float64
	// GainError is a share of the reading, OffsetVolts is added to it.
	GainError   float64 // a share of one
	OffsetVolts float64
	// Rand draws the noise and nothing else, ahead of the conversions; nil: a generator with
	// a fixed seed.
	Rand *rand.Rand
	// SupplyVolts is the chip's supply; zero: DefaultSupply.
	SupplyVolts float64
}

// Chip is one converter.
type Chip struct {
	// due is the next instant at which something changes by itself: the running
	// conversion ends, or a planted fault strikes. It stands first because every
	// transfer looks at it.
	due capture.Instant

	pointer uint8
	running bool // a conversion runs
	pending bool // the latest finished conversion has not been evaluated yet
	ready   bool // the ready function is on
	fresh   bool // a conversion has ended since the reset
	gone    bool

	conversion, config, low, high uint16

	// The running conversion, k-th since epoch.
	end    capture.Instant
	start  capture.Instant
	epoch  capture.Instant
	period float64 // nanoseconds
	k      int64
	set    uint16 // configuration that it runs with

	// The latest finished conversion.
	doneStart, doneEnd capture.Instant
	doneSet            uint16

	completed uint64

	inputs  [4]Input
	noise   *ahead.Draws[float64] // V, at the pin; nil: there is none
	gain    float64
	offset  float64    // V
	top     float64    // highest voltage that a pin can take
	latest  [4]reading // by pin
	periods [8]float64
	once    [8]capture.Instant // how long the first conversion of a chain takes, by rate
	perVolt [8]float64         // steps of the converter per volt, by range
	least   float64            // lowest code, in the converter's own steps
	most    float64            // highest code
	shift   uint8              // left-justification

	resetAt, loseAt capture.Instant
	flips           []uint16
}

// reading is what the amplifier makes of a voltage.
type reading struct {
	in, out float64 // V
}

// NewChip returns a chip just powered up. A nil input is a pin tied to ground.
func NewChip(inputs [4]Input, opts Opts) *Chip {
	if opts.SupplyVolts == 0 {
		opts.SupplyVolts = DefaultSupply
	}
	if opts.Rand == nil {
		opts.Rand = rand.New(rand.NewPCG(1, 2))
	}
	c := &Chip{inputs: inputs, gain: 1 + opts.GainError, offset: opts.OffsetVolts, top: opts.SupplyVolts + clampVolts,
		resetAt: never, loseAt: never}
	if opts.NoiseVolts != 0 {
		c.noise = ahead.New(func() float64 { return opts.NoiseVolts * opts.Rand.NormFloat64() })
	}
	rates, codes := &rates1115, float64(1<<15)
	if opts.Model == ads1x15.ADS1015 {
		rates, codes, c.shift = &rates1015, 1<<11, 4
	}
	c.least, c.most = -codes, codes-1
	for i := range c.latest {
		c.latest[i] = reading{in: 0, out: c.offset}
	}
	for i := range rates {
		c.periods[i] = 1e9 / rates[i] * (1 + opts.Oscillator)
		c.perVolt[i] = codes / fullScale[i]
		c.once[i] = capture.Instant(c.periods[i] + 0.5)
	}
	c.reset()
	return c
}

// reset does what power-up does, and a general call reset.
func (c *Chip) reset() {
	c.pointer, c.conversion = regConversion, 0
	c.config, c.low, c.high = resetConfig, resetLow, resetHigh
	c.running, c.pending, c.fresh = false, false, false
	c.end = never
	c.updateReady()
	c.updateDue()
}

func (c *Chip) updateReady() {
	c.ready = c.high&0x8000 != 0 && c.low&0x8000 == 0 && c.config&maskQueue != maskQueue
}

func (c *Chip) updateDue() { c.due = min(c.end, c.resetAt, c.loseAt) }

// Settle completes the conversions that end at or before the instant. It must
// not be called for an instant that the clock has not reached.
func (c *Chip) Settle(now capture.Instant) {
	if c.due <= now {
		c.settle(now)
	}
}

func (c *Chip) settle(now capture.Instant) {
	for c.due <= now {
		switch c.due {
		case c.end:
			c.complete(now)
			c.updateDue()
		case c.resetAt:
			c.resetAt = never
			c.reset()
		case c.loseAt:
			c.gone, c.loseAt = true, never
			c.reset()
		}
	}
}

// complete ends the running conversion and, in continuous mode, begins the
// next. Conversions of one chain that nobody can have read are passed over in
// one go.
func (c *Chip) complete(now capture.Instant) {
	next := never // when the conversion after this one ends; never: it is no chain's
	if c.config == c.set && c.config&bitSingle == 0 {
		if next = c.endOf(c.k + 1); next <= now {
			c.skip(min(now, c.resetAt, c.loseAt))
			next = c.endOf(c.k + 1)
		}
	}
	c.doneStart, c.doneEnd, c.doneSet = c.start, c.end, c.set
	c.pending, c.fresh = true, true
	c.completed++
	switch {
	case next != never:
		c.k++
		c.start, c.end = c.end, next
	case c.config&bitSingle != 0:
		c.running, c.end = false, never
	default:
		c.begin(c.end)
	}
}

// skip moves the running conversion on to the last one of the chain that ends
// at or before the limit.
func (c *Chip) skip(limit capture.Instant) {
	k := int64(float64(limit-c.epoch) / c.period)
	for c.endOf(k) > limit {
		k--
	}
	for c.endOf(k+1) <= limit {
		k++
	}
	if k <= c.k {
		return
	}
	c.completed += uint64(k - c.k)
	c.k, c.start, c.end = k, c.endOf(k-1), c.endOf(k)
}

// begin starts a conversion, or a chain of them, with the present settings.
func (c *Chip) begin(at capture.Instant) {
	rate := c.config >> shiftRate & 7
	c.epoch, c.start, c.k, c.set = at, at, 1, c.config
	c.period = c.periods[rate]
	c.running, c.end = true, at+c.once[rate]
}

// endOf returns when conversion k of the chain ends. It is computed from the
// chain's beginning, so that rounding to nanoseconds does not add up.
func (c *Chip) endOf(k int64) capture.Instant {
	return c.epoch + capture.Instant(float64(k)*c.period+0.5)
}

// NextReady returns the instant at which the ready pin will next assert, and
// whether it will: the ready function is on, a conversion runs and nothing
// planted strikes before its end.
func (c *Chip) NextReady() (capture.Instant, bool) {
	if !c.ready || !c.running || c.due != c.end {
		return 0, false
	}
	return c.end, true
}

// Pin returns the level of the open-drain ALERT/RDY pin with its pull-up: true
// is high. The chip must have been settled at that instant.
func (c *Chip) Pin(now capture.Instant) bool {
	if !c.ready {
		return true
	}
	asserted := c.fresh && !c.running
	if c.running && c.set&bitSingle == 0 {
		asserted = c.fresh && now.Sub(c.doneEnd) < ReadyPulse
	}
	return asserted == (c.config&bitPolarity != 0)
}

// Ready returns how many conversions have been completed.
func (c *Chip) Ready() uint64 { return c.completed }

// Oldest returns the earliest instant that the inputs may still be asked about,
// or now where there is none.
func (c *Chip) Oldest(now capture.Instant) capture.Instant {
	oldest := now
	if c.running {
		oldest = min(oldest, c.start)
	}
	if c.pending {
		oldest = min(oldest, c.doneStart)
	}
	return oldest
}

// Latch evaluates the latest finished conversion now, as reading it would.
func (c *Chip) Latch() {
	if c.pending {
		c.pending = false
		c.conversion = c.convert()
	}
}

// convert returns the code of the latest finished conversion.
func (c *Chip) convert() uint16 {
	p := &pins[c.doneSet>>shiftMux&7]
	plus := p[0] & 3
	v := 0.0
	if in := c.inputs[plus]; in != nil {
		v = between(in(c.doneStart, c.doneEnd), -clampVolts, c.top)
	}
	if p[1] != ground {
		v -= c.pin(p[1])
	}
	if l := &c.latest[plus]; l.in == v {
		v = l.out // nearly always; the processor goes on before it has v
	} else {
		l.in = v
		v = v*c.gain + c.offset
		l.out = v
	}
	if c.noise != nil {
		v += c.noise.Next()
	}
	steps := nearest(between(v*c.perVolt[c.doneSet>>shiftRange&7], c.least, c.most))
	return uint16(steps << (c.shift & 31)) // the mask spares a comparison
}

// nearest returns the whole number next to x, the higher one of two. It is math.Floor of x and
// a half, in half the time.
func nearest(x float64) int32 {
	x += 0.5
	n := int32(x)
	if float64(n) > x {
		n--
	}
	return n
}

// pin returns the mean at an input pin over the latest finished conversion,
// held within what the pin's diodes let through.
func (c *Chip) pin(n uint8) float64 {
	in := c.inputs[n&3]
	if in == nil {
		return 0
	}
	return between(in(c.doneStart, c.doneEnd), -clampVolts, c.top)
}

// between returns x, or the bound that it lies beyond. Every conversion comes here twice,
// and min and max of the language, which heed NaN and the sign of zero, take longer.
func between(x, low, high float64) float64 {
	if x > high {
		return high
	}
	if x < low {
		return low
	}
	return x
}

// register returns the register that the pointer names, at an instant at which
// the chip is settled.
func (c *Chip) register() uint16 {
	switch c.pointer {
	case regConversion:
		c.Latch()
		return c.conversion ^ c.flipped()
	case regConfig:
		if c.running {
			return c.config
		}
		return c.config | bitOS
	case regLow:
		return c.low
	}
	return c.high
}

// point puts the pointer on a register.
func (c *Chip) point(reg byte) { c.pointer = reg & 3 }

// write takes the bytes of a write transfer that ends at the instant, at which
// the chip is settled: the pointer, and with two more bytes the register.
// Fewer than two leave the register alone, more are ignored.
func (c *Chip) write(w []byte, at capture.Instant) {
	if len(w) == 0 {
		return
	}
	c.point(w[0])
	if len(w) < 3 {
		return
	}
	v := uint16(w[1])<<8 | uint16(w[2])
	switch c.pointer {
	case regConfig:
		// OS is a command and not kept; while a conversion runs, it does nothing and the
		// settings wait for the next one.
		c.config = v &^ bitOS
		if !c.running && v&(bitOS|bitSingle) != bitSingle {
			c.begin(at.Add(PowerUp))
			c.updateDue()
		}
	case regLow:
		c.low = v
	case regHigh:
		c.high = v
	}
	c.updateReady()
}
