package analyze

// Bound says which way the true value may lie from a figure's value.
type Bound int

// The bounds. NoBound is a plain value with its uncertainty.
const (
	NoBound    Bound = iota
	UpperBound       // the true value is no higher
	LowerBound       // the true value is no lower
)

// String returns "upper" or "lower", as machines read it; NoBound is empty.
func (b Bound) String() string { return [...]string{"", "upper", "lower"}[b] }

// Sign returns what stands before the value: "≤ " or "≥ "; NoBound has none.
func (b Bound) Sign() string { return [...]string{"", "≤ ", "≥ "}[b] }

// Bound reports of what the value is only a bound. It then has no uncertainty.
func (m *Measurement) Bound() Bound {
	for i := range m.Doubts {
		switch m.Doubts[i].Code {
		case AtMost:
			return UpperBound
		case AtLeast:
			return LowerBound
		}
	}
	return NoBound
}

// Followed reports whether the value says by itself how large the quantity is, so that it can
// be set beside those of other cycles. A bound does not, since how far it is from the true
// value differs from cycle to cycle; but a transition's goes by the sampling alone.
func (m *Measurement) Followed() bool {
	return m.Bound() == NoBound || m.Quantity == TransitionDuration
}
