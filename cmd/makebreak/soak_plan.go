package main

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"makebreak/analyze/reliability"
	"makebreak/rig/problem"
	"makebreak/sequences/soak"
)

// percent is a share as it is typed: 90% or 0.9.
type percent float64

func (p *percent) Set(text string) error {
	number, isPercent := strings.CutSuffix(strings.TrimSpace(text), "%")
	x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if isPercent {
		x /= 100
	}
	if err == nil && !(x > 0 && x < 1) {
		err = errors.New("out of range")
	}
	if err != nil {
		return err
	}
	*p = percent(x)
	return nil
}

func (p *percent) String() string {
	return strconv.FormatFloat(100*float64(*p), 'g', -1, 64) + "%"
}

func (p *percent) Type() string { return "share" }

func (p *percent) rule() string { return "must be between 0 and 100 %, for example 90%" }

// planOpts are the flags of soak plan.
type planOpts struct {
	b10, each  float64
	confidence percent
	shape      float64
	boards     int
	allowed    int
}

func (a *app) soakPlanCommand() *cobra.Command {
	o := planOpts{confidence: 0.9}
	c := &cobra.Command{
		Use:   "plan",
		Short: "Say how many boards and cycles a claim about the life needs",
		Long: `Say how many boards, each run for how many cycles, show that at least 90 % live
for so many cycles (a B10), at a confidence level, with so many allowed to fail. The
shape of the lives is needed for boards that run longer or shorter than the claim:
1 where failures come at a constant rate, above 1 where they wear.`,
		Example: `  makebreak soak plan --b10 100000 --confidence 90%
  makebreak soak plan --b10 100000 --confidence 90% --boards 5 --shape 2`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := o.check(c); err != nil {
				return problem.Of(problem.Usage, err)
			}
			plan, err := soak.PlanFor(o.claim(), o.boards, o.each)
			if err != nil {
				return problem.Of(problem.Usage, err)
			}
			return a.print(a.chosen(writers{"text": plan.Text, "csv": plan.CSV, "json": asJSON(plan)}))
		},
	}
	a.forms(c, "text", "csv", "json")
	f := c.Flags()
	f.Float64Var(&o.b10, "b10", 0, "`cycles` that at least 90 % of all boards are to live")
	f.Var(&o.confidence, "confidence", "confidence level, a `share` as in 90%")
	f.Float64Var(&o.shape, "shape", 1, "Weibull shape of the lives, a `number`")
	f.IntVar(&o.boards, "boards", 0, "`number` of boards at hand (default: a table for several)")
	f.Float64Var(&o.each, "cycles", 0, "`number` of cycles that each board is run (default: a table)")
	f.IntVar(&o.allowed, "failures", 0, "`number` of boards that may fail")
	return c
}

// planMost is the most cycles that a plan may have to do with: more than any board makes.
const planMost = 1e12

func (o *planOpts) check(c *cobra.Command) error {
	given := c.Flags().Changed
	cycles := func(x float64) bool { return x >= 1 && x <= planMost && x == math.Trunc(x) }
	const cyclesRule = "must be a whole number of cycles from 1 to %.0f"
	switch {
	case !given("b10"):
		return errors.New("soak plan needs --b10, as in --b10 100000")
	case !cycles(o.b10):
		return fmt.Errorf("--b10 %g: "+cyclesRule, o.b10, planMost)
	case given("boards") && given("cycles"):
		return errors.New("use either --boards or --cycles: each follows from the other")
	case given("cycles") && !cycles(o.each):
		return fmt.Errorf("--cycles %g: "+cyclesRule, o.each, planMost)
	case !(o.shape >= 0.1 && o.shape <= 100):
		return fmt.Errorf("--shape %g: must be from 0.1 to 100", o.shape)
	case o.allowed < 0 || o.allowed > 1000:
		return fmt.Errorf("--failures %d: must be a whole number from 0 to 1000", o.allowed)
	case given("boards") && (o.boards <= o.allowed || o.boards > 1_000_000):
		return fmt.Errorf("--boards %d: must be a whole number from %d (one more than may fail) to 1000000", o.boards, o.allowed+1)
	}
	return nil
}

// claim is what is to be shown.
func (o *planOpts) claim() reliability.Claim {
	return reliability.Claim{Share: 0.1, Cycles: o.b10, Shape: o.shape, Confidence: float64(o.confidence), Allowed: o.allowed}
}
