package capture

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"time"
)

// The binary form, version 2. Version 1 has no count of lost ready edges and no filters, and of a line's
// lost and late edges nothing but the number lost. Integers are varints (of either sign: zigzag), texts
// their length and their bytes, reals 8 bytes, lowest first.
//
//	mark, version
//	start, length, counts
//	spans kept: their number and one, or 0 for all; then each from the last
//	traces:  signal, converter, filter, nominal volts, missing; samples
//	tracks:  signal, flags, stamp, late; losses, each from the last one's end, its length, its
//	         edges and its sign; edges, each from the last, with its state
//	events:  name, instant from the last, uncertainty, timed
//	spans unsupplied, as those kept; left out where there are none
//	CRC-32C of all before it, 4 bytes, lowest first
//
// Samples: their number, the time of the first, the unit of time in nanoseconds,
// then chunks of up to chunkLen: one byte that says how volts are kept, and the
// times and the volts as packed numbers (see codec_pack.go). A time is the change
// of the time since the last sample from the one before, in units. Volts are
// whole steps, each the change from the last, or the bits of a float32, each
// combined with the last by exclusive or.
const (
	codecMark    = "mbc" // of a makebreak capture
	codecVersion = 2
	chunkLen     = BlockLen

	leastTrace = 30 // bytes: three reals, and six other things

	inSteps byte = 0
	inBits  byte = 1
)

// second is one in nanoseconds, the coarsest unit of time in the binary form.
const second = 1_000_000_000

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// ErrCodec is wrapped by every error of UnmarshalBinary.
var ErrCodec = errors.New("not a capture in its binary form")

// MarshalBinary returns the capture in a compact binary form that UnmarshalBinary
// reads back exactly. It has no room for digests and lapses: of a capture that was thinned out
// it holds what stayed, see Kept and Track.Losses.
func (c *Capture) MarshalBinary() ([]byte, error) { return c.AppendBinary(nil) }

// AppendBinary appends the binary form to b.
func (c *Capture) AppendBinary(b []byte) ([]byte, error) {
	if stayed := c.stayed(); stayed != nil {
		c = c.only(intersect(stayed, c.Kept))
	}
	start := len(b)
	b = append(append(b, codecMark...), codecVersion)
	b = binary.AppendVarint(b, int64(c.Start))
	b = binary.AppendVarint(b, int64(c.End-c.Start))
	for _, n := range c.Counts.all() {
		b = binary.AppendUvarint(b, *n)
	}
	b = appendSpans(b, c.Kept, c.Start)
	b = binary.AppendUvarint(b, uint64(len(c.Traces)))
	var e encoder
	for _, t := range c.Traces {
		b = e.appendTrace(b, t)
	}
	b = binary.AppendUvarint(b, uint64(len(c.Tracks)))
	for _, t := range c.Tracks {
		b = appendTrack(b, t, c.Start)
	}
	b = c.appendEvents(b)
	if len(c.Unsupplied) > 0 {
		b = appendSpans(b, c.Unsupplied, c.Start)
	}
	return binary.LittleEndian.AppendUint32(b, crc32.Checksum(b[start:], castagnoli)), nil
}

// all lists the counts in the order in which they are stored. A version of the form may
// have fewer of them: the last ones are then not known, and 0.
func (c *Counts) all() []*uint64 {
	return []*uint64{&c.MissedConversions, &c.DoubledConversions, &c.BusErrors, &c.LostEdges, &c.ChipResets, &c.LostReadyEdges}
}

// countsInFirst is how many counts the first version of the form has.
const countsInFirst = 5

func appendSpans(b []byte, spans []Span, last Instant) []byte {
	if spans == nil {
		return binary.AppendUvarint(b, 0)
	}
	b = binary.AppendUvarint(b, uint64(len(spans))+1)
	for _, s := range spans {
		b = binary.AppendVarint(b, int64(s.From-last))
		b = binary.AppendVarint(b, int64(s.To-s.From))
		last = s.To
	}
	return b
}

func (c *Capture) appendEvents(b []byte) []byte {
	b = binary.AppendUvarint(b, uint64(len(c.Events)))
	last := c.Start
	for _, e := range c.Events {
		b = appendString(b, e.Name)
		b = binary.AppendVarint(b, int64(e.At-last))
		b = binary.AppendVarint(b, int64(e.Uncertainty))
		b = appendString(b, e.Timed)
		last = e.At
	}
	return b
}

func appendString(b []byte, s string) []byte {
	return append(binary.AppendUvarint(b, uint64(len(s))), s...)
}

func appendFloat(b []byte, x float64) []byte {
	return binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
}

func appendTrack(b []byte, t *Track, start Instant) []byte {
	b = appendString(b, t.Signal)
	b = append(b, bit(t.Known)|bit(t.Initial)<<1)
	b = binary.AppendVarint(b, int64(t.Stamp))
	b = binary.AppendVarint(b, int64(t.Late))
	b = binary.AppendUvarint(b, uint64(len(t.Losses)))
	last := start
	for _, l := range t.Losses {
		b = binary.AppendVarint(b, int64(l.From-last))
		b = binary.AppendVarint(b, int64(l.To-l.From))
		b = binary.AppendVarint(b, int64(l.Edges))
		b = append(b, byte(l.Sign))
		last = l.To
	}
	b = binary.AppendUvarint(b, uint64(len(t.Edges)))
	last = start
	for _, e := range t.Edges {
		b = binary.AppendVarint(b, int64(e.At-last))
		b = append(b, bit(e.Closed))
		last = e.At
	}
	return b
}

func bit(b bool) byte {
	if b {
		return 1
	}
	return 0
}

// encoder packs samples.
type encoder struct {
	times, volts [chunkLen]uint64
	unit         int64
	last, delta  int64 // time and step of time before, in units from the first
	step         float64
	lastStep     int64
	lastBits     uint32
}

func (e *encoder) appendTrace(b []byte, t *Trace) []byte {
	b = appendString(b, t.Signal)
	b = binary.AppendVarint(b, int64(t.Converter.Span))
	b = appendFloat(b, t.Converter.SpanRel)
	b = binary.AppendVarint(b, int64(t.Converter.Stamp))
	b = appendFloat(b, t.Converter.StepVolts)
	b = binary.AppendUvarint(b, uint64(len(t.Converter.Doubts)))
	for _, d := range t.Converter.Doubts {
		b = appendString(b, string(d.Source))
		b = appendString(b, string(d.Distribution))
		b = appendFloat(b, d.Relative)
		b = appendFloat(b, d.Volts)
	}
	b = appendFilter(b, t.Converter.Filter)
	b = appendFloat(b, t.NominalVolts)
	b = binary.AppendVarint(b, int64(t.Missing))
	b = binary.AppendUvarint(b, uint64(t.n))
	first, _, ok := t.First()
	if !ok {
		return b
	}
	*e = encoder{unit: t.unitOfTime(int64(first)), step: t.Converter.StepVolts}
	b = binary.AppendVarint(b, int64(first))
	b = binary.AppendUvarint(b, uint64(e.unit))
	for at, v := range t.all() {
		b = e.appendChunk(b, int64(first), at, v)
	}
	return b
}

// appendFilter appends the number of shares, and where there are any what they stand for and
// each less the one before.
func appendFilter(b []byte, f *Filter) []byte {
	if f == nil {
		return binary.AppendUvarint(b, 0)
	}
	b = binary.AppendUvarint(b, uint64(len(f.Shares)))
	b = appendFloat(appendFloat(appendFloat(b, f.From), f.Step), f.Standard)
	last := uint16(0)
	for _, s := range f.Shares {
		b = binary.AppendUvarint(b, uint64(s-last))
		last = s
	}
	return b
}

// unitOfTime returns the largest power of ten nanoseconds, up to a second, that
// divides the time from the first sample to every other.
func (t *Trace) unitOfTime(first int64) int64 {
	unit := int64(second)
	for at := range t.all() {
		for _, x := range at {
			for unit > 1 && (x-first)%unit != 0 {
				unit /= 10
			}
		}
		if unit == 1 {
			break
		}
	}
	return unit
}

// appendChunk appends up to chunkLen samples; a trace's block is no longer.
func (e *encoder) appendChunk(b []byte, first int64, at []int64, v []float32) []byte {
	n := len(at)
	for i, x := range at {
		x = (x - first) / e.unit
		delta := x - e.last
		e.times[i] = zigzag(delta - e.delta)
		e.last, e.delta = x, delta
	}
	if e.steps(v) {
		b = append(b, inSteps)
	} else {
		b = append(b, inBits)
		for i, x := range v {
			now := math.Float32bits(x)
			e.volts[i] = uint64(now ^ e.lastBits)
			e.lastBits = now
		}
	}
	b = appendPacked(b, e.times[:n])
	return appendPacked(b, e.volts[:n])
}

// maxSteps is the most steps that volts are counted in.
const maxSteps = 1 << 40

// steps puts the volts into e.volts as steps; it reports false, and changes
// nothing else, where that would not give exactly the same volts back.
func (e *encoder) steps(v []float32) bool {
	if !(e.step > 0) || math.IsInf(e.step, 1) {
		return false
	}
	last := e.lastStep
	for i, x := range v {
		k := math.RoundToEven(float64(x) / e.step)
		if !(math.Abs(k) <= maxSteps) {
			return false
		}
		now := int64(k)
		if math.Float32bits(float32(float64(now)*e.step)) != math.Float32bits(x) {
			return false
		}
		e.volts[i] = zigzag(now - last)
		last = now
	}
	e.lastStep = last
	return true
}

// UnmarshalBinary replaces the capture by what its binary form holds. On an error
// the capture stays as it was.
func (c *Capture) UnmarshalBinary(data []byte) error {
	if len(data) < len(codecMark)+1+4 || string(data[:len(codecMark)]) != codecMark {
		return fmt.Errorf("read capture: %w: it does not begin as one does", ErrCodec)
	}
	version := data[len(codecMark)]
	if version < 1 || version > codecVersion {
		return fmt.Errorf("read capture: %w that this program knows: it has the version %d, known is up to %d", ErrCodec, version, codecVersion)
	}
	body, sum := data[:len(data)-4], binary.LittleEndian.Uint32(data[len(data)-4:])
	if crc32.Checksum(body, castagnoli) != sum {
		return fmt.Errorf("read capture: %w: its check sum does not fit, so it is damaged", ErrCodec)
	}
	d := decoder{rest: body[len(codecMark)+1:], version: version}
	read := d.capture()
	if d.err == nil && len(d.rest) > 0 {
		d.refuse("%d bytes are left over", len(d.rest))
	}
	if d.err != nil {
		return fmt.Errorf("read capture: %w", d.err)
	}
	*c = *read
	return nil
}

// decoder reads from the front of rest. Its first error stays; after it, all
// reads give zero. No number read makes it allocate more than what is left could
// hold, so that damage cannot exhaust the memory.
type decoder struct {
	rest    []byte
	version byte
	err     error
}

func (d *decoder) refuse(format string, args ...any) {
	if d.err == nil {
		d.err = fmt.Errorf("%w: "+format, append([]any{ErrCodec}, args...)...)
	}
	d.rest = nil
}

func (d *decoder) signed() int64 {
	x, n := binary.Varint(d.rest)
	d.skip(n)
	return x
}

func (d *decoder) unsigned() uint64 {
	x, n := binary.Uvarint(d.rest)
	d.skip(n)
	return x
}

func (d *decoder) skip(n int) {
	if n <= 0 {
		d.refuse("it ends in the middle of a number, or the number is too large")
		return
	}
	d.rest = d.rest[n:]
}

// take returns the next n bytes.
func (d *decoder) take(n uint64) []byte {
	if n > uint64(len(d.rest)) {
		d.refuse("it ends too soon")
		return nil
	}
	b := d.rest[:n]
	d.rest = d.rest[n:]
	return b
}

func (d *decoder) string() string { return string(d.take(d.unsigned())) }

func (d *decoder) byte() byte {
	if b := d.take(1); b != nil {
		return b[0]
	}
	return 0
}

func (d *decoder) float() float64 {
	if b := d.take(8); b != nil {
		return math.Float64frombits(binary.LittleEndian.Uint64(b))
	}
	return 0
}

// count reads a number of things that take at least the given bytes each.
func (d *decoder) count(what string, least int) int {
	n := d.unsigned()
	if n > uint64(len(d.rest)/least) {
		d.refuse("it promises %d %s and is too short for them", n, what)
		return 0
	}
	return int(n)
}

func (d *decoder) capture() *Capture {
	c := &Capture{Start: Instant(d.signed())}
	c.End = c.Start + Instant(d.signed())
	counts := c.Counts.all()
	if d.version == 1 {
		counts = counts[:countsInFirst]
	}
	for _, n := range counts {
		*n = d.unsigned()
	}
	c.Kept = d.spans(c.Start)
	traces := d.count("traces", leastTrace)
	if traces > MaxSignals {
		d.refuse("it promises %d traces, known are captures of up to %d", traces, MaxSignals)
	}
	for i := 0; i < traces && d.err == nil; i++ {
		c.Traces = append(c.Traces, d.trace())
	}
	for range d.count("lines", 5) {
		c.Tracks = append(c.Tracks, d.track(c.Start, c.End))
	}
	last := c.Start
	for range d.count("events", 4) {
		e := Event{Name: d.string(), At: last + Instant(d.signed())}
		e.Uncertainty, e.Timed = time.Duration(d.signed()), d.string()
		last = e.At
		c.Events = append(c.Events, e)
	}
	if len(d.rest) > 0 {
		if c.Unsupplied = d.spans(c.Start); len(c.Unsupplied) == 0 {
			d.refuse("it promises spans unsupplied and has none")
		}
	}
	return c
}

func (d *decoder) spans(last Instant) []Span {
	n := d.unsigned()
	if n == 0 {
		return nil
	}
	if n-1 > uint64(len(d.rest)/2) {
		d.refuse("it promises %d spans of time and is too short for them", n-1)
		return nil
	}
	spans := make([]Span, n-1)
	for i := range spans {
		spans[i].From = last + Instant(d.signed())
		spans[i].To = spans[i].From + Instant(d.signed())
		last = spans[i].To
	}
	return spans
}

func (d *decoder) track(start, end Instant) *Track {
	t := &Track{Signal: d.string()}
	flags := d.byte()
	if flags > 3 {
		d.refuse("a line has the flags %d", flags)
	}
	t.Known, t.Initial = flags&1 != 0, flags&2 != 0
	t.Stamp = time.Duration(d.signed())
	if d.version > 1 {
		t.Late = time.Duration(d.signed())
	}
	t.Losses = d.losses(start, end)
	n := d.count("edges", 2)
	if n == 0 {
		return t
	}
	t.Edges = make([]Edge, n)
	last := start
	for i := range t.Edges {
		last += Instant(d.signed())
		state := d.byte()
		if state > 1 {
			d.refuse("an edge has the state %d", state)
		}
		t.Edges[i] = Edge{At: last, Closed: state == 1}
	}
	return t
}

// losses reads a line's losses. Of those in the first version's form only the number is
// known: they may have been anywhere from start to end.
func (d *decoder) losses(start, end Instant) []Loss {
	if d.version == 1 {
		if n := int(d.signed()); n != 0 {
			return []Loss{{Span: Span{start, end}, Edges: n}}
		}
		return nil
	}
	n := d.count("losses", 4)
	if n == 0 {
		return nil
	}
	all := make([]Loss, n)
	last := start
	for i := range all {
		l := &all[i]
		l.From = last + Instant(d.signed())
		l.To = l.From + Instant(d.signed())
		l.Edges = int(d.signed())
		if l.Sign = Sign(d.byte()); l.Sign >= signs {
			d.refuse("a loss has the sign %d", l.Sign)
		}
		last = l.To
	}
	return all
}

func (d *decoder) trace() *Trace {
	t := &Trace{Signal: d.string()}
	c := &t.Converter
	c.Span, c.SpanRel = time.Duration(d.signed()), d.float()
	c.Stamp, c.StepVolts = time.Duration(d.signed()), d.float()
	const leastDoubt = 18 // bytes
	for range d.count("doubts", leastDoubt) {
		c.Doubts = append(c.Doubts, Doubt{Source: Source(d.string()), Distribution: Distribution(d.string()), Relative: d.float(), Volts: d.float()})
	}
	if d.version > 1 {
		c.Filter = d.filter()
	}
	t.NominalVolts, t.Missing = d.float(), int(d.signed())
	n := d.unsigned()
	if n == 0 || d.err != nil {
		return t
	}
	// The least that a chunk takes: its kind, and a width a group of times and volts.
	if n/groupLen > uint64(len(d.rest)/2) {
		d.refuse("it promises %d samples and is too short for them", n)
		return t
	}
	d.samples(t, int(n))
	return t
}

func (d *decoder) filter() *Filter {
	n := d.count("shares of a filter", 1)
	if n == 0 {
		return nil
	}
	f := &Filter{From: d.float(), Step: d.float(), Standard: d.float(), Shares: make([]uint16, n)}
	sum := uint64(0)
	for i := range f.Shares {
		sum = min(sum+min(d.unsigned(), WholeStep), WholeStep+1)
		f.Shares[i] = uint16(sum)
	}
	if d.err == nil && !f.Valid() {
		d.refuse("a filter that is none")
	}
	return f
}

func (d *decoder) samples(t *Trace, n int) {
	first := d.signed()
	unit := d.unsigned()
	if unit == 0 || unit > second {
		d.refuse("a unit of time of %d ns", unit)
		return
	}
	s := &sampler{decoder: d, first: first, unit: int64(unit), before: first, step: t.Converter.StepVolts}
	for n > 0 && d.err == nil {
		chunk := min(n, chunkLen)
		n -= chunk
		s.chunk(t, chunk)
	}
}

// sampler unpacks samples; it mirrors encoder.
type sampler struct {
	*decoder
	times, volts [chunkLen]uint64
	first, unit  int64
	last, delta  int64
	before       int64 // time of the sample before, in nanoseconds
	step         float64
	lastStep     int64
	lastBits     uint32
}

func (s *sampler) chunk(t *Trace, n int) {
	how := s.byte()
	if how > inBits {
		s.refuse("volts of the kind %d", how)
		return
	}
	for _, all := range [][]uint64{s.times[:n], s.volts[:n]} {
		rest, ok := packed(all, s.rest)
		if !ok {
			s.refuse("its samples end too soon or are none")
			return
		}
		s.rest = rest
	}
	for i := range n {
		s.delta += unzigzag(s.times[i])
		s.last += s.delta
		at := s.first + s.last*s.unit
		if at < s.before {
			s.refuse("the samples of %s run backwards in time", t.Signal)
			return
		}
		s.before = at
		t.append(at, s.volt(how, s.volts[i]))
	}
}

func (s *sampler) volt(how byte, u uint64) float32 {
	if how == inSteps {
		s.lastStep += unzigzag(u)
		return float32(float64(s.lastStep) * s.step)
	}
	s.lastBits ^= uint32(u)
	return math.Float32frombits(s.lastBits)
}
