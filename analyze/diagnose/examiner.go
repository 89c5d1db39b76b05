package diagnose

import (
	"makebreak/analyze"
	"makebreak/analyze/measure"
	"makebreak/rig/capture"
)

// Examiner measures a unit state by state and notes what is wrong with it.
type Examiner struct {
	*measure.Meter
	symptoms []analyze.Symptom
}

// NewExaminer returns an examiner for captures with the signals of c. Signals that the
// plan names and the capture does not have are an error; a nil or zero plan measures all
// and demands nothing.
func NewExaminer(plan *analyze.Plan, c *capture.Capture) (*Examiner, error) {
	m, err := measure.NewMeter(plan, c)
	if err != nil {
		return nil, err
	}
	return &Examiner{Meter: m}, nil
}

// State examines the state from an event to the next one (or the capture's end) and
// appends to the result that Take returns.
func (x *Examiner) State(c *capture.Capture, e capture.Event, to capture.Instant) {
	if seen := x.Meter.State(c, e, to); seen != nil {
		x.symptoms = append(x.symptoms, Symptoms(seen)...)
	}
}

// Take returns what has been measured and noted since the last call.
func (x *Examiner) Take() analyze.Result {
	r := analyze.Result{Measurements: x.Meter.Take(), Symptoms: x.symptoms}
	x.symptoms = nil
	return r
}

// Examine examines a whole capture that holds one cycle.
func Examine(plan *analyze.Plan, c *capture.Capture) (analyze.Result, error) {
	x, err := NewExaminer(plan, c)
	if err != nil {
		return analyze.Result{}, err
	}
	for i, e := range c.Events {
		to := c.End + 1
		if i+1 < len(c.Events) {
			to = c.Events[i+1].At
		}
		x.State(c, e, to)
	}
	return x.Take(), nil
}
