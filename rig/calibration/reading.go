package calibration

import (
	"fmt"
	"math"
	"strings"

	"makebreak/rig/unit"
)

// Reading is what a meter showed.
type Reading struct {
	Text  string  // as it was typed, with its unit
	Volts float64 // volts that it says
	Digit float64 // volts of one unit of its last digit
}

// ParseReading reads what a meter shows, with its unit: "13.47 V" or "651.2 mV". The
// last digit typed says how finely the meter resolves, so zeros at the end count.
func ParseReading(s string) (Reading, error) {
	text := strings.TrimSpace(s)
	v, err := unit.Voltage.Parse(text)
	if err != nil {
		return Reading{}, fmt.Errorf("%w; type all digits that the meter shows, as in 13.40 V", err)
	}
	number, word := cut(text)
	if number == "" || strings.Trim(number[1:], "0123456789.") != "" || len(text) > 40 {
		return Reading{}, fmt.Errorf("%q is not what a meter shows: type digits, a dot and a unit, as in 13.40 V", s)
	}
	_, decimals, _ := strings.Cut(number, ".")
	one, err := unit.Voltage.Parse(fmt.Sprintf("1e-%d %s", len(decimals), word))
	if err != nil {
		return Reading{}, fmt.Errorf("%q: %w", s, err)
	}
	if math.Abs(v) > mostVolts {
		return Reading{}, fmt.Errorf("%q is beyond any output: it must be at most %s", s, unit.Voltage.Format(mostVolts))
	}
	return Reading{Text: text, Volts: v, Digit: one}, nil
}

// mostVolts is the highest voltage that a rig file knows for an output.
const mostVolts = 1000.0

// cut cuts "13.47 V" into its number and its unit.
func cut(s string) (number, word string) {
	i := strings.LastIndexAny(s, "0123456789.") + 1
	return s[:i], strings.TrimSpace(s[i:])
}
