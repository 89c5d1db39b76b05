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

type block struct {
	n  int
	at [BlockLen]int64
	v  [BlockLen]float32
}

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
		last++
	}
	b := t.blocks[last]
	b.at[b.n], b.v[b.n] = at, volts
	b.n++
	t.n++
}

// grow begins a new block.
func (t *Trace) grow() { t.blocks = append(t.blocks, t.fresh()) }

func (t *Trace) fresh() *block {
	if k := len(t.spare); k > 0 {
		b := t.spare[k-1]
		t.spare = t.spare[:k-1]
		b.n = 0
		return b
	}
	return pool.Get().(*block)
}

// Len returns the number of samples held.
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
	return Instant(b.at[0]), float64(b.v[0]), true
}

// Blocks yields the samples with from <= time < to, in runs of at most BlockLen:
// times in nanoseconds and volts, both of one length. The slices are the
// trace's own: they must not be changed, nor kept beyond its next change.
func (t *Trace) Blocks(from, to Instant) iter.Seq2[[]int64, []float32] {
	return func(yield func([]int64, []float32) bool) {
		first := sort.Search(len(t.blocks), func(i int) bool {
			b := t.blocks[i]
			return b.at[b.n-1] >= int64(from)
		})
		for _, b := range t.blocks[first:] {
			if b.at[0] >= int64(to) {
				return
			}
			lo, hi := 0, b.n
			if b.at[0] < int64(from) {
				lo = sort.Search(b.n, func(i int) bool { return b.at[i] >= int64(from) })
			}
			if b.at[b.n-1] >= int64(to) {
				hi = sort.Search(b.n, func(i int) bool { return b.at[i] >= int64(to) })
			}
			if lo < hi && !yield(b.at[lo:hi], b.v[lo:hi]) {
				return
			}
		}
	}
}

// all yields every sample, see Blocks. All runs but the last are BlockLen long.
func (t *Trace) all() iter.Seq2[[]int64, []float32] {
	return func(yield func([]int64, []float32) bool) {
		for _, b := range t.blocks {
			if !yield(b.at[:b.n], b.v[:b.n]) {
				return
			}
		}
	}
}

// Discard forgets samples before the instant, by whole blocks: up to one block
// more may stay, and the last one does, for what comes next begins where it ended.
func (t *Trace) Discard(before Instant) {
	n := 0
	for n < len(t.blocks)-1 && t.blocks[n].at[t.blocks[n].n-1] < int64(before) {
		t.n -= t.blocks[n].n
		t.spare = append(t.spare, t.blocks[n])
		n++
	}
	t.blocks = append(t.blocks[:0], t.blocks[n:]...)
}

// Near returns up to before samples earlier than the instant and up to after
// samples from it on, oldest first, and how many of them are earlier.
func (t *Trace) Near(at Instant, before, after int) (times []int64, volts []float64, earlier int) {
	k := sort.Search(len(t.blocks), func(i int) bool {
		b := t.blocks[i]
		return b.at[b.n-1] >= int64(at)
	})
	j := 0
	if k < len(t.blocks) {
		b := t.blocks[k]
		j = sort.Search(b.n, func(i int) bool { return b.at[i] >= int64(at) })
	}
	// Step back, across a block's start where need be.
	sk, sj := k, j
	for ; earlier < before; earlier++ {
		if sj == 0 {
			if sk == 0 {
				break
			}
			sk--
			sj = t.blocks[sk].n
		}
		sj--
	}
	for n := earlier + after; n > 0 && sk < len(t.blocks); n-- {
		b := t.blocks[sk]
		times, volts = append(times, b.at[sj]), append(volts, float64(b.v[sj]))
		if sj++; sj == b.n {
			sk, sj = sk+1, 0
		}
	}
	return times, volts, earlier
}
