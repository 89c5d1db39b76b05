package analyze

// Result is what was measured and seen in one or more states.
type Result struct {
	Measurements []Measurement
	Symptoms     []Symptom
}

// Verdict is the gravest verdict of all measurements and symptoms, NoVerdict where
// nothing was demanded.
func (r *Result) Verdict() Verdict {
	v := NoVerdict
	for i := range r.Measurements {
		v = v.Worse(r.Measurements[i].Verdict)
	}
	for _, s := range r.Symptoms {
		v = v.Worse(s.Kind.Verdict())
	}
	return v
}
