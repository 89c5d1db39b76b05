package analyze

import "slices"

// Verdict is the outcome of judging.
type Verdict string

// The verdicts. An empty verdict means that nothing was demanded. Incomplete is a run's
// alone, or a cycle's: figures never have it.
const (
	NoVerdict  Verdict = ""
	Pass       Verdict = "pass"
	Fail       Verdict = "fail"
	Undecided  Verdict = "undecided"
	Incomplete Verdict = "incomplete"
)

// Verdicts are those that a figure can have, the graver the later. The log stores a
// verdict as its place among them.
var Verdicts = [...]Verdict{NoVerdict, Pass, Undecided, Fail}

// Gravity returns a figure's verdict's place among Verdicts: 3 for fail, 2 for undecided,
// 1 for pass, and 0 for all else.
func (v Verdict) Gravity() int { return max(0, slices.Index(Verdicts[:], v)) }

// Worse returns the graver of both: fail before undecided before incomplete before pass
// before none.
func (v Verdict) Worse(w Verdict) Verdict {
	switch beyond := Undecided.Gravity(); {
	case v == Incomplete && w.Gravity() < beyond, w == Incomplete && v.Gravity() >= beyond:
		return v
	case w == Incomplete, w.Gravity() > v.Gravity():
		return w
	}
	return v
}

// RunVerdict returns the verdict of a run, or of a cycle, from the gravest of its figures
// and findings. A failure stands, complete or not; else what did not come to its end is
// Incomplete, as the part that is not done might have failed.
func RunVerdict(complete bool, gravest Verdict) Verdict {
	if complete || gravest == Fail {
		return gravest
	}
	return Incomplete
}

// Name returns the verdict as a word that can stand alone: "none" for NoVerdict.
func (v Verdict) Name() string {
	if v == NoVerdict {
		return "none"
	}
	return string(v)
}

// Mark stands beside a verdict's word on pages, so that nothing hangs on colour.
func (v Verdict) Mark() string {
	switch v {
	case Pass:
		return "✓"
	case Fail:
		return "✗"
	case Undecided:
		return "?"
	}
	return "–"
}
