package analyze

// Cycles are those of a run from First to Last, both included.
type Cycles struct{ First, Last int }

// CountCycles returns how many cycles lie in spans.
func CountCycles(spans []Cycles) int {
	n := 0
	for _, s := range spans {
		n += s.Last - s.First + 1
	}
	return n
}
