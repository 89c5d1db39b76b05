package circuit

import "makebreak/rig/unit"

// Danger is what hurts somebody or breaks something at a bench: a figure beyond what is
// safe, at a place. Whoever tells it makes the sentence.
type Danger struct {
	Code  DangerCode
	Place string  // a point, a part or an output, by its name
	Value float64 // base unit of the code's quantity
	Limit float64 // base unit of the code's quantity; 0: none at all is safe
}

// DangerCode says what kind of danger it is.
type DangerCode string

// The dangers.
const (
	// LiveOhms is a meter that puts a test current of its own where a voltage stands.
	LiveOhms DangerCode = "live-ohms"
	// HighSupply is a supply above what the unit on it takes.
	HighSupply DangerCode = "high-supply"
	// Burns is a resistor that has to turn more power into heat than it is made for.
	Burns DangerCode = "burns"
	// Shorted is a current through an output above what it is made for.
	Shorted DangerCode = "shorted"
)

// Kind is the quantity of the danger's figures.
func (c DangerCode) Kind() unit.Kind {
	switch c {
	case LiveOhms, HighSupply:
		return unit.Voltage
	case Burns:
		return unit.Power
	case Shorted:
		return unit.Current
	}
	return unit.Number
}
