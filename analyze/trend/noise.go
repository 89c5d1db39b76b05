package trend

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Blocks depend on each other: what moved one moves the next. How they do is not known,
// so each of many kinds of noise is weighed by how well it explains what is left of the
// blocks once a line or a step is taken out, and each says in its turn how far chance
// alone would carry them. A test's probability is the mean over the kinds of noise. So a
// run that may be slow noise is judged as one, and a clearly white one nearly as white.
//
// All of it is done on the blocks' cosine transform, whose parts are nearly independent of
// each other (Whittle's likelihood). A drift lies by 98.6 % in the part of lowest
// frequency.

const (
	// leastKnee is the lowest knee of a noise's spectrum, in half swings per run: a
	// knee below could not be told from the drift itself.
	leastKnee = 8
	// wild is how many standard deviations a block may lie off before it is cut there.
	wild = 3
)

// otherPrior is the weight of all noise that is not white before anything is seen of n
// blocks. The fewer they are, the less they can show of how they follow each other.
func otherPrior(n int) float64 { return math.Min(0.5, 10/float64(n)) }

// kind is one kind of noise.
type kind struct {
	power []float64 // of each part of the transform, relative to its white part
	logs  float64   // sum of half the powers' logarithms
	prior float64   // logarithm of its weight before anything is seen
}

// kindsOf are the kinds of noise for n blocks: white, white with a hump of any width and
// height (as autoregressive noise and swings have it), and white with a power law from
// any knee down (as 1/f noise and random walks have it).
func kindsOf(n int) []kind {
	out := []kind{kindOf(n, func(float64) float64 { return 0 })}
	for knee := float64(leastKnee); knee <= 2*float64(n); knee *= 2 {
		for _, slope := range []float64{0.5, 1, 1.5, 2} {
			out = append(out, kindOf(n, func(f float64) float64 { return math.Pow(knee/f, slope) }))
		}
		if knee > float64(n) {
			break
		}
		for _, height := range []float64{0.5, 1, 2, 4, 16, 64, 256, 1024} {
			out = append(out, kindOf(n, func(f float64) float64 { return height / (1 + f*f/(knee*knee)) }))
		}
	}
	for i := range out {
		out[i].prior = math.Log(otherPrior(n) / float64(len(out)-1))
	}
	out[0].prior = math.Log(1 - otherPrior(n))
	return out
}

// peaks are noises with a swing of the frequency at which the values' transform is
// largest, as the day gives it, where that is no slower than the lowest knee.
func peaks(values []float64) []kind {
	at := 0
	for i := leastKnee - 1; i < len(values); i++ {
		if at == 0 || math.Abs(values[i]) > math.Abs(values[at]) {
			at = i
		}
	}
	var out []kind
	if at == 0 {
		return nil
	}
	for _, height := range []float64{16, 64, 256, 1024, 4096} {
		out = append(out, kindOf(len(values)+1, func(f float64) float64 {
			d := f - float64(at+1)
			return height / (1 + d*d)
		}))
	}
	for i := range out {
		out[i].prior = math.Log(otherPrior(len(values)+1) / 100)
	}
	return out
}

// kindOf is a kind of noise whose power exceeds that of white noise by excess, a function
// of the frequency in half swings per run.
func kindOf(n int, excess func(frequency float64) float64) kind {
	k := kind{power: make([]float64, n-1)}
	for i := range k.power {
		f := 2 * math.Sin(math.Pi*float64(i+1)/float64(2*n)) * float64(n) / math.Pi
		k.power[i] = 1 + excess(f)
		k.logs += math.Log(k.power[i]) / 2
	}
	return k
}

// transform is the cosine transform of values, without the part of their mean.
type transform struct {
	cosine []float64 // of multiples of π/2n, over one turn
}

func newTransform(n int) transform {
	t := transform{make([]float64, 4*n)}
	for i := range t.cosine {
		t.cosine[i] = math.Cos(math.Pi * float64(i) / float64(2*n))
	}
	return t
}

func (t *transform) of(x []float64) []float64 {
	n := len(x)
	out := make([]float64, n-1)
	for k := 1; k < n; k++ {
		sum, at := 0.0, k
		for _, v := range x {
			sum += v * t.cosine[at]
			if at += 2 * k; at >= 4*n {
				at -= 4 * n
			}
		}
		out[k-1] = sum * math.Sqrt(2/float64(n))
	}
	return out
}

// cut returns the blocks' values less what lies further off the levels than wild values
// do, so that a few wild blocks don't make the noise.
func cut(b []block, level func(i int) float64) []float64 {
	off := make([]float64, len(b))
	for i := range b {
		off[i] = math.Abs(b[i].value - level(i))
	}
	most := wild * 1.4826 * median(off)
	out := make([]float64, len(b))
	for i := range b {
		out[i] = b[i].value
		if d := out[i] - level(i); most > 0 && math.Abs(d) > most {
			out[i] = level(i) + math.Copysign(most, d)
		}
	}
	return out
}

// weighed is a kind of noise in the light of what is left of some blocks.
type weighed struct {
	weight float64 // share of 1
	slow   float64 // variance of its slowest movement
}

// left is what is left of blocks when a course is taken out.
type left struct {
	noises   []weighed
	freedom  float64
	all      float64 // variance of the blocks, the course in it
	rest     float64 // variance of what is left
	evidence float64 // logarithm of the likelihood, over all kinds of noise and sizes of the course
}

// leave takes a course out of blocks, both as transforms, and weighs the kinds of noise by
// the parts from the given one on.
func leave(values, course []float64, kinds []kind, from int) left {
	n := float64(len(values))
	out := left{freedom: n - 1 - float64(from)}
	for _, v := range values {
		out.all += v * v / n
	}
	if out.all == 0 {
		return out
	}
	out.noises = make([]weighed, len(kinds))
	logs := make([]float64, len(kinds))
	for i := range kinds {
		var vv, vc, cc float64
		for j, p := range kinds[i].power {
			if j < from {
				continue
			}
			vv += values[j] * values[j] / p
			vc += values[j] * course[j] / p
			cc += course[j] * course[j] / p
		}
		q := math.Max(vv-vc*vc/cc, 1e-12*vv)
		if i == 0 {
			out.rest = q / out.freedom
		}
		out.noises[i].slow = kinds[i].power[0] * q / out.freedom
		logs[i] = likelihood(&kinds[i], q, cc, out.freedom)
		for _, p := range kinds[i].power[:from] {
			logs[i] += math.Log(p) / 2
		}
	}
	out.evidence = logSum(logs)
	for i := range logs {
		out.noises[i].weight = math.Exp(logs[i] - out.evidence)
	}
	return out
}

// likelihood is the logarithm of a noise's, over all its scales and sizes of the course: q is
// what is left, weighed by the noise, cc the course's own sum.
func likelihood(k *kind, q, cc, freedom float64) float64 {
	return k.prior - k.logs - math.Log(cc)/2 - freedom/2*math.Log(q)
}

func logSum(logs []float64) float64 {
	most := math.Inf(-1)
	for _, x := range logs {
		most = math.Max(most, x)
	}
	sum := 0.0
	for _, x := range logs {
		sum += math.Exp(x - most)
	}
	return most + math.Log(sum)
}

// mean is the mean over the kinds of noise of f, which is given by how much larger than
// for independent blocks the variance of their slowest movement is, relative to a variance.
func (l *left) mean(variance float64, f func(inflation float64) float64) float64 {
	if l.noises == nil {
		return f(1)
	}
	sum := 0.0
	for _, w := range l.noises {
		if w.weight > 1e-12 {
			sum += w.weight * f(math.Max(1, w.slow/variance))
		}
	}
	return sum
}

// chance is the probability of a deviate z or more, for a quantity whose standard
// deviation was computed as if blocks were independent and had this variance.
func (l *left) chance(z, variance float64) float64 {
	t := distuv.StudentsT{Sigma: 1, Nu: l.freedom}
	return l.mean(variance, func(inflation float64) float64 { return t.Survival(z / math.Sqrt(inflation)) })
}

// inflation is by how much the variance of the slowest movement of what is left is larger
// than if blocks were independent, 1 or more.
func (l *left) inflation() float64 {
	return l.mean(l.rest, func(inflation float64) float64 { return inflation })
}

// ground is what judging so many blocks needs.
type ground struct {
	transform transform
	kinds     []kind
	ramp      []float64 // transform of a steady rise
}

func groundOf(n int) *ground {
	g := &ground{transform: newTransform(n), kinds: kindsOf(n)}
	g.ramp = g.rise(0, n-1)
	return g
}

// rise is the transform of a rise by 1 from one block to another, level before and after.
func (g *ground) rise(from, to int) []float64 {
	x := make([]float64, len(g.kinds[0].power)+1)
	for i := range x {
		x[i] = math.Max(0, math.Min(1, float64(i-from)/float64(to-from)))
	}
	return g.transform.of(x)
}

// take returns the transform of blocks, and counts the swing that they show among the
// kinds of noise.
func (g *ground) take(blocks []float64) []float64 {
	values := g.transform.of(blocks)
	g.kinds = append(g.kinds, peaks(values)...)
	return values
}

// leaveLine takes a line out of blocks.
func leaveLine(b []block, slope, level, centre float64) left {
	g := groundOf(len(b))
	values := g.take(cut(b, func(i int) float64 { return level + slope*(b[i].centre-centre) }))
	return leave(values, g.ramp, g.kinds, 0)
}
