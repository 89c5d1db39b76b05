package capture

import (
	"iter"
	"sort"
	"time"
)

// BlockLen is how many samples one block of a trace holds.
const BlockLen = 1024

// Converter says what one sample of a trace stands for and how well it is
// known.
type Converter struct {
	// Span is the time over which a sample is the mean, ending at its time
	// stamp. Zero: the value at the instant.
	Span time.Duration
	// SpanRel is the relative standard uncertainty of Span.
	SpanRel float64 // a share of one
	// Stamp is the standard uncertainty of a sample's time stamp.
	Stamp time.Duration
	// StepVolts is the resolution at the unit's terminal, in volts: one code, or in a file
	// the step that its values come in, no less than one unit of the last digit written.
	// Zero: not known.
	StepVolts float64
	// WrittenVolts is one unit of the last digit written, in volts, where the readings come from
	// a file. Zero: they were not written.
	WrittenVolts float64
	// Filter is what the converter makes of a step, where that has been measured for the
	// samples of this trace; nil: not known. It must not be changed.
	Filter *Filter
	// Doubts are the converter's systematic uncertainties, those that do not
	// average out.
	Doubts []Doubt
}

// Distribution is the shape that a source of uncertainty is taken to have.
type Distribution string

// The distributions in use (GUM 4.3, 4.4).
const (
	Normal      Distribution = "normal"
	Rectangular Distribution = "rectangular"
	Triangular  Distribution = "triangular"
)

// Doubt is one source of systematic uncertainty of a voltage: a half-width for
// rectangular and triangular distributions, a standard deviation for normal ones.
// Relative is a share of the reading, Volts is added to it.
type Doubt struct {
	Source       Source
	Distribution Distribution
	Relative     float64 // a share of one
	Volts        float64 // volts
}

// block is some of a trace's samples, or what stands for samples that were thinned out.
type block struct {
	n   int
	at  []int64
	v   []float32
	sum *Digest // nil: the block holds the samples themselves
	// specimen is above 0 where the block stays as one of a long state's, see watch; it counts
	// those that might have stayed.
	specimen int
}

func newBlock() *block { return &block{at: make([]int64, BlockLen), v: make([]float32, BlockLen)} }

// first and last are the instants of a block's outermost samples.
func (b *block) first() int64 {
	if b.sum != nil {
		return int64(b.sum.From)
	}
	return b.at[0]
}

func (b *block) last() int64 {
	if b.sum != nil {
		return int64(b.sum.To)
	}
	return b.at[b.n-1]
}

// whole reports whether a block is one that samples can be appended to.
func (b *block) whole() bool { return len(b.at) == BlockLen }

// Trace is the sampled voltage of one output, at the unit's terminal, by rising
// time. Samples are kept in blocks of fixed length, so that a trace grows
// without copying and drops what has been measured. Volts are kept in
// single precision: 24 bits, some 60 times finer than a 16 bit converter's step.
type Trace struct {
	Signal    string
	Converter Converter
	// NominalVolts is the output's nominal voltage. Half of it tells high from low
	// where the samples themselves do not. Zero: not known.
	NominalVolts float64
	// Missing counts samples that should be there and are not.
	Missing int

	blocks []*block
	spare  []*block
	n      int
	watch  *watch // nil: nothing is thinned out
	// outline takes in every sample; nil: there is none.
	outline *TraceOutline
}

// NewTrace returns an empty trace.
func NewTrace(signal string, conv Converter) *Trace {
	return &Trace{Signal: signal, Converter: conv}
}

// Append adds a sample. Its time must not lie before the last one's.
func (t *Trace) Append(at Instant, volts float64) { t.append(int64(at), float32(volts)) }

func (t *Trace) append(at int64, volts float32) {
	last := len(t.blocks) - 1
	if last < 0 || t.blocks[last].n == BlockLen {
		t.grow()
		last = len(t.blocks) - 1
	}
	b := t.blocks[last]
	b.at[b.n], b.v[b.n] = at, volts
	b.n++
	t.n++
	if w := t.watch; w != nil && w.on {
		w.sample(at, volts)
	}
	if t.outline != nil {
		t.outline.add(at, volts)
	}
}

// grow begins a new block.
func (t *Trace) grow() {
	if t.watch != nil && len(t.blocks) > 0 {
		t.watch.block()
	}
	t.blocks = append(t.blocks, t.fresh())
}

func (t *Trace) fresh() *block {
	if k := len(t.spare); k > 0 {
		b := t.spare[k-1]
		t.spare = t.spare[:k-1]
		b.n = 0
		return b
	}
	return pool.Get().(*block)
}

// Len returns the number of samples held. Those that were thinned out are not.
func (t *Trace) Len() int { return t.n }

// Last returns the newest sample.
func (t *Trace) Last() (at Instant, volts float64, ok bool) {
	if t.n == 0 {
		return 0, 0, false
	}
	b := t.blocks[len(t.blocks)-1]
	return Instant(b.at[b.n-1]), float64(b.v[b.n-1]), true
}

// First returns the oldest sample held.
func (t *Trace) First() (at Instant, volts float64, ok bool) {
	if t.n == 0 {
		return 0, 0, false
	}
	b := t.blocks[0]
	if b.sum != nil {
		return b.sum.From, b.sum.First, true
	}
	return Instant(b.at[0]), float64(b.v[0]), true
}

// Blocks yields the samples with from <= time < to, in runs of at most BlockLen:
// times in nanoseconds and volts, both of one length. The slices are the
// trace's own: they must not be changed, nor kept beyond its next change. Where samples
// were thinned out between two runs, nothing shows that; see Pieces.
func (t *Trace) Blocks(from, to Instant) iter.Seq2[[]int64, []float32] {
	return func(yield func([]int64, []float32) bool) {
		for _, b := range t.blocks[t.reaching(from):] {
			if b.first() >= int64(to) {
				return
			}
			if b.sum != nil {
				continue
			}
			if at, v := b.between(int64(from), int64(to)); len(at) > 0 && !yield(at, v) {
				return
			}
		}
	}
}

// reaching returns the index of the first block that ends at the instant or later.
func (t *Trace) reaching(at Instant) int {
	return sort.Search(len(t.blocks), func(i int) bool { return t.blocks[i].last() >= int64(at) })
}

// between returns a block's samples with from <= time < to.
func (b *block) between(from, to int64) ([]int64, []float32) {
	lo, hi := 0, b.n
	if b.at[0] < from {
		lo = sort.Search(b.n, func(i int) bool { return b.at[i] >= from })
	}
	if b.at[b.n-1] >= to {
		hi = sort.Search(b.n, func(i int) bool { return b.at[i] >= to })
	}
	if lo >= hi {
		return nil, nil
	}
	return b.at[lo:hi], b.v[lo:hi]
}

// Piece is samples that follow one another, or what stands for such.
type Piece struct {
	At  []int64   // nanoseconds
	V   []float32 // volts
	Sum *Digest   // not nil: the samples were thinned out, and this stands for them
}

// Pieces yields all there is to know of the samples with from <= time < to, by time: as Blocks
// does, and between those the digests whose middle lies in that time.
func (t *Trace) Pieces(from, to Instant) iter.Seq[Piece] {
	return func(yield func(Piece) bool) {
		for _, b := range t.blocks[t.reaching(from):] {
			if b.first() >= int64(to) {
				return
			}
			if d := b.sum; d != nil {
				if m := d.Middle(); d.N > 0 && m >= from && m < to && !yield(Piece{Sum: d}) {
					return
				}
				continue
			}
			if at, v := b.between(int64(from), int64(to)); len(at) > 0 && !yield(Piece{At: at, V: v}) {
				return
			}
		}
	}
}

// Together returns the first and the last of the samples that follow one another around the
// instant, none of them thinned out; false where there are none.
func (t *Trace) Together(at Instant) (Span, bool) {
	k := t.reaching(at)
	if k == len(t.blocks) || t.blocks[k].sum != nil && t.blocks[k].first() > int64(at) {
		k-- // between two blocks
	}
	if k < 0 || t.blocks[k].sum != nil {
		return Span{}, false
	}
	first, last := k, k
	for first > 0 && t.blocks[first-1].sum == nil {
		first--
	}
	for last < len(t.blocks)-1 && t.blocks[last+1].sum == nil {
		last++
	}
	return Span{Instant(t.blocks[first].first()), Instant(t.blocks[last].last())}, true
}

// Digest returns the digest that holds the instant; nil where there is none.
func (t *Trace) Digest(at Instant) *Digest {
	if k := t.reaching(at); k < len(t.blocks) && t.blocks[k].first() <= int64(at) {
		return t.blocks[k].sum
	}
	return nil
}

// Thinned reports whether the sample before the instant was thinned out.
func (t *Trace) Thinned(at Instant) bool {
	k := t.reaching(at)
	if k < len(t.blocks) && t.blocks[k].first() < int64(at) {
		return t.blocks[k].sum != nil
	}
	return k > 0 && t.blocks[k-1].sum != nil
}

// Passing returns between which instants the output passed a level whose samples there were
// thinned out: no later than at, the first sample of a digest or right after one, or within
// that digest. It is false where none is there.
func (t *Trace) Passing(at Instant, volts float64, rising bool) (earliest, latest Instant, ok bool) {
	past := func(v float64) bool { return rising && v >= volts || !rising && v <= volts }
	k := t.reaching(at)
	if k == len(t.blocks) || Instant(t.blocks[k].first()) != at {
		return 0, 0, false
	}
	if d := t.blocks[k].sum; d != nil && !past(d.First) {
		if latest = d.LowAt; rising {
			latest = d.HighAt
		}
		return d.From, latest, true
	}
	if k == 0 {
		return 0, 0, false
	}
	earliest = Instant(t.blocks[k-1].last())
	if d := t.blocks[k-1].sum; d != nil && past(d.Last) {
		earliest = d.From
	}
	return earliest, at, true
}

// all yields every sample, see Blocks. All runs but the last are BlockLen long, unless
// samples were thinned out.
func (t *Trace) all() iter.Seq2[[]int64, []float32] {
	return func(yield func([]int64, []float32) bool) {
		for _, b := range t.blocks {
			if b.sum == nil && !yield(b.at[:b.n], b.v[:b.n]) {
				return
			}
		}
	}
}

// Discard forgets samples before the instant, by whole blocks: up to one block
// more may stay, and the last one does, for what comes next begins where it ended.
func (t *Trace) Discard(before Instant) {
	n := 0
	for n < len(t.blocks)-1 && t.blocks[n].last() < int64(before) {
		t.n -= t.blocks[n].n
		t.giveBack(t.blocks[n])
		n++
	}
	t.blocks = append(t.blocks[:0], t.blocks[n:]...)
	if t.watch != nil {
		t.watch.cut = max(0, t.watch.cut-n)
	}
}

// giveBack keeps a block's memory for samples to come.
func (t *Trace) giveBack(b *block) {
	if b.whole() {
		b.n, b.specimen = 0, 0
		t.spare = append(t.spare, b)
	}
}

// Near returns up to before samples earlier than the instant and up to after
// samples from it on, oldest first, and how many of them are earlier. Samples beyond others
// that were thinned out are not near.
func (t *Trace) Near(at Instant, before, after int) (times []int64, volts []float64, earlier int) {
	k := t.reaching(at)
	j := 0
	if k < len(t.blocks) && t.blocks[k].sum != nil && t.blocks[k].first() < int64(at) {
		return nil, nil, 0
	}
	if k < len(t.blocks) && t.blocks[k].sum == nil {
		b := t.blocks[k]
		j = sort.Search(b.n, func(i int) bool { return b.at[i] >= int64(at) })
	}
	// Step back, across a block's start where need be.
	sk, sj := k, j
	for ; earlier < before; earlier++ {
		if sj == 0 {
			if sk == 0 || t.blocks[sk-1].sum != nil {
				break
			}
			sk--
			sj = t.blocks[sk].n
		}
		sj--
	}
	for n := earlier + after; n > 0 && sk < len(t.blocks) && t.blocks[sk].sum == nil; n-- {
		b := t.blocks[sk]
		times, volts = append(times, b.at[sj]), append(volts, float64(b.v[sj]))
		if sj++; sj == b.n {
			sk, sj = sk+1, 0
		}
	}
	return times, volts, earlier
}
