package unit

import "time"

// The quantities that are measured or calculated, each in its base unit. Printed with %v
// they carry the unit.
type (
	Volts   float64
	Seconds float64
)

// String writes the voltage as Voltage.Format does.
func (v Volts) String() string { return Voltage.Format(float64(v)) }

// String writes the time as Time.Format does.
func (s Seconds) String() string { return Time.Format(float64(s)) }

// Duration returns the time as the clock's type, rounded toward zero to a nanosecond.
func (s Seconds) Duration() time.Duration { return time.Duration(float64(s) * 1e9) }
