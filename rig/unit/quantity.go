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

// Hertz writes a frequency in hertz with three digits, as in 250 kHz or 1.5 GHz.
func Hertz(v float64) string {
	d := significant(max(v, 0), 3)
	for _, u := range []struct {
		power int
		unit  string
	}{{9, " GHz"}, {6, " MHz"}, {3, " kHz"}} {
		if d.point > u.power {
			return d.shifted(-u.power).text(0) + u.unit
		}
	}
	return d.text(0) + " Hz"
}
