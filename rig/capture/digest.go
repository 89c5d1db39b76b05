package capture

import (
	"math"
	"slices"
	"time"
)

// Digest stands for samples of a trace that followed one another and were thinned out. Every
// one of them has been looked at: their number, extremes, mean and scatter are exact, and how
// they are distributed is known to a bin's width.
type Digest struct {
	From, To    Instant // of the first and the last sample
	N           int     // samples that are readings
	First, Last float64 // volts of the first and the last of these
	Low, High   float64 // volts
	// LowAt and HighAt are when the first of the lowest and of the highest was taken.
	LowAt, HighAt Instant
	Mean          float64 // volts
	Squares       float64 // of all readings' distances from Mean, their sum, volts²
	// Rough is the sum of the squares of RoughN third differences between neighbours, volts².
	Rough  float64
	RoughN int
	Gap    time.Duration // the longest from one sample to the next
	// Swings is how many times the readings went from one side of the middle of their range to
	// the other, where that range was SwingVolts or more.
	Swings int

	bins  []bin
	width float64 // of a bin, volts
	// settling says that they come right after something happened, within Settling.
	settling bool
}

// bin is the readings of a digest between i and i+1 widths: of what they have beyond i widths
// the sum and that of the squares, in volts and volts².
type bin struct {
	i            int32
	n            uint32
	sum, squares float64
}

const (
	// SwingVolts is the least range whose sides are told apart.
	SwingVolts = 0.5
	// swingMargin is how far beyond the middle a reading must be to be on the other side, as a
	// share of the range.
	swingMargin = 0.1
	// finestBin is the width of a bin in volts where mostBins of them do; else it is doubled.
	finestBin = 1.0 / 64
	mostBins  = 128
	// outermostBin is the highest number of a bin.
	outermostBin = 1 << 30
)

// Middle is the instant in the middle of the digest.
func (d *Digest) Middle() Instant { return d.From + (d.To-d.From)/2 }

// Within returns how many readings lie within far of a level, and the sums of their distances
// from it and of the squares of these.
func (d *Digest) Within(level, far float64) (n int, sum, squares float64) {
	if d.Low >= level-far && d.High <= level+far {
		off := d.Mean - level
		return d.N, float64(d.N) * off, d.Squares + float64(d.N)*off*off
	}
	some := 0.0
	for _, b := range d.bins {
		from := float64(b.i) * d.width
		lo, hi := math.Max(from, level-far), math.Min(from+d.width, level+far)
		if lo >= hi {
			continue
		}
		n, off := float64(b.n), from-level
		if hi-lo == d.width {
			some += n
			sum += b.sum + n*off
			squares += b.squares + 2*off*b.sum + n*off*off
			continue
		}
		// The readings of a bin are taken to lie evenly in it.
		n *= (hi - lo) / d.width
		off = (lo+hi)/2 - level
		some += n
		sum += n * off
		squares += n * (off*off + (hi-lo)*(hi-lo)/12)
	}
	return int(math.Round(some)), sum, squares
}

// Spread calls add with volts and how many readings have about these, in steps no longer than
// step volts.
func (d *Digest) Spread(step float64, add func(volts float64, n int)) {
	parts := int(math.Max(1, math.Min(mostParts, math.Ceil(d.width/step))))
	for _, b := range d.bins {
		if parts == 1 {
			add(math.Max(d.Low, math.Min(d.High, d.mean(b))), int(b.n))
			continue
		}
		for k := range parts {
			n := int(b.n)*(k+1)/parts - int(b.n)*k/parts
			v := (float64(b.i) + (float64(k)+0.5)/float64(parts)) * d.width
			add(math.Max(d.Low, math.Min(d.High, v)), n)
		}
	}
}

// mostParts is how many steps a bin is spread over.
const mostParts = 64

func (d *Digest) mean(b bin) float64 { return float64(b.i)*d.width + b.sum/float64(b.n) }

// digestOf sums samples up; there must be one.
func digestOf(at []int64, v []float32) *Digest {
	d := &Digest{From: Instant(at[0]), To: Instant(at[len(at)-1]), Low: math.Inf(1), High: math.Inf(-1), width: finestBin}
	for i := 1; i < len(at); i++ {
		d.Gap = max(d.Gap, time.Duration(at[i]-at[i-1]))
	}
	var a, b, c, sum float64
	for i, x := range v {
		if x-x != 0 {
			continue // no reading
		}
		y := float64(x)
		if y < d.Low {
			d.Low, d.LowAt = y, Instant(at[i])
		}
		if y > d.High {
			d.High, d.HighAt = y, Instant(at[i])
		}
		if d.N == 0 {
			d.First = y
		}
		if d.N >= 3 {
			rough := y - 3*c + 3*b - a
			d.Rough += rough * rough
			d.RoughN++
		}
		a, b, c = b, c, y
		sum += y - d.First
		d.N++
		d.Last = y
	}
	if d.N == 0 {
		return d
	}
	d.Mean = d.First + sum/float64(d.N)
	for d.High-d.Low >= mostBins*d.width || math.Max(math.Abs(d.Low), math.Abs(d.High)) >= outermostBin*d.width {
		d.width *= 2
	}
	d.sort(v)
	d.countSwings(v)
	return d
}

// sort puts the readings into bins.
func (d *Digest) sort(v []float32) {
	var bins [mostBins + 1]bin
	lowest := math.Floor(d.Low / d.width)
	for _, x := range v {
		if x-x != 0 {
			continue
		}
		y := float64(x)
		d.Squares += (y - d.Mean) * (y - d.Mean)
		i := math.Floor(y / d.width)
		b := &bins[int(i-lowest)]
		b.i = int32(i)
		b.n++
		b.sum += y - i*d.width
		b.squares += (y - i*d.width) * (y - i*d.width)
	}
	for _, b := range bins {
		if b.n > 0 {
			d.bins = append(d.bins, b)
		}
	}
	d.bins = slices.Clip(d.bins)
}

func (d *Digest) countSwings(v []float32) {
	if d.High-d.Low < SwingVolts {
		return
	}
	middle, margin := (d.Low+d.High)/2, swingMargin*(d.High-d.Low)
	up, down := float32(middle+margin), float32(middle-margin)
	high := d.First > middle
	for _, x := range v {
		if high && x <= down || !high && x >= up {
			high = !high
			d.Swings++
		}
	}
}

// add makes one digest of d and of the one that follows it.
func (d *Digest) add(e *Digest) {
	gap := max(d.Gap, e.Gap, e.From.Sub(d.To))
	if d.N == 0 || e.N == 0 {
		one := *d
		if d.N == 0 {
			one = *e
		}
		one.From, one.To, one.Gap = d.From, e.To, gap
		*d = one
		return
	}
	d.Swings = d.swingsWith(e)
	if e.Low < d.Low {
		d.Low, d.LowAt = e.Low, e.LowAt
	}
	if e.High > d.High {
		d.High, d.HighAt = e.High, e.HighAt
	}
	n, off := float64(d.N+e.N), e.Mean-d.Mean
	d.Squares += e.Squares + off*off*float64(d.N)*float64(e.N)/n
	d.Mean += off * float64(e.N) / n
	d.N += e.N
	d.To, d.Last, d.Gap = e.To, e.Last, gap
	d.Rough, d.RoughN = d.Rough+e.Rough, d.RoughN+e.RoughN
	d.join(e)
}

// swingsWith is how often the readings of two digests, one after the other, went from one side
// of the middle of their range to the other. What went through less than half of that range
// stayed on one side.
func (d *Digest) swingsWith(e *Digest) int {
	low, high := math.Min(d.Low, e.Low), math.Max(d.High, e.High)
	if high-low < SwingVolts {
		return 0
	}
	n := 0
	for _, x := range [...]*Digest{d, e} {
		if x.High-x.Low >= (high-low)/2 {
			n += x.Swings
		}
	}
	middle, margin := (low+high)/2, swingMargin*(high-low)
	if d.Last >= middle+margin && e.First <= middle-margin || d.Last <= middle-margin && e.First >= middle+margin {
		n++
	}
	return n
}

// join takes in the bins of another digest.
func (d *Digest) join(e *Digest) {
	other, width := e.bins, e.width
	for width < d.width {
		other, width = coarser(other, width)
	}
	for d.width < width {
		d.bins, d.width = coarser(d.bins, d.width)
	}
	both := make([]bin, 0, len(d.bins)+len(other))
	a, b := d.bins, other
	for len(a) > 0 || len(b) > 0 {
		switch {
		case len(b) == 0 || len(a) > 0 && a[0].i < b[0].i:
			both, a = append(both, a[0]), a[1:]
		case len(a) == 0 || b[0].i < a[0].i:
			both, b = append(both, b[0]), b[1:]
		default:
			both = append(both, bin{a[0].i, a[0].n + b[0].n, a[0].sum + b[0].sum, a[0].squares + b[0].squares})
			a, b = a[1:], b[1:]
		}
	}
	d.bins = both
	for len(d.bins) > mostBins {
		d.bins, d.width = coarser(d.bins, d.width)
	}
	d.bins = slices.Clip(d.bins)
}

// coarser returns bins of twice the width.
func coarser(bins []bin, width float64) ([]bin, float64) {
	var out []bin
	for _, b := range bins {
		if b.i&1 != 0 {
			b.squares += 2*width*b.sum + float64(b.n)*width*width
			b.sum += width * float64(b.n)
		}
		b.i >>= 1
		if n := len(out); n > 0 && out[n-1].i == b.i {
			out[n-1].n += b.n
			out[n-1].sum += b.sum
			out[n-1].squares += b.squares
			continue
		}
		out = append(out, b)
	}
	return out, 2 * width
}

func (d *Digest) shift(by time.Duration) {
	if d != nil {
		for _, at := range [...]*Instant{&d.From, &d.To, &d.LowAt, &d.HighAt} {
			*at = at.Add(by)
		}
	}
}
