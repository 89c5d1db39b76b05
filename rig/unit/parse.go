package unit

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// Error is a text that is no quantity of the kind that was asked for.
type Error struct {
	Read   string // the text
	Why    string // what is wrong with it, to be read after the text: "has no unit"
	Remedy string // what to do: "write 3 s or 500 ms"
}

// Error returns the sentence: "3" has no unit: write 3 s or 500 ms.
func (e *Error) Error() string { return fmt.Sprintf("%q %s: %s", e.Read, e.Why, e.Remedy) }

// Problem returns problem.Input.
func (e *Error) Problem() problem.Kind { return problem.Input }

// Parse reads a quantity of the kind in base units, "12 V" or "12V". A resistance and a
// voltage may also be written as on components: "4k7", "R47", "3V3". The error is an
// *Error.
func (k Kind) Parse(s string) (float64, error) {
	text := strings.TrimSpace(s)
	if v, ok := k.marking(text); ok {
		return v, nil
	}
	number, unit := split(text)
	unit = spellings.Replace(unit)
	if err := k.comma(s, text); err != nil {
		return 0, err
	}
	if number == "" {
		return 0, &Error{s, "is not " + k.Name, "write " + k.Example}
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, &Error{s, "has no number that can be read", "write " + k.Example}
	}
	if unit == "" {
		return 0, &Error{s, "has no unit", "write " + k.withUnit(number)}
	}
	for _, u := range k.units {
		if u.text == unit {
			return u.value(v, number), nil
		}
	}
	return 0, &Error{s, fmt.Sprintf("is not %s: %q is not a unit of it", k.Name, unit), "use one of: " + words.List(k.unitWords())}
}

// withUnit shows how a bare number would be written: with the base unit, or as that of the
// kind's examples which has another one.
func (k Kind) withUnit(number string) string {
	own := number + " " + k.Base
	for example := range strings.SplitSeq(k.Example, " or ") {
		if _, unit := split(example); unit != k.Base {
			return own + " or " + example
		}
	}
	return own
}

// unitWords are the words to choose from: those that are written, and others that are no
// second spelling of them.
func (k Kind) unitWords() (all []string) {
	for _, u := range k.units {
		if u.shown || u.times != 0 || u.text == "ppm" || u.text == "Hz" {
			all = append(all, u.text)
		}
	}
	return all
}

// comma refuses a decimal comma by name.
func (k Kind) comma(read, text string) error {
	before, after, found := strings.Cut(text, ",")
	if !found || before == "" || !digit(before[len(before)-1]) || after == "" || !digit(after[0]) {
		return nil
	}
	if strings.ContainsAny(before, ".,") || strings.ContainsAny(after, ".,") {
		return &Error{read, "has a comma", "write the number without one, as in " + k.Example}
	}
	number, unit := split(before + "." + after)
	if unit == "" {
		return &Error{read, "has a decimal comma and no unit", "write " + k.withUnit(number)}
	}
	return &Error{read, "has a decimal comma", "write " + number + " " + unit}
}

func digit(c byte) bool { return c >= '0' && c <= '9' }

// marking reads a value as it is printed on components: the letter stands for the decimal
// point and for the multiple. Resistances follow IEC 60062 (R, K, M; k for K is common
// practice, no source); 3V3 for a voltage is common practice, no source.
func (k Kind) marking(text string) (float64, bool) {
	at := strings.IndexAny(text, k.letters)
	if k.letters == "" || at < 0 || at == len(text)-1 {
		return 0, false // 10k is a number with a unit word
	}
	before, letter, after := text[:at], text[at], text[at+1:]
	if before == "" && letter != 'R' { // R47 is usual, others do not lead
		return 0, false
	}
	for _, part := range []string{before, after} {
		if strings.Trim(part, "0123456789") != "" {
			return 0, false
		}
	}
	power := map[byte]int{'k': 3, 'K': 3, 'M': 6}[letter]
	v, err := strconv.ParseFloat("0"+before+"."+after+"e"+strconv.Itoa(power), 64)
	return v, err == nil
}

// spellings turns spellings of a unit into those of the kinds: two signs of Unicode are each
// other's likeness, and ohm is written with either letter.
var spellings = strings.NewReplacer("\u2126", "Ω", "\u03bc", "µ", "Ohm", "ohm")

// value returns the number of base units. A power of ten goes through the decimal text, so
// that "350 mV" is the float64 nearest to 0.35 and not a product that is off by one bit.
func (u word) value(v float64, number string) float64 {
	if u.times != 0 {
		return v * u.times
	}
	if !strings.ContainsAny(number, "eE") {
		if w, err := strconv.ParseFloat(number+"e"+strconv.Itoa(u.power), 64); err == nil {
			return w
		}
	}
	return v * math.Pow10(u.power)
}

// split cuts "1.2 kohm" into "1.2" and "kohm".
func split(s string) (number, unit string) {
	i := 0
	for i < len(s) {
		c := s[i]
		sign := (c == '+' || c == '-') && (i == 0 || s[i-1] == 'e' || s[i-1] == 'E')
		exponent := (c == 'e' || c == 'E') && i > 0 && i+1 < len(s) &&
			(s[i+1] == '-' || s[i+1] == '+' || digit(s[i+1]))
		if !digit(c) && c != '.' && !sign && !exponent {
			break
		}
		i++
	}
	return s[:i], strings.TrimSpace(s[i:])
}
