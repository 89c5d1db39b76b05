// Package unit reads and writes quantities that carry their unit, as in
// "12 V", "500 ms", "1.2 kohm" or "10 %". A bare number is refused: on a bench
// that mixes volts, millivolts and milliseconds it is a mistake waiting.
//
// All values are in base units: volts, seconds, ohms, and shares of one for
// percentages.
package unit

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Kind is a kind of quantity.
type Kind struct {
	Name    string // as in "a voltage"
	Base    string // its base unit as printed
	Example string // how a value may be written
	units   []scaled
}

type scaled struct {
	word  string
	scale float64
}

// The kinds in use. Units are matched exactly: "mV" and "MV" differ.
var (
	Voltage    = Kind{"a voltage", "V", "12 V or 350 mV", []scaled{{"V", 1}, {"mV", 1e-3}, {"uV", 1e-6}, {"µV", 1e-6}}}
	Time       = Kind{"a time", "s", "500 ms or 3 s", []scaled{{"s", 1}, {"ms", 1e-3}, {"us", 1e-6}, {"µs", 1e-6}, {"ns", 1e-9}, {"min", 60}, {"h", 3600}}}
	Resistance = Kind{"a resistance", "ohm", "4.7 kohm or 390 ohm", []scaled{{"ohm", 1}, {"kohm", 1e3}, {"Mohm", 1e6}, {"Ω", 1}, {"kΩ", 1e3}, {"MΩ", 1e6}}}
	Share      = Kind{"a share", "%", "5 % or 0.1 %", []scaled{{"%", 1e-2}, {"ppm", 1e-6}}}
	Current    = Kind{"a current", "A", "10 mA or 0.5 A", []scaled{{"A", 1}, {"mA", 1e-3}, {"uA", 1e-6}, {"µA", 1e-6}}}
	Power      = Kind{"a power", "W", "250 mW or 1 W", []scaled{{"W", 1}, {"mW", 1e-3}, {"uW", 1e-6}, {"µW", 1e-6}}}
	Inductance = Kind{"an inductance", "H", "520 mH or 1.2 H", []scaled{{"H", 1}, {"mH", 1e-3}, {"uH", 1e-6}, {"µH", 1e-6}}}
	Frequency  = Kind{"a rate", "/s", "860 /s or 400 kHz", []scaled{{"/s", 1}, {"Hz", 1}, {"kHz", 1e3}}}
)

// Parse reads a quantity of the kind, "12 V" or "12V". The error says what was
// read and what may stand there.
func (k Kind) Parse(s string) (float64, error) {
	text := strings.TrimSpace(s)
	number, word := split(text)
	word = alike.Replace(word)
	if number == "" {
		return 0, k.refuse(s, "it has no number")
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, k.refuse(s, "the number cannot be read")
	}
	if word == "" {
		return 0, k.refuse(s, "it has no unit")
	}
	for _, u := range k.units {
		if u.word == word {
			return exact(v, u.scale, number), nil
		}
	}
	return 0, k.refuse(s, fmt.Sprintf("%q is not a unit of it", word))
}

// alike turns spellings of a unit into those of the kinds: two signs of Unicode are each
// other's likeness, and ohm is written with either letter.
var alike = strings.NewReplacer("\u2126", "Ω", "\u03bc", "µ", "Ohm", "ohm")

// exact scales by a power of ten through the decimal text, so that "350 mV" is
// the float64 nearest to 0.35 and not a product that is off by one bit.
func exact(v, scale float64, number string) float64 {
	e := math.Round(math.Log10(scale))
	if math.Abs(math.Pow(10, e)-scale) > scale*1e-9 || strings.ContainsAny(number, "eExXpP_") {
		return v * scale
	}
	w, err := strconv.ParseFloat(number+"e"+strconv.Itoa(int(e)), 64)
	if err != nil {
		return v * scale
	}
	return w
}

func (k Kind) refuse(s, why string) error {
	words := make([]string, len(k.units))
	for i, u := range k.units {
		words[i] = u.word
	}
	return fmt.Errorf("%q is not %s: %s; write it as in %s (units: %s)",
		s, k.Name, why, k.Example, strings.Join(words, ", "))
}

// split cuts "1.2 kohm" into "1.2" and "kohm".
func split(s string) (number, word string) {
	i := 0
	for i < len(s) {
		c := s[i]
		digit := c >= '0' && c <= '9' || c == '.'
		sign := (c == '+' || c == '-') && (i == 0 || s[i-1] == 'e' || s[i-1] == 'E')
		exponent := (c == 'e' || c == 'E') && i > 0 && i+1 < len(s) &&
			(s[i+1] == '-' || s[i+1] == '+' || s[i+1] >= '0' && s[i+1] <= '9')
		if !digit && !sign && !exponent {
			break
		}
		i++
	}
	return s[:i], strings.TrimSpace(s[i:])
}

// Format writes a value of the kind with a fitting prefix and up to six
// significant digits, in a form that Parse reads back.
func (k Kind) Format(v float64) string {
	best := k.units[0]
	for _, u := range k.units {
		if strings.ContainsAny(u.word, "µΩ") || u.word == "min" || u.word == "h" || u.word == "ppm" || u.word == "Hz" {
			continue
		}
		a := math.Abs(v) / u.scale
		b := math.Abs(v) / best.scale
		if a >= 1 && a < 1000 && (b < 1 || b >= 1000) {
			best = u
		}
	}
	return strconv.FormatFloat(round6(v/best.scale), 'f', -1, 64) + " " + best.word
}

func round6(v float64) float64 {
	w, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 6, 64), 64)
	if err != nil {
		return v
	}
	return w
}
