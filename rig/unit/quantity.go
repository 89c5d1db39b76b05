package unit

import "time"

// The quantities that are measured or calculated, each in its base unit. Printed with %v
// they carry the unit.
type (
	Volts          float64
	Seconds        float64
	Ohms           float64
	Amps           float64
	Watts          float64
	Henries        float64
	VoltsPerSecond float64
)

// String writes the voltage as Voltage.Format does.
func (v Volts) String() string { return Voltage.Format(float64(v)) }

// String writes the time as Time.Format does.
func (s Seconds) String() string { return Time.Format(float64(s)) }

// String writes the resistance as Resistance.Format does.
func (r Ohms) String() string { return Resistance.Format(float64(r)) }

// String writes the current as Current.Format does.
func (a Amps) String() string { return Current.Format(float64(a)) }

// String writes the power as Power.Format does.
func (w Watts) String() string { return Power.Format(float64(w)) }

// String writes the inductance as Inductance.Format does.
func (h Henries) String() string { return Inductance.Format(float64(h)) }

// String writes the slope as Slope.Format does.
func (v VoltsPerSecond) String() string { return Slope.Format(float64(v)) }

// Duration returns the time as the clock's type, rounded toward zero to a nanosecond.
func (s Seconds) Duration() time.Duration { return time.Duration(float64(s) * 1e9) }

// SecondsOf returns a clock's time as a measured one.
func SecondsOf(d time.Duration) Seconds { return Seconds(d.Seconds()) }
