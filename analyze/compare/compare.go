package compare

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/analyze/tally"
)

// Familywise is the greatest share of comparisons of unchanged units in which any row is said to
// have moved.
const Familywise = 0.05

// Outcome says whether a row moved, or why that is not known.
type Outcome int

// The outcomes. From NotMeasured on a row was not judged.
const (
	Unmoved Outcome = iota
	Moved
	// BeyondBound: the one run has only bounds, and the other's mean is surely beyond them all.
	BeyondBound
	NotMeasured // in this run, but in the other
	NotBefore   // measured in this run, but not in the other
	OnlyBounds  // one run or both have only bounds
	FewCycles   // one run or both have too few cycles to show how the unit scatters
	Nothing     // neither run has a value
)

// Moving reports whether the row moved.
func (o Outcome) Moving() bool { return o == Moved || o == BeyondBound }

// Judged reports whether it was judged if the row moved.
func (o Outcome) Judged() bool { return o < NotMeasured }

// A Row is one quantity of one signal at one event in both runs. Values are in the quantity's
// base unit; what is not known is NaN.
type Row struct {
	tally.Key
	Now, Before *Sample // nil: the run has no such figure
	Change      float64 // of the mean, now less before, in the quantity's base unit
	// Standard is its standard uncertainty and Expanded the expanded one at 95 %.
	Standard, Expanded float64 // in the same unit
	DegreesOfFreedom   float64 // a number, may be infinite
	// Probability is at most that of a change of this size or more in any row of the comparison
	// where none has moved: the row's own, adjusted by Holm's procedure.
	Probability float64
	Outcome     Outcome

	alone float64 // probability of the row alone
}

// A Basis says what two runs have in common, so that its errors leave the difference.
type Basis struct {
	// SameRig says that both were made on one rig.
	SameRig bool
	// SameChain says of a signal that its resistors, its converter and its calibration are the
	// same in both, and SameChip that its converter is. Nil: of no signal.
	SameChain, SameChip func(signal string) bool
}

func (b *Basis) common(p part, signal string) bool {
	switch p {
	case ofChain:
		return b.SameChain != nil && b.SameChain(signal)
	case ofChip:
		return b.SameChip != nil && b.SameChip(signal)
	}
	return false
}

// Of compares a run with an earlier one. Rows are in the order of the run's samples; what only
// the earlier one has follows.
func Of(now, before []*Sample, basis Basis) []*Row {
	earlier := map[tally.Key]*Sample{}
	for _, s := range before {
		earlier[s.Key] = s
	}
	var rows []*Row
	for _, s := range now {
		rows = append(rows, newRow(s.Key, s, earlier[s.Key], &basis))
		delete(earlier, s.Key)
	}
	for _, s := range before {
		if earlier[s.Key] != nil {
			rows = append(rows, newRow(s.Key, nil, s, &basis))
		}
	}
	holm(rows)
	return rows
}

func newRow(k tally.Key, now, before *Sample, basis *Basis) *Row {
	nan := math.NaN()
	r := &Row{Key: k, Now: now, Before: before, Change: nan, Standard: nan, Expanded: nan, DegreesOfFreedom: nan, Probability: nan, alone: nan}
	r.Outcome = r.unjudged()
	if r.Outcome.Judged() {
		r.judge(basis)
	} else if r.Outcome == OnlyBounds && r.beyond() {
		r.Outcome = BeyondBound
	}
	return r
}

// leastCycles is how many values both runs must have. What a contact or a failing output does
// may be the same in a few cycles by chance, and quite another thing in the next.
func leastCycles(q analyze.Quantity) int {
	switch q {
	case analyze.BounceTime, analyze.BounceCount, analyze.Hold:
		return few
	}
	return 2
}

// unjudged says why a row cannot be judged; Unmoved where it can.
func (r *Row) unjudged() Outcome {
	a, b := r.Now, r.Before
	has := func(s *Sample) bool { return s != nil && s.Values+s.Uppers+s.Lowers > 0 }
	switch {
	case !has(a) && !has(b):
		return Nothing
	case !has(a):
		return NotMeasured
	case !has(b):
		return NotBefore
	case a.Uppers+a.Lowers+b.Uppers+b.Lowers > 0:
		return OnlyBounds
	case a.Values < leastCycles(r.Quantity) || b.Values < leastCycles(r.Quantity):
		return FewCycles
	}
	return Unmoved
}

// beyond reports whether the values of one run lie surely beyond the bounds that all values of
// the other are.
func (r *Row) beyond() bool { return r.Now.beyond(r.Before) || r.Before.beyond(r.Now) }

// beyond reports whether the sample's values, each with the whole of its uncertainty, lie beyond
// the bounds that the other's are.
func (s *Sample) beyond(bounds *Sample) bool {
	if s.Values < 2 || s.Uppers+s.Lowers > 0 || bounds.Values > 0 || bounds.Uppers > 0 && bounds.Lowers > 0 {
		return false
	}
	expanded := s.Expanded()
	if bounds.Uppers > 0 {
		return s.Mean-expanded > bounds.High && s.Low > bounds.High
	}
	return s.Mean+expanded < bounds.Low && s.High < bounds.Low
}

// few is a number of cycles below which a scatter is known so badly that Welch's and
// Satterthwaite's formula takes it for better known than it is.
const few = 5

// judge works out the change with its uncertainty.
func (r *Row) judge(basis *Basis) {
	r.Change = r.Now.Mean - r.Before.Mean
	all := append(scatter(r.Now, r.Before), constant(r, basis)...)
	c := gum.Combine(all)
	r.Standard, r.DegreesOfFreedom = c.Standard, c.DegreesOfFreedom
	_, r.Expanded = c.Expanded()
	r.alone = chance(r.Change, c.Standard, c.DegreesOfFreedom)
	if min(r.Now.Values, r.Before.Values) < few {
		x := apart(all)
		r.Expanded = max(r.Expanded, x.expanded())
		r.alone = max(r.alone, x.chance(r.Change))
	}
}

// chance is the probability of a change of this size or more to either side.
func chance(change, standard, freedom float64) float64 {
	change = math.Abs(change)
	switch {
	case change == 0:
		return 1
	case standard == 0:
		return 0
	case freedom > 1e5:
		return math.Erfc(change / standard / math.Sqrt2)
	}
	return 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Survival(change/standard)
}

// parted is a change's uncertainty in two parts, that of the scatter and the rest.
type parted struct {
	scatter, rest float64 // standard uncertainties
	freedom       float64 // of the scatter
}

// apart takes the components of the scatter, which come first and have few degrees of freedom,
// from the others.
func apart(all []gum.Component) parted {
	p := parted{freedom: math.Inf(1)}
	for i := range all {
		x := all[i].Contribution()
		if all[i].Source == "" {
			p.scatter, p.freedom = math.Hypot(p.scatter, x), min(p.freedom, all[i].DegreesOfFreedom)
		} else {
			p.rest = math.Hypot(p.rest, x)
		}
	}
	return p
}

// chance is a probability that the sum of the parts is no less likely to be off by so much: one
// of two parts must be off by its share of it, however it is shared (Boole's inequality).
func (p parted) chance(off float64) float64 {
	least := 1.0
	for share := 0.1; share < 0.95; share += 0.1 {
		least = min(least, chance(share*off, p.scatter, p.freedom)+chance((1-share)*off, p.rest, math.Inf(1)))
	}
	return least
}

// expanded is by how much the sum is off in one case of twenty, at most.
func (p parted) expanded() float64 {
	low, high := 0.0, 40*(p.scatter+p.rest) // Student's factor is 12.7 at most
	for range 25 {
		if mid := (low + high) / 2; p.chance(mid) > 1-coverage {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// coverage is that of expanded uncertainties.
const coverage = 0.95

// scatter is what the means differ by from cycle to cycle. It is no less than what the budgets say
// that it must be: few cycles may happen to agree.
func scatter(a, b *Sample) []gum.Component {
	// One unit scatters in both runs. Where few cycles of the one agree by chance, the other shows
	// how it does.
	m, n := float64(a.Values), float64(b.Values)
	pooled := math.Sqrt(((m-1)*a.SD*a.SD + (n-1)*b.SD*b.SD) / (m + n - 2))
	x, y := a.least(), b.least()
	const rounded = 1 + 1e-9
	if p, q := pooled/math.Sqrt(m)*rounded, pooled/math.Sqrt(n)*rounded; x <= p && y <= q {
		return []gum.Component{random(math.Hypot(p, q), m+n-2)}
	} else if x <= p {
		return []gum.Component{random(p, m+n-2), random(y, b.freedom)}
	} else if y <= q {
		return []gum.Component{random(x, a.freedom), random(q, m+n-2)}
	}
	return []gum.Component{random(x, a.freedom), random(y, b.freedom)}
}

func random(standard, freedom float64) gum.Component {
	return gum.Component{Distribution: "normal", Standard: standard, Sensitivity: 1, DegreesOfFreedom: freedom}
}

// least is the standard uncertainty of the mean by scatter, and no less than the budgets'
// parts of a cycle make of it, nor than whole numbers show.
func (s *Sample) least() float64 {
	squares := 0.0
	for i := range s.lines {
		if parts[s.lines[i].source] == ofCycle {
			x := s.lines[i].mean()
			squares += x * x
		}
	}
	if s.Quantity.Unit() == "1" {
		x := gum.HalfWidth("rectangular", 0.5) // a count between two whole numbers (JCGM 100, F.2.2.1)
		squares += x * x
	}
	least := math.Sqrt(squares / float64(s.Values))
	if s.Values < 2 {
		return least
	}
	return max(s.ofMean, least)
}

// constant is what the means differ by although it is the same in all cycles of a run.
func constant(r *Row, basis *Basis) []gum.Component {
	var all []gum.Component
	a, b := r.Now, r.Before
	used := make([]bool, len(b.lines))
	for i := range a.lines {
		x := &a.lines[i]
		p := parts[x.source]
		if p == ofCycle {
			continue
		}
		y := -1
		if basis.common(p, r.Signal) {
			y = slices.IndexFunc(b.lines, func(l line) bool { return l.source == x.source })
		}
		if y < 0 || used[y] {
			all = append(all, x.component(x.mean()))
			continue
		}
		used[y] = true
		all = append(all, x.component(math.Abs(x.mean()-r.sign()*b.lines[y].mean())))
	}
	for i := range b.lines {
		if y := &b.lines[i]; !used[i] && parts[y.source] != ofCycle {
			all = append(all, y.component(y.mean()))
		}
	}
	return all
}

// sign says whether what is the same in both runs pulls both means to the same side. What is in
// proportion to a level pulls two levels on either side of 0 V apart.
func (r *Row) sign() float64 {
	if (r.Quantity == analyze.LowLevel || r.Quantity == analyze.HighLevel) && r.Now.Mean*r.Before.Mean < 0 {
		return -1
	}
	return 1
}

func (l *line) component(contribution float64) gum.Component {
	return gum.Component{Source: l.source, Distribution: l.distribution, Standard: contribution, Sensitivity: 1, DegreesOfFreedom: l.freedom}
}

// holm gives the rows their probabilities among all that were judged by them, and says which
// moved.
func holm(rows []*Row) {
	var judged []*Row
	for _, r := range rows {
		if !math.IsNaN(r.alone) {
			judged = append(judged, r)
		}
	}
	slices.SortStableFunc(judged, func(a, b *Row) int { return cmp.Compare(a.alone, b.alone) })
	least := 0.0
	for i, r := range judged {
		least = max(least, min(1, float64(len(judged)-i)*r.alone))
		r.Probability = least
		if least <= Familywise {
			r.Outcome = Moved
		}
	}
}
