package commission

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"makebreak/rig/capture"
)

// A shown is what one conversion showed of a step: the step's age at the conversion's end, in
// conversions, and the share of the step.
type shown struct{ age, share float64 }

// A response is fitted to conversions of these ages, as shares that many conversions apart.
const (
	youngest  = -0.5
	oldest    = 1.5
	knot      = 1.0 / 32
	halfWidth = 0.045 // of a conversion, to each side of a knot, from which it is fitted
)

// fitted is how many steps, at least, a share is the weighted mean of: of leastSteps those
// within halfWidth, of which the farther count less.
const fitted = 0.6 * 2 * halfWidth * leastSteps

// corner is by how much of a conversion a fit from halfWidth misplaces a step where the response
// has a corner: a tenth of it.
const corner = halfWidth / 10

// leastShown is the least share of a step that counts as shown.
const leastShown = 0.005

// Limits of what a response must be to be stored.
const (
	leastSteps   = 100
	mostOutliers = 0.08 // of the steps; a kernel may stamp an edge late now and then
	mostScatter  = 0.04 // of a conversion
	mostBare     = 0.1  // of a conversion without a step in it
	// A step must be shown within the conversion that it falls into, but for so much of one.
	mostOutside = 0.35
)

// rings is by how much, at most, a share may lie off shares that rise.
const rings = 0.01

// folds are the parts into which the steps are divided: a response fitted to all other parts
// must place the steps of each.
const folds = 10

// fitResponse fits a converter's filter to what conversions showed of steps at phases of all
// kinds. Its standard uncertainty comes from how much steps lie off a response that was fitted
// without them, which holds the scatter of their time stamps and what the fit misses. Of that the
// stamps' uncertainty, in conversions, is left out, since each budget has it; what a fit to a few
// steps each keeps of the scatter stays, and what it rounds off corners. The error says why the steps are not those of one response.
func fitResponse(steps [][]shown, stamps float64) (*capture.Filter, error) {
	if len(steps) < leastSteps {
		return nil, fmt.Errorf("%d steps; must be %d or more", len(steps), leastSteps)
	}
	if bare := widestBare(steps); bare > mostBare {
		return nil, fmt.Errorf("no step fell into %.0f %% of a conversion", 100*bare)
	}
	kept, err := withoutOutliers(steps)
	if err != nil {
		return nil, err
	}
	if n := len(steps) - len(kept); float64(n) > mostOutliers*float64(len(steps)) {
		return nil, fmt.Errorf("%d of %d steps do not fit the others", n, len(steps))
	}
	f, err := responseOf(kept, localLine)
	if err != nil {
		return nil, err
	}
	scatter := scatterOf(kept)
	if !(scatter <= mostScatter) {
		return nil, fmt.Errorf("steps scatter by %.0f %% of a conversion", 100*scatter)
	}
	f.Standard = math.Hypot(math.Sqrt(math.Max(scatter*scatter-stamps*stamps, scatter*scatter/fitted)), corner)
	return f, nil
}

// widestBare is the widest part of a conversion that no step fell into.
func widestBare(steps [][]shown) float64 {
	var phases []float64
	for _, s := range steps {
		phases = append(phases, s[0].age-math.Floor(s[0].age))
	}
	slices.Sort(phases)
	widest := phases[0] + 1 - phases[len(phases)-1]
	for i := 1; i < len(phases); i++ {
		widest = math.Max(widest, phases[i]-phases[i-1])
	}
	return widest
}

// withoutOutliers leaves out the steps that lie far off a response of the middle ones.
func withoutOutliers(steps [][]shown) (kept [][]shown, err error) {
	f, err := responseOf(steps, localMedian)
	if err != nil {
		return nil, err
	}
	var off []float64
	for _, s := range steps {
		off = append(off, math.Abs(offOf(f, s)))
	}
	sorted := slices.Sorted(slices.Values(off))
	const many, mad = 5, 1.4826 // standard deviations, and one by the median of distances
	most := math.Max(many*mad*sorted[len(sorted)/2], halfWidth)
	for i, s := range steps {
		if off[i] <= most {
			kept = append(kept, s)
		}
	}
	return kept, nil
}

// offOf is how far a step lies from where the response places it, in conversions: by the
// conversion that says most against it.
func offOf(f *capture.Filter, step []shown) float64 {
	worst := 0.0
	for _, s := range step {
		off := 0.0
		switch {
		case s.share > 1-leastShown: // at least so old that it is shown whole
			off = math.Min(0, s.age-f.Age(1-leastShown))
		case s.share < leastShown:
			off = math.Max(0, s.age-f.Age(leastShown))
		default:
			off = s.age - f.Age(s.share)
		}
		if math.Abs(off) > math.Abs(worst) {
			worst = off
		}
	}
	return worst
}

// scatterOf is the root of the mean square by which steps that a conversion shows lie off a
// response that was fitted without them, in conversions.
func scatterOf(steps [][]shown) float64 {
	sum, n := 0.0, 0
	for part := range folds {
		var others [][]shown
		for i, s := range steps {
			if i%folds != part {
				others = append(others, s)
			}
		}
		f, err := responseOf(others, localLine)
		if err != nil {
			return math.NaN()
		}
		for i, s := range steps {
			if i%folds != part {
				continue
			}
			if off := offOf(f, s); off != 0 {
				sum, n = sum+off*off, n+1
			}
		}
	}
	return math.Sqrt(sum / float64(n))
}

// responseOf makes a response of the steps, with each share estimated from the conversions
// about its age, which are given in the order of their ages.
func responseOf(steps [][]shown, estimate func(near []shown, age float64) float64) (*capture.Filter, error) {
	all := slices.Concat(steps...)
	slices.SortFunc(all, func(a, b shown) int { return cmp.Compare(a.age, b.age) })
	var shares []float64
	for age := youngest; age <= oldest; age += knot {
		shares = append(shares, estimate(about(all, age), age))
	}
	f := &capture.Filter{From: youngest, Step: knot}
	rising := risingOf(shares)
	for i, s := range rising {
		if age := youngest + float64(i)*knot; age < -mostOutside && s > leastShown || age > 1+mostOutside && s < 1-leastShown {
			return nil, errors.New("a step is not shown within one conversion")
		}
		if math.Abs(s-shares[i]) > rings {
			return nil, errors.New("what conversions show of a step goes back")
		}
		const none = 0.001 // what is left of an end that was smoothed
		if s = math.Max(0, math.Min(1, s)); s < none || i == 0 {
			s = 0
		} else if s > 1-none || i == len(rising)-1 {
			s = 1
		}
		f.Shares = append(f.Shares, uint16(math.Round(s*capture.WholeStep)))
	}
	return trimmed(f), nil
}

// trimmed leaves out shares of 0 at the beginning but for two, and of 1 at the end likewise.
func trimmed(f *capture.Filter) *capture.Filter {
	for len(f.Shares) > 4 && f.Shares[2] == 0 {
		f.Shares, f.From = f.Shares[1:], f.From+f.Step
	}
	for n := len(f.Shares); n > 4 && f.Shares[n-3] == capture.WholeStep; n = len(f.Shares) {
		f.Shares = f.Shares[:n-1]
	}
	return f
}

// about returns the conversions about an age: from so near that a few are among them.
func about(all []shown, age float64) []shown {
	const few = 5
	for half := halfWidth; ; half *= 1.5 {
		lo, _ := slices.BinarySearchFunc(all, age-half, func(s shown, a float64) int { return cmp.Compare(s.age, a) })
		hi, _ := slices.BinarySearchFunc(all, age+half, func(s shown, a float64) int { return cmp.Compare(s.age, a) })
		if hi-lo >= few || hi-lo == len(all) {
			return all[lo:hi]
		}
	}
}

// localLine estimates the share at an age by a straight line through what is shown near it, the
// nearer the more it counts (local linear regression with Epanechnikov's weights, textbook).
func localLine(near []shown, age float64) float64 {
	half := knot / 2
	for _, s := range near {
		half = math.Max(half, math.Abs(s.age-age))
	}
	half *= 1.01 // so that the farthest counts a little
	var x, y, w []float64
	for _, s := range near {
		d := (s.age - age) / half
		x, y, w = append(x, s.age-age), append(y, s.share), append(w, 1-d*d)
	}
	at, slope := stat.LinearRegression(x, y, w, false)
	if math.IsNaN(slope) { // all of one age
		return stat.Mean(y, w)
	}
	// Beyond the shares that are there a line is only a guess.
	return math.Max(slices.Min(y), math.Min(slices.Max(y), at))
}

// localMedian estimates the share at an age by the median of what is shown near it.
func localMedian(near []shown, _ float64) float64 {
	var y []float64
	for _, s := range near {
		y = append(y, s.share)
	}
	slices.Sort(y)
	return y[len(y)/2]
}

// risingOf is the sequence that never falls and is nearest to the given one, by the sum of
// squares (pooling adjacent violators, textbook).
func risingOf(y []float64) []float64 {
	type pool struct {
		sum float64
		n   int
	}
	var pools []pool
	for _, v := range y {
		p := pool{v, 1}
		for len(pools) > 0 {
			last := pools[len(pools)-1]
			if last.sum/float64(last.n) <= p.sum/float64(p.n) {
				break
			}
			p, pools = pool{p.sum + last.sum, p.n + last.n}, pools[:len(pools)-1]
		}
		pools = append(pools, p)
	}
	var rising []float64
	for _, p := range pools {
		for range p.n {
			rising = append(rising, p.sum/float64(p.n))
		}
	}
	return rising
}
