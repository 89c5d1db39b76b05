package capture

import (
	"math"
	"slices"
	"sort"
)

// A Filter is what a converter makes of a step, as it was measured: how much of the step a
// conversion shows, by the step's age at the conversion's end. An age is in conversions: below
// 0 the step comes after the conversion, 1 is at its beginning.
type Filter struct {
	From float64 // age in conversions at which the first share stands
	Step float64 // conversions from one share to the next
	// Shares are what a conversion shows, in ten-thousandths of the step: they rise from 0 to
	// WholeStep and never fall. Between two of them the response is a straight line.
	Shares []uint16
	// Standard is the standard uncertainty of where the response places a step.
	Standard float64 // a share of one conversion
}

// WholeStep is a whole step in a filter's shares.
const WholeStep = 10_000

// Valid reports whether the filter is one: shares that never fall, from 0 to
// WholeStep.
func (f *Filter) Valid() bool {
	n := len(f.Shares)
	return n >= 2 && f.Step > 0 && f.Standard >= 0 && !math.IsInf(f.Step+f.Standard, 1) && !math.IsNaN(f.From) && !math.IsInf(f.From, 0) &&
		f.Shares[0] == 0 && f.Shares[n-1] == WholeStep && slices.IsSorted(f.Shares)
}

// Share returns how much of a step a conversion shows at whose end it has the age, in
// conversions: from 0 to 1.
func (f *Filter) Share(age float64) float64 {
	x := (age - f.From) / f.Step
	i := int(math.Floor(x))
	switch {
	case x <= 0:
		return 0
	case i >= len(f.Shares)-1:
		return 1
	}
	return f.share(i) + (x-float64(i))*(f.share(i+1)-f.share(i))
}

// Age returns how old the step is, in conversions, of which a conversion shows a share at its
// end. Of a step that is not shown yet it is the oldest that may be, of one that is shown whole
// the youngest.
func (f *Filter) Age(share float64) float64 {
	n := len(f.Shares)
	if share <= 0 { // the last share that is 0
		return f.age(sort.Search(n, func(i int) bool { return f.Shares[i] > 0 }) - 1)
	}
	share = math.Min(1, share)
	i := sort.Search(n-1, func(i int) bool { return f.share(i) >= share })
	back := (f.share(i) - share) / (f.share(i) - f.share(i-1))
	return f.age(i) - back*f.Step
}

// Middle returns how long before a conversion's end, in conversions, what it shows of a steady
// change lies: 0.5 for a plain mean.
func (f *Filter) Middle() float64 {
	sum := f.From
	for i := range len(f.Shares) - 1 {
		sum += f.Step * (1 - (f.share(i)+f.share(i+1))/2)
	}
	return sum
}

func (f *Filter) age(i int) float64 { return f.From + float64(i)*f.Step }

func (f *Filter) share(i int) float64 { return float64(f.Shares[i]) / WholeStep }

// Rounded returns how much a conversion shows of an edge 1-exp(-t/tau) that began at an age
// before its end; tau, above 0, and age are in conversions. The law is that of an RC behind
// the filter, y' = (share - y)/tau, exact for the straight lines of the response.
func (f *Filter) Rounded(age, tau float64) float64 {
	y := 0.0
	last := int(math.Floor((age - f.From) / f.Step))
	whole := math.Exp(-f.Step / tau)
	for i := range min(last, len(f.Shares)-1) {
		y = rounded(y, f.share(i), f.share(i+1), tau/f.Step, whole)
	}
	if last < 0 {
		return 0
	}
	from := f.age(min(last, len(f.Shares)-1))
	if rest := age - from; rest > 0 {
		y = rounded(y, f.Share(from), f.Share(age), tau/rest, math.Exp(-rest/tau))
	}
	return y
}

// rounded follows a straight line from a to b with an RC whose time constant is tau of the
// line's length; left is exp(-1/tau).
func rounded(y, a, b, tau, left float64) float64 {
	late := (b - a) * tau
	return b - late + (y-a+late)*left
}
