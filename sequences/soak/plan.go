package soak

import (
	"encoding/json"
	"math"

	"makebreak/analyze/reliability"
)

// A Plan is a claim about the life of a kind of board, and tests that would show it.
type Plan struct {
	Claim reliability.Claim
	Tests []Test
}

// A Test is a number of boards that each make so many cycles.
type Test struct {
	Boards int     `json:"boards"`
	Each   float64 `json:"cycles_each"` // whole cycles
	All    float64 `json:"cycles_in_all"`
}

func testOf(boards int, each float64) Test {
	each = math.Ceil(each)
	return Test{boards, each, each * float64(boards)}
}

// PlanFor plans a claim. With boards or each given (above 0) there is one test, for so many
// boards or so many cycles; else there are some to choose from.
func PlanFor(claim reliability.Claim, boards int, each float64) (*Plan, error) {
	p := &Plan{Claim: claim}
	add := func(boards int, each float64) { p.Tests = append(p.Tests, testOf(boards, each)) }
	if each > 0 {
		n, err := claim.Boards(each)
		add(n, each)
		return p, err
	}
	if boards > 0 {
		each, err := claim.CyclesEach(boards)
		add(boards, each)
		return p, err
	}
	once, err := claim.Boards(claim.Cycles)
	if err != nil {
		return nil, err
	}
	add(once, claim.Cycles)
	for _, n := range []int{50, 20, 10, 5, 3, 2, 1} {
		if n < once && n > claim.Allowed {
			each, err := claim.CyclesEach(n)
			if err != nil {
				return nil, err
			}
			add(n, each)
		}
	}
	return p, nil
}

// MarshalJSON writes the plan as the command line documents it.
func (p *Plan) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		B10        float64 `json:"b10_cycles"`
		Confidence float64 `json:"confidence"`
		Shape      float64 `json:"shape"`
		Failures   int     `json:"failures"`
		Tests      []Test  `json:"tests"`
	}{p.Claim.Cycles, p.Claim.Confidence, p.Claim.Shape, p.Claim.Allowed, p.Tests})
}
