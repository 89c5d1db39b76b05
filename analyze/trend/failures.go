package trend

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Outcome is how a cycle's value was judged.
type Outcome uint8

// The outcomes. Only judged cycles count for the failure figures.
const (
	Unjudged Outcome = iota // nothing was demanded
	Within                  // clearly inside the limits
	Doubtful                // too close to a limit to say
	Outside                 // clearly out of the limits
	outcomes = iota
)

// minFailures is how many failures the tests of their pattern need.
const minFailures = 5

// Failures says how often and in what pattern a quantity was out of its limits.
type Failures struct {
	Judged, Doubtful, Outside int64
	// First and Last are the cycles of the first and the last value out of limits, 0
	// where there was none. Streak is the longest row of judged cycles, each of
	// which was out.
	First, Last int
	Streak      int64
	// Clustering is the probability of failures as close together as these, if each
	// cycle failed as likely as any other, and independently. Small: they come in
	// clusters, as of an intermittent contact. It is twice the smaller of two tests':
	// of the number of rows of failures (exact), and of the spread of the gaps between
	// them. NaN below 5 failures.
	Clustering float64 // probability, 0 to 1
	// Later is the probability of as clear a change in how often failures come, from
	// the mean of their places: Laplace's test (Cox and Lewis, The Statistical Analysis of
	// Series of Events, 1966, 3.3), judged more strictly where the gaps spread more
	// than chance makes them (Lewis and Robinson 1974; from memory). Growing says
	// which way. NaN below 5.
	Later   float64 // probability, 0 to 1
	Growing bool
}

// failures counts what the tests need.
type failures struct {
	judged, doubtful, outside int64
	first, last               int
	streak, longest           int64
	rows                      int64   // of failures next to each other
	at                        int64   // the place of the last failure among the judged
	places                    float64 // sum of the failures' places, each less a half
	gaps, logs                float64 // sums over the gaps up to the last failure
	gap                       float64 // the last of them
	differences               float64 // sum of the squared differences of neighbouring gaps
}

func (f *failures) add(cycle int, o Outcome) {
	if o == Unjudged {
		return
	}
	f.judged++
	if o == Doubtful {
		f.doubtful++
	}
	if o != Outside {
		f.streak = 0
		return
	}
	if f.outside == 0 {
		f.first = cycle
	}
	f.outside++
	f.last = cycle
	if f.streak == 0 {
		f.rows++
	}
	f.streak++
	f.longest = max(f.longest, f.streak)
	f.places += float64(f.judged) - 0.5
	g := float64(f.judged - f.at)
	f.at = f.judged
	f.gaps += g - 0.5
	f.logs += meanLog(g)
	if f.outside > 1 {
		f.differences += (g - f.gap) * (g - f.gap)
	}
	f.gap = g
}

// meanLog is the mean of ln x from g-1 to g. A gap is a whole number of cycles; the
// gap's logarithm is taken as that of an instant anywhere in its last cycle.
func meanLog(g float64) float64 {
	if g <= 1 {
		return -1
	}
	return g*math.Log(g) - (g-1)*math.Log(g-1) - 1
}

func (f *failures) summary() Failures {
	out := Failures{Judged: f.judged, Doubtful: f.doubtful, Outside: f.outside, First: f.first, Last: f.last,
		Streak: f.longest, Clustering: math.NaN(), Later: math.NaN()}
	if f.outside < minFailures || f.outside == f.judged {
		return out
	}
	out.Clustering = math.Min(1, 2*math.Min(f.fewRows(), f.unevenGaps()))
	z := f.lateness()
	out.Later, out.Growing = 2*distuv.UnitNormal.Survival(math.Abs(z)), z > 0
	return out
}

// fewRows is the probability of at most as many rows of failures, given how many
// failed: the runs test of Wald and Wolfowitz (Annals of Mathematical Statistics 11
// (1940) 147) for the runs of one kind. With m failures among n cycles, k rows have the
// probability C(n-m+1, k)·C(m-1, k-1)/C(n, m). Where there are more rows than their
// mean, it is 1: such failures are not in clusters.
func (f *failures) fewRows() float64 {
	n, m, k := float64(f.judged), float64(f.outside), float64(f.rows)
	good := n - m
	if k > m*(good+1)/n {
		return 1
	}
	term := math.Exp(logChoose(good+1, k) + logChoose(m-1, k-1) - logChoose(n, m))
	sum := term
	for ; k > 1 && term > 1e-17*sum; k-- {
		term *= k * (k - 1) / ((good + 2 - k) * (m - k + 1)) // from k to k-1 rows
		sum += term
	}
	return math.Min(1, sum)
}

func logChoose(n, k float64) float64 {
	lg := func(x float64) float64 { v, _ := math.Lgamma(x + 1); return v }
	return lg(n) - lg(k) - lg(n-k)
}

// unevenGaps is the probability of gaps at least as uneven, if failures come at a
// constant rate: Bartlett's test of an exponential distribution, one-sided (Epstein,
// Technometrics 2 (1960) 83; from memory). Where more than one cycle in five fails
// the gaps are too short for it, and the rows say it all.
func (f *failures) unevenGaps() float64 {
	r := float64(f.outside)
	if f.gaps < 5*r {
		return 1
	}
	b := 2 * r * (math.Log(f.gaps/r) - f.logs/r) / (1 + (r+1)/(6*r))
	return mathext.GammaIncRegComp((r-1)/2, math.Max(0, b)/2)
}

// lateness is Laplace's standard normal deviate, positive where failures come more
// often later. The variance is that of drawing places without putting back; bursts
// make it larger by the square of the gaps' coefficient of variation. That is taken
// from the differences of neighbouring gaps, which a change of the rate itself
// makes little larger.
func (f *failures) lateness() float64 {
	n, m := float64(f.judged), float64(f.outside)
	mean := f.gaps / m
	spread := math.Max(1, f.differences/(2*(m-1)*mean*mean))
	return (f.places/m - n/2) / math.Sqrt(n*(n-m)/(12*m)*spread)
}
