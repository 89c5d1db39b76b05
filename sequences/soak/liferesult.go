package soak

import (
	"encoding/json"
	"errors"
	"fmt"

	"makebreak/analyze/reliability"
	"makebreak/analyze/report"
	"makebreak/rig/words"
)

// LifeResult is what boards show about their life.
type LifeResult struct {
	Confidence float64 // of all bounds, as a share
	Units      []reliability.Unit
	Failures   int                     // how many boards have failed
	Mean       reliability.Exponential // where failures come at a constant rate
	Fit        *reliability.Weibull    // nil: nothing to fit
	NoFit      string                  // why not
	B10        reliability.Estimate    // cycles; of the fit
	Points     []reliability.Point     // of a probability plot
	Known      *reliability.Weibayes   // by the shape from experience; nil: none is given
	Doubts     []string                // what to keep in mind
	Simulated  string                  // which boards are simulated; empty: none
}

// Judge says what the boards show, with bounds at a confidence (a share) and, above 0, a
// Weibull shape from experience.
func (t *LifeTest) Judge(confidence, shape float64) (*LifeResult, error) {
	units := t.units
	r := &LifeResult{Confidence: confidence, Units: units}
	if t.simulated > 0 {
		r.Simulated = fmt.Sprintf("simulated: %s of %d; nothing real was measured of them", words.Count(t.simulated, "board"), len(units))
		r.Doubts = append(r.Doubts, r.Simulated)
	}
	r.Doubts = append(r.Doubts, t.doubts...)
	for _, u := range units {
		if u.Failed {
			r.Failures++
		}
	}
	var err error
	if r.Mean, err = reliability.ExponentialOfUnits(units, confidence); err != nil {
		return nil, err
	}
	r.Doubts = append(r.Doubts, r.Mean.Doubts...)
	switch w, err := reliability.FitWeibull(units, confidence); {
	case errors.Is(err, reliability.ErrNoFailures):
		r.NoFit = "no board has failed: no Weibull distribution can be fitted"
	case errors.Is(err, reliability.ErrNoSpread):
		r.NoFit = "no board failed before the longest count of cycles of all: no Weibull distribution can be fitted"
	case err != nil:
		return nil, err
	default:
		r.Fit = &w
		r.Doubts = append(r.Doubts, w.Doubts...)
		if r.B10, err = w.Life(0.1); err != nil {
			return nil, err
		}
	}
	if r.Points, err = reliability.Points(units); err != nil {
		return nil, err
	}
	if shape > 0 {
		k, err := reliability.WeibayesOf(units, shape, confidence)
		if err != nil {
			return nil, err
		}
		r.Known = &k
		r.Doubts = append(r.Doubts, k.Doubts...)
	}
	r.Doubts = distinct(r.Doubts)
	return r, nil
}

func distinct(all []string) []string {
	var out []string
	seen := map[string]bool{}
	for _, s := range all {
		if !seen[s] {
			out = append(out, s)
		}
		seen[s] = true
	}
	return out
}

// KnownB10 returns the B10 that may be used, in cycles: what the boards show by a shape from
// experience, or the fit's lower bound.
func (r *LifeResult) KnownB10() (b10 float64, what string) {
	switch {
	case r.Known != nil:
		return r.Known.B10AtLeast, "the B10 with the shape from experience"
	case r.Fit != nil:
		return r.B10.Likelihood.Lower, "the lower bound of the B10"
	}
	return 0, ""
}

// lifeObject is the JSON form.
type lifeObject struct {
	Confidence float64      `json:"confidence"` // share of 1
	Boards     []boardLife  `json:"boards"`
	Failures   int          `json:"failures"`
	MeanCycles *float64     `json:"mean_cycles_between_failures"`
	MeanAtLest *float64     `json:"mean_at_least"`
	Shape      *estimateOut `json:"shape"`
	Scale      *estimateOut `json:"scale"`
	B10        *estimateOut `json:"b10"`
	B10AtLeast *float64     `json:"b10_at_least"`
	Points     []pointOut   `json:"points"`
	Doubts     []string     `json:"doubts"`
}

type boardLife struct {
	Board  string  `json:"board"`
	Cycles float64 `json:"cycles"`
	Failed bool    `json:"failed"`
}

// estimateOut is an estimate with its bounds: in cycles, or a plain number for the shape.
type estimateOut struct {
	Value float64 `json:"value"`
	Lower float64 `json:"lower"`
	Upper float64 `json:"upper"`
}

// pointOut is a point of Weibull paper: cycles against the share failed, and both again on the
// paper's scales, as plain numbers.
type pointOut struct {
	Cycles float64 `json:"cycles"`
	Failed float64 `json:"share_failed"`
	X      float64 `json:"x"`
	Y      float64 `json:"y"`
}

// MarshalJSON writes the result as the command line documents it.
func (r *LifeResult) MarshalJSON() ([]byte, error) {
	o := lifeObject{Confidence: float64(r.Confidence), Failures: r.Failures, MeanCycles: report.FiniteOrNil(r.Mean.Value), MeanAtLest: report.FiniteOrNil(r.Mean.AtLeast),
		Points: []pointOut{}, Doubts: append([]string{}, r.Doubts...)}
	for _, u := range r.Units {
		o.Boards = append(o.Boards, boardLife{u.Name, u.Cycles, u.Failed})
	}
	if r.Fit != nil {
		out := func(e reliability.Estimate) *estimateOut {
			return &estimateOut{e.Value, e.Likelihood.Lower, e.Likelihood.Upper}
		}
		o.Shape, o.Scale, o.B10 = out(r.Fit.Shape), out(r.Fit.Scale), out(r.B10)
	}
	if r.Known != nil {
		o.B10AtLeast = report.FiniteOrNil(r.Known.B10AtLeast)
	}
	for _, p := range r.Points {
		o.Points = append(o.Points, pointOut{p.Cycles, p.Failed, p.X, p.Y})
	}
	return json.Marshal(o)
}
