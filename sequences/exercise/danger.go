package exercise

import (
	"fmt"

	"makebreak/rig/circuit"
)

// Danger is something done that would hurt somebody or break something at a real bench.
type Danger struct {
	Code  string `json:"code"`
	Words string `json:"words"`
}

// cautionsUnread is the code of an event that was brought about before the job card was read.
const cautionsUnread = "cautions-unread"

// unread says what is wrong with that.
func unread() Danger {
	return Danger{cautionsUnread, "The drives acted before the cautions on the job card were read: sirens sound, and relays switch what hangs on them. Read the card first."}
}

// toldOf says what is dangerous, in words for the trainee.
func toldOf(d circuit.Danger) Danger {
	value, limit := d.Code.Kind().Short(d.Value, 3), d.Code.Kind().Short(d.Limit, 3)
	says := fmt.Sprintf("%s at %s is dangerous.", value, d.Place)
	switch d.Code {
	case circuit.LiveOhms:
		says = fmt.Sprintf("The meter was set to send a current of its own, and %s stood at %s. That can break the meter, and what it shows is wrong. Switch the supply off first.", value, d.Place)
	case circuit.HighSupply:
		says = fmt.Sprintf("%s is above the %s that %s takes: it would be destroyed.", value, limit, d.Place)
	case circuit.Burns:
		says = fmt.Sprintf("The resistor across %s would turn %s into heat and is made for %s: it would burn.", d.Place, value, limit)
	case circuit.Shorted:
		says = fmt.Sprintf("%s would flow through %s, which is made for %s.", value, d.Place, limit)
	}
	return Danger{string(d.Code), says}
}
