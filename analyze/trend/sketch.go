package trend

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"github.com/apache/datasketches-go/tdigest"
)

const (
	// compression of the t-digest: at 200 the rank of a quantile is off by at most
	// 0.2 % of the values in the middle and less towards the ends, and by two values
	// more, which counts where they are few (tested from 400 on).
	compression = 200
	// What the library keeps for this compression, checked when a state is read.
	maxCentroids = 2*compression + 10
	maxBuffered  = 4 * maxCentroids
)

// sketch holds the spread of a stream's values.
type sketch struct {
	digest *tdigest.Double
}

func newSketch() (sketch, error) {
	d, err := tdigest.NewDouble(compression)
	if err != nil {
		return sketch{}, fmt.Errorf("quantile sketch: %w", err)
	}
	return sketch{d}, nil
}

func (s sketch) add(x float64) error { return s.digest.Update(x) }

// quantiles returns the values below which the given shares of all values lie. The
// digest itself stays as it was: asking for quantiles would reorder it, and then
// what a run gives would depend on when someone had looked.
func (s sketch) quantiles(p []float64) []float64 {
	out := make([]float64, len(p))
	for i := range out {
		out[i] = math.NaN()
	}
	b, err := s.marshal()
	if err != nil || s.digest.IsEmpty() {
		return out
	}
	d, err := tdigest.DecodeDouble(b)
	if err != nil {
		return out
	}
	for i, q := range p {
		if q >= 0 && q <= 1 {
			out[i] = valueAt(d, q)
		}
	}
	return out
}

// valueAt searches the value whose rank is q. The digest's own Quantile (v0.2.0)
// interpolates from the wrong end between two centroids, which puts the rank of a
// median off by up to 1.7 %; its Rank has no such fault.
func valueAt(d *tdigest.Double, q float64) float64 {
	lo, errLo := d.MinValue()
	hi, errHi := d.MaxValue()
	if errLo != nil || errHi != nil {
		return math.NaN()
	}
	if q == 1 {
		return hi
	}
	for range 2100 { // more than enough to halve any interval of floats to nothing
		mid := lo/2 + hi/2
		if mid <= lo || mid >= hi {
			break
		}
		if r, err := d.Rank(mid); err != nil {
			return math.NaN()
		} else if r > q {
			hi = mid
		} else {
			lo = mid
		}
	}
	return lo
}

func (s sketch) marshal() ([]byte, error) { return tdigest.EncodeDouble(s.digest, true) }

// unmarshalSketch reads what marshal wrote of a stream of n values.
func unmarshalSketch(b []byte, n int64) (sketch, error) {
	if err := checkSketch(b, n); err != nil {
		return sketch{}, err
	}
	if n <= 1 {
		// The library would put a single value among the centroids, not in the buffer
		// where it was; the rest of the run would then differ in its last digits.
		s, err := newSketch()
		if err != nil || n == 0 {
			return s, err
		}
		return s, s.add(math.Float64frombits(binary.LittleEndian.Uint64(b[8:])))
	}
	d, err := tdigest.DecodeDouble(b)
	if err != nil {
		return sketch{}, fmt.Errorf("quantile sketch: %w", err)
	}
	if d.TotalWeight() != uint64(n) {
		return sketch{}, fmt.Errorf("quantile sketch of %d values, want %d", d.TotalWeight(), n)
	}
	return sketch{d}, nil
}

// checkSketch refuses what the library would take but not keep within its bounds.
func checkSketch(b []byte, n int64) error {
	bad := errors.New("quantile sketch: not one of this program")
	const family = 20 // the library's number of the t-digest
	if len(b) < 8 || b[1] != 1 || b[2] != family || binary.LittleEndian.Uint16(b[3:]) != compression {
		return bad
	}
	switch {
	case n == 0 && len(b) == 8 && b[5] == 1, n == 1 && len(b) == 16 && b[5]&3 == 2:
		return nil
	case n < 2 || len(b) < 32 || b[5]&3 != 0:
		return bad
	}
	centroids, buffered := binary.LittleEndian.Uint32(b[8:]), binary.LittleEndian.Uint32(b[12:])
	if centroids > maxCentroids || buffered > maxBuffered || len(b) != 32+16*int(centroids)+8*int(buffered) {
		return bad
	}
	return nil
}
