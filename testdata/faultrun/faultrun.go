// Package faultrun knows on which sequence a fault of the simulated bench can be shown, and how big
// it must be for that.
package faultrun

// Of returns a built-in sequence that can have a fault, and the fault as it shows within some cycles.
func Of(fault string) (sequence, text string) {
	switch fault {
	case "supply-reset":
		return "relay-supply", fault
	case "wrong-pulse":
		return "armed-pulse", fault
	case "creeping-operate", "wearing-bounce":
		return "armed-high", fault + "=2 s"
	case "sticking":
		return "armed-high", fault + "=8"
	}
	return "armed-high", fault
}
