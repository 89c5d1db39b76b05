package bench

import (
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/wiring"
)

// readyTimeout is how long beyond its slowest conversion a chip may keep silent: a
// busy kernel may wake the program late, though its stamps are on time.
const readyTimeout = 20 * time.Millisecond

// revivals is how often in a row a chip that fails is set up again before the rig
// counts as lost, and retryPause how long it is left alone each time. On a bus where every
// transfer takes its time-out, longestFailing comes first.
const (
	revivals       = 3
	retryPause     = 20 * time.Millisecond
	longestFailing = time.Second
)

// channel is one output of a chip.
type channel struct {
	trace  int // of the captures
	number int // of the chip's input
	perPin float64
	offset float64 // volts at the terminal where the pin reads zero
	jumps  jumps
	// late is how much later than edges the samples come, lateStandard its uncertainty.
	late, lateStandard time.Duration
	filter             *capture.Filter // nil: not measured
}

// chip is one converter and what it is doing.
type chip struct {
	dev      *ads1x15.Dev
	name     string
	counts   capture.Counts // without the bus errors that dev counts
	channels []channel
	follow   bool // continuous conversions of one channel
	// readFirst has a single conversion read before the next is started: its register
	// would change while it is read, because the bus is slow for the chip's rate.
	readFirst bool
	late      int // readings in a row that the next conversion has overtaken
	line      int // of the ready pin; -1: unwired, the OS bit is polled

	current    int     // index of the channel under conversion
	started    instant // when the running single conversion was started
	finished   int     // conversions reported ready and not yet read
	end        instant // of the latest finished conversion
	ended      bool    // end is known
	wake       instant // when to look though no edge has come
	silence    silence
	neighbours neighbours
	silent     int     // failures in a row
	failing    instant // when the first of them began
	stale      bool    // the running single conversion is from before the recording
	broken     bool    // it could not be set up again yet
	settling   bool    // it is set up; what it may have been converting ends first

	shortest, nominal, longest time.Duration
	credible                   [2]time.Duration // what a single conversion may have taken, power-up left out
	pollGap                    time.Duration
	span                       spans
	polled                     spans // half-widths within which an unwired chip's ends are known
}

// spans is the running mean of a time, and how far the latest times lie from it on average.
type spans struct {
	n         int
	mean, dev float64 // nanoseconds
}

// known is how many times make a mean that is better than a data sheet's nominal value.
const known = 20

func (s *spans) add(d time.Duration) {
	s.n++
	off := float64(d) - s.mean
	s.mean += off / float64(min(s.n, 1000))
	if s.n > 1 {
		s.dev += (math.Abs(off) - s.dev) / 16
	}
}

// readBits is what reading a conversion takes on the wire: five bytes of nine bits,
// two starts and a stop. lateMost is how many readings in a row may come too late
// before the bus is taken to be slower than the rig file says.
const (
	readBits = 5*9 + 3
	lateMost = 3
)

func newChip(bus i2c.Bus, timing BusTiming, w *wiring.Chip, line int, follow bool) (*chip, error) {
	opts := ads1x15.DefaultOpts
	opts.Model, opts.Range, opts.Rate, opts.Ready = w.Model, w.Range, w.Rate, line >= 0
	dev, err := ads1x15.New(bus, w.Address, &opts)
	if err != nil {
		return nil, err
	}
	c := &chip{dev: dev, name: w.Name, line: line, follow: follow && line >= 0}
	c.setPeriod(dev.Period())
	c.pollGap = c.nominal / 20
	c.readFirst = timing.takes(readBits) >= c.shortest
	return c, nil
}

// setPeriod sets how long a conversion lasts, and with that how long one may be taken to
// have lasted.
func (c *chip) setPeriod(shortest, nominal, longest time.Duration) {
	c.shortest, c.nominal, c.longest = shortest, nominal, longest
	c.credible = [2]time.Duration{shortest * 9 / 10, longest * 11 / 10}
}

// begin sets the chip up and starts its first conversion, once a conversion that runs
// has ended: it would be taken for the first one, though it may be of another input.
func (c *chip) begin(b *Bench) error {
	if err := c.dev.Setup(); err != nil {
		return err
	}
	busy, err := c.dev.Busy()
	if err != nil {
		return err
	}
	if c.settling = busy; busy {
		c.wake = b.lines.Now().Add(ads1x15.PowerUp + c.longest)
		return nil
	}
	return c.first(b)
}

// first starts the first conversion.
func (c *chip) first(b *Bench) error {
	c.settling, c.finished, c.ended, c.current = false, 0, false, 0
	if !c.follow {
		return c.start(b)
	}
	if err := c.dev.Follow(c.channels[0].number); err != nil {
		return err
	}
	c.started = b.lines.Now()
	c.wake = c.started.Add(c.patience())
	return nil
}

// start starts a single conversion of the current channel.
func (c *chip) start(b *Bench) error {
	c.stale = false
	if err := c.dev.Start(c.channels[c.current].number); err != nil {
		return err
	}
	c.started = b.lines.Now()
	if c.line >= 0 {
		c.wake = c.started.Add(ads1x15.PowerUp + c.overdue())
	} else {
		c.wake = c.started.Add(ads1x15.PowerUp + c.firstPoll())
	}
	return nil
}

// firstPoll is how long into a conversion an unwired chip is asked first: just
// before it may end, as far as that is known by now. Polls fill the bus, and the
// last one that says no bounds the end.
func (c *chip) firstPoll() time.Duration {
	if c.span.n < known {
		return c.shortest - c.pollGap
	}
	return time.Duration(0.97 * c.span.mean)
}

// readyAt takes in an edge of the ready pin.
func (c *chip) readyAt(b *Bench, at instant) {
	if c.broken || c.settling {
		return // not of a conversion that was asked for
	}
	c.neighbours.came(at)
	if c.follow {
		if !c.pace(b, at) {
			return
		}
	} else {
		if at < c.started { // of a conversion before this one
			if c.silence.lost > 0 {
				c.silence.lost--
				c.takeBack(b)
			}
			return
		}
		c.lasted(at)
	}
	c.finished++
	c.end, c.ended, c.silence.lost = at, true, 0
}

// lasted takes in how long the single conversion that ended at an instant took, unless it
// cannot have taken that long.
func (c *chip) lasted(end instant) {
	if d := end.Sub(c.started) - ads1x15.PowerUp; d > c.credible[0] && d < c.credible[1] {
		c.span.add(d)
	}
}

// pace measures the spacing of a continuous chip's conversions, and counts those
// whose edge never came and edges that came too soon to be a conversion's. It is false for
// the late edge of a conversion that has been fetched.
func (c *chip) pace(b *Bench, at instant) bool {
	if !c.ended {
		return true
	}
	d, period := at.Sub(c.end), c.period()
	if spans := float64(d); spans > 0.75*period && spans < 1.25*period && c.silence.lost == 0 {
		c.span.add(d) // nearly always: a division and a rounding less
		return true
	}
	return c.apart(b, at)
}

// period is the best knowledge of the conversion time in nanoseconds.
func (c *chip) period() float64 {
	if c.span.n < known {
		return float64(c.nominal)
	}
	return c.span.mean
}

// look goes on with a chip of which nothing is ready: it finds out why.
func (c *chip) look(b *Bench, now instant) error {
	switch {
	case c.broken:
		err := c.begin(b)
		c.broken = err != nil
		return err
	case c.settling:
		return c.first(b)
	case c.line >= 0:
		return c.unheard(b, now)
	}
	return c.poll(b, now)
}

// fetch reads the finished conversion and, unless the chip goes on by itself,
// starts the next one, first if it can: the register keeps the old value until that
// ends.
func (c *chip) fetch(b *Bench) error {
	end, ch := c.end, &c.channels[c.current]
	if c.finished > 1 {
		c.counts.MissedConversions += uint64(c.finished - 1)
	}
	c.finished = 0
	if !c.follow {
		if c.current++; c.current == len(c.channels) {
			c.current = 0
		}
		if c.readFirst {
			return c.readKept(b, ch, end)
		}
		if err := c.start(b); err != nil {
			return err
		}
	}
	code, sure, err := c.read(b, end, false, ch)
	if err != nil || !sure {
		return err
	}
	c.keep(b, ch, code, end)
	return nil
}

// readKept reads a conversion that the register keeps, and starts the next one after that.
func (c *chip) readKept(b *Bench, ch *channel, end instant) error {
	code, sure, err := c.read(b, end, true, ch)
	if err != nil {
		return err
	}
	if err := c.start(b); err != nil {
		return err
	}
	if sure {
		c.keep(b, ch, code, end)
	}
	return nil
}

// keep records the conversion of a channel that ended at the instant.
func (c *chip) keep(b *Bench, ch *channel, code int16, end instant) {
	c.silent = 0
	ch.jumps.add(code)
	b.c.Traces[ch.trace].Append(end.Add(-ch.late), c.dev.Volts(code)*ch.perPin+ch.offset)
}

// read reads the conversion that ended at the instant, more than once where it jumps.
// It is not sure, and has been counted missed, where the next one may have overtaken it
// or nobody can tell which reading is right. A register that keeps cannot be overtaken:
// nothing else has been started.
func (c *chip) read(b *Bench, end instant, keeps bool, ch *channel) (code int16, sure bool, err error) {
	if code, err = c.dev.Read(); err != nil {
		return 0, false, err
	}
	now := b.lines.Now()
	if !keeps && !c.inTime(now, end) { // nearly always it is: a call less
		if late, err := c.overtaken(b, now, end); err != nil || late {
			return 0, false, err
		}
	}
	if c.follow {
		c.wake = c.nextDue(now)
	}
	if !ch.jumps.doubtful(code) {
		return code, true, nil
	}
	return c.settled(b, end, keeps, code)
}

// inTime reports whether the register was read before the next conversion can have ended.
func (c *chip) inTime(now, end instant) bool {
	if c.follow {
		return float64(now.Sub(end)) < 0.9*c.period()
	}
	if now.Sub(c.started) >= c.shortest {
		return false
	}
	c.late = 0
	return true
}

// overtaken reports whether the next conversion had ended before the register was
// read: the value may then be either one's and is left out, and counted missed.
func (c *chip) overtaken(b *Bench, now, end instant) (bool, error) {
	if c.inTime(now, end) {
		return false, nil
	}
	if c.follow {
		if err := b.takeEdges(); err != nil {
			return false, err
		}
		if c.finished == 0 && now < end.Add(c.overdue()) || c.finished > 0 && c.end > now {
			return false, nil
		}
		c.counts.MissedConversions++
		return true, nil
	}
	c.counts.MissedConversions++
	c.late++
	c.readFirst = c.late >= lateMost
	return true, nil
}

// passOver has a chip that converts by itself begin with its next conversion: the one that
// ended last may have been overwritten. Any other keeps what it has; of one that is asked,
// nobody knows any more when it ended.
func (c *chip) passOver(now instant) {
	switch {
	case c.broken || c.settling:
	case c.follow:
		c.finished = 0
		c.ended = c.ended && now < c.end.Add(2*c.longest)
		c.wake = c.nextDue(now)
	case c.line < 0 && now.Sub(c.started) > c.longest+readyTimeout:
		c.stale = true
	}
}

// poll asks an unwired chip whether its conversion has ended. It ended between the
// last time it said no and now.
func (c *chip) poll(b *Bench, now instant) error {
	busy, err := c.dev.Busy()
	if err != nil {
		return err
	}
	asked := b.lines.Now()
	if busy {
		if asked.Sub(c.started) > ads1x15.PowerUp+c.longest+readyTimeout {
			return errNoEnd
		}
		c.end = asked
		c.wake = asked.Add(c.pollGap)
		return nil
	}
	between := max(c.end, c.started.Add(ads1x15.PowerUp+c.shortest)) // no sooner, by the data sheet
	between = min(between, asked)
	if asked.Sub(between) > c.longest+readyTimeout {
		// The bus was held up meanwhile: nobody knows when the conversion ended.
		if !c.stale {
			c.counts.MissedConversions++
		}
		return c.start(b)
	}
	c.end, c.ended = between+(asked-between)/2, true
	c.polled.add(asked.Sub(between) / 2)
	c.lasted(c.end)
	c.finished = 1
	return c.fetch(b)
}

// revive sets a failed chip up again, a few times; then the rig counts as lost.
func (c *chip) revive(b *Bench, began instant, cause error) error {
	if errors.Is(cause, ads1x15.ErrReset) {
		c.counts.ChipResets++
	}
	if c.silent == 0 {
		c.failing = began
	}
	c.silent++
	if c.silent > revivals || b.lines.Now().Sub(c.failing) > longestFailing {
		return lost(fmt.Errorf("%w: chip %s: %w", ErrLost, c.name, cause), endedBy(cause), c.name)
	}
	c.finished, c.broken = 0, false
	if err := c.begin(b); err != nil {
		c.broken = true // tried again after a rest
		c.wake = b.lines.Now().Add(retryPause)
	}
	return nil
}

// counted is what the converter has of the bench's counts.
func (c *chip) counted() capture.ConverterCounts {
	n := c.counts
	n.BusErrors += c.dev.Counts()
	return capture.ConverterCounts{Converter: c.name, Counts: n}
}

// endedBy is why a converter could not be revived, by the last of its failures.
func endedBy(cause error) capture.EndCode {
	switch {
	case errors.Is(cause, ads1x15.ErrReset):
		return capture.ConverterReset
	case errors.Is(cause, errNoEdges):
		return capture.ConverterNoEdges
	case errors.Is(cause, errStopped), errors.Is(cause, errNoEnd):
		return capture.ConverterStopped
	}
	return capture.ConverterSilent
}

// describe writes down how well samples are known by now. The time of a single
// conversion is taken from its start to its ready edge, whose stamp comes late; in
// continuous mode both ends come equally late.
func (c *chip) describe(conv *capture.Converter, ch *channel) {
	if c.span.n > 0 {
		conv.Span = time.Duration(c.span.mean)
		conv.SpanRel = 0.1 / math.Sqrt(3) / math.Sqrt(float64(min(c.span.n, 1000)))
		if !c.follow {
			conv.SpanRel = math.Hypot(conv.SpanRel, typicalLatency.Seconds()/c.nominal.Seconds())
		}
	}
	conv.Filter = ch.filter
	conv.Stamp = EdgeLatency
	if c.line < 0 {
		conv.Stamp = half(int64(c.polled.mean))
	}
	conv.Stamp = time.Duration(math.Hypot(float64(conv.Stamp), float64(ch.lateStandard)))
	if c.silence.unsure > 0 {
		conv.Stamp = time.Duration(math.Hypot(float64(conv.Stamp), c.silence.unsure))
	}
}
