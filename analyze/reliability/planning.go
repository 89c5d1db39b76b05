package reliability

import (
	"fmt"
	"math"
)

// SampleSize returns how many boards must be tested, each for one life of the claim, to
// show that the share given lives. At most so many as allowed may fail. It is the smallest
// n for which that few failures have at most the probability 1-confidence. With none
// allowed it is ln(1-confidence)/ln(share), rounded up.
func SampleSize(share, confidence float64, allowed int) (int, error) {
	err := checkConfidence(confidence)
	if err == nil && !(share > 0 && share < 1) {
		err = fmt.Errorf("a share of %g: it must lie between 0 and 1", share)
	}
	if err == nil && (allowed < 0 || allowed > maxAllowed) {
		err = fmt.Errorf("%d failures allowed: it must be 0 to %d", allowed, maxAllowed)
	}
	if err != nil {
		return 0, fmt.Errorf("sample size: %w", err)
	}
	enough := func(n int) bool { return mustLive(n, confidence, allowed) >= share }
	lo, hi := allowed, allowed+1
	for !enough(hi) {
		if hi > maxBoards {
			return 0, fmt.Errorf("sample size: more than %d boards for a share of %g", maxBoards, share)
		}
		lo, hi = hi, 2*hi
	}
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; enough(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi, nil
}

const (
	maxAllowed = 1000
	maxBoards  = 1 << 28
)

// mustLive is the share of lives that n boards with so many failures show at the
// confidence: the lower Clopper-Pearson bound.
func mustLive(n int, confidence float64, failures int) float64 {
	alpha := 1 - confidence
	if failures == 0 {
		// 1e-12 of slack keeps a share that is met exactly from needing one board more.
		return math.Exp(math.Log(alpha)/float64(n)) * (1 + 1e-12)
	}
	return betaQuantile(float64(n-failures), float64(failures+1), alpha)
}

// Claim is "at least (1-Share) of all boards live for Cycles", Share 0.1 for a B10,
// to be shown at a confidence for lives of a known shape.
type Claim struct {
	Share      float64 // of the boards, 0 to 1
	Cycles     float64 // of one board
	Shape      float64 // Weibull's, a plain number
	Confidence float64 // share, 0 to 1
	Allowed    int     // boards that may fail in the test
}

func (c Claim) check() error {
	err := checkConfidence(c.Confidence)
	if err == nil {
		err = positive("cycles", c.Cycles)
	}
	if err == nil {
		err = positive("a shape", c.Shape)
	}
	if err == nil && !(c.Share > 0 && c.Share < 1) {
		err = fmt.Errorf("a share of %g: it must lie between 0 and 1", c.Share)
	}
	if err == nil && (c.Allowed < 0 || c.Allowed > maxAllowed) {
		err = fmt.Errorf("%d failures allowed: it must be 0 to %d", c.Allowed, maxAllowed)
	}
	return err
}

// Boards is how many boards must run for so many cycles each. Running k times the
// claimed cycles counts as k^Shape lives of the claim.
func (c Claim) Boards(cyclesEach float64) (int, error) {
	err := c.check()
	if err == nil {
		err = positive("cycles of each board", cyclesEach)
	}
	if err != nil {
		return 0, fmt.Errorf("plan: %w", err)
	}
	lives := math.Exp(math.Log1p(-c.Share) * math.Pow(cyclesEach/c.Cycles, c.Shape))
	if lives == 0 { // so long a test that a good board could not come through either
		lives = math.SmallestNonzeroFloat64
	}
	if lives == 1 {
		return 0, fmt.Errorf("plan: %g for the cycles of each board is too few to show anything about %g", cyclesEach, c.Cycles)
	}
	return SampleSize(lives, c.Confidence, c.Allowed)
}

// CyclesEach is how many cycles each of so many boards must run.
func (c Claim) CyclesEach(boards int) (float64, error) {
	err := c.check()
	if err == nil && (boards <= c.Allowed || boards > maxBoards) {
		err = fmt.Errorf("%d boards with %d allowed to fail: it must be more, and at most %d", boards, c.Allowed, maxBoards)
	}
	if err != nil {
		return 0, fmt.Errorf("plan: %w", err)
	}
	lives := mustLive(boards, c.Confidence, c.Allowed)
	return c.Cycles * math.Pow(math.Log(lives)/math.Log1p(-c.Share), 1/c.Shape), nil
}
