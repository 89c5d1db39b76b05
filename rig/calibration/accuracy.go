package calibration

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Accuracy is what a meter's manual promises: the true voltage lies within Share of
// what it shows, plus Digits of its last digit, plus Volts.
type Accuracy struct {
	Text   string  // as it was typed
	Share  float64 // of the reading, a share of one
	Digits float64 // units of the last digit shown
	Volts  float64 // volts, whatever the reading
}

// What counts as an accuracy: worse than this is a slip of the pen.
const (
	worstShare  = 0.05
	worstDigits = 100
	worstVolts  = 1
)

const accuracyRule = "must be an accuracy as the manual writes it, as in 0.5 % + 2 digits or ±(0.05 % rdg + 12 mV)"

// accuracyError is an accuracy that cannot be read.
type accuracyError struct {
	read string
	why  error
}

func (e *accuracyError) Error() string {
	return fmt.Sprintf("%q: %v; %s", e.read, e.why, accuracyRule)
}

func (e *accuracyError) Unwrap() error { return e.why }

// ParseAccuracy reads an accuracy as manuals write it: shares of the reading in % or
// ppm, digits (also dgt, counts, LSD) and volts, joined by +. A share of the range is
// refused, since the range is not known: its volts must be given.
func ParseAccuracy(s string) (Accuracy, error) {
	a := Accuracy{Text: strings.Join(strings.Fields(s), " ")}
	refuse := func(why error) (Accuracy, error) {
		return Accuracy{}, &accuracyError{s, why}
	}
	if len(s) > 80 {
		return refuse(errors.New("it is too long"))
	}
	text, err := withoutMarks(strings.ToLower(a.Text))
	if err != nil {
		return refuse(err)
	}
	for term := range strings.SplitSeq(text, "+") {
		if err := a.add(strings.TrimSpace(term)); err != nil {
			return refuse(err)
		}
	}
	switch {
	case a.Share == 0 && a.Digits == 0 && a.Volts == 0:
		return refuse(errors.New("no meter is exact"))
	case a.Share > worstShare:
		return refuse(fmt.Errorf("more than %g %% of the reading", worstShare*100))
	case a.Digits > worstDigits:
		return refuse(fmt.Errorf("more than %d digits", worstDigits))
	case a.Volts > worstVolts:
		return refuse(fmt.Errorf("more than %d V", worstVolts))
	}
	return a, nil
}

// withoutMarks takes away every ± and the brackets around everything.
func withoutMarks(s string) (string, error) {
	s = strings.NewReplacer("+/-", "+", "+-", "+", "+ ±", "+", "+±", "+", "±", "+").Replace(s)
	s = strings.TrimSpace(strings.TrimPrefix(s, "+"))
	if rest, ok := strings.CutPrefix(s, "("); ok {
		inner, ok := strings.CutSuffix(rest, ")")
		if !ok {
			return "", errors.New("the bracket is not closed")
		}
		s = strings.TrimPrefix(strings.TrimSpace(inner), "+")
	}
	return s, nil
}

// add reads one term.
func (a *Accuracy) add(term string) error {
	if term == "" {
		return errors.New("a number is missing beside the +")
	}
	i := 0
	for i < len(term) && (term[i] >= '0' && term[i] <= '9' || term[i] == '.') {
		i++
	}
	if i < len(term) && term[i] == ',' {
		return fmt.Errorf("%q has a decimal comma: write a dot", term)
	}
	v, err := strconv.ParseFloat(term[:i], 64)
	if err != nil || math.IsInf(v, 0) {
		return fmt.Errorf("%q does not start with a number", term)
	}
	return a.take(v, strings.TrimSpace(term[i:]), term)
}

// take adds a number by the words behind it.
func (a *Accuracy) take(v float64, words, term string) error {
	words = strings.TrimPrefix(strings.Join(strings.Fields(strings.ReplaceAll(words, "%", " % ")), " "), "of ")
	if share, of, ok := shareOf(words); ok {
		switch of {
		case "", "reading", "rdg", "rd", "value":
			a.Share += v * share
			return nil
		case "range", "rng", "full scale", "fs", "f.s.", "scale":
			return fmt.Errorf("%q needs the range: work it out and write it in volts, as in 0.05 %% + 12 mV", term)
		}
		return fmt.Errorf("%q: a share is of the reading", term)
	}
	switch strings.TrimSuffix(words, ".") {
	case "d", "dig", "digit", "digits", "dgt", "dgts", "count", "counts", "cnt", "cnts", "ct", "cts", "lsd":
		a.Digits += v
	case "v":
		a.Volts += v
	case "mv":
		a.Volts += v * 1e-3
	case "µv", "μv", "uv":
		a.Volts += v * 1e-6
	case "":
		if a.Share == 0 || v != math.Trunc(v) {
			return fmt.Errorf("%q has no unit", term)
		}
		a.Digits += v // 0.5 % + 2, as many manuals have it
	default:
		return fmt.Errorf("%q: %q is not known here", term, words)
	}
	return nil
}

// shareOf reads "% of reading" and "ppm rdg".
func shareOf(words string) (scale float64, of string, ok bool) {
	for word, scale := range map[string]float64{"%": 1e-2, "ppm": 1e-6} {
		if rest, ok := strings.CutPrefix(words, word); ok {
			return scale, strings.TrimPrefix(strings.TrimSpace(rest), "of "), true
		}
	}
	return 0, "", false
}

// HalfWidth returns the volts within which the true voltage lies about what the meter
// showed: at least half a digit, since it rounds.
func (a Accuracy) HalfWidth(r Reading) float64 {
	return math.Max(a.ofReading(r)+a.apart(r), r.Digit/2)
}

// ofReading is the part that grows with the reading.
func (a Accuracy) ofReading(r Reading) float64 { return a.Share * math.Abs(r.Volts) }

// apart is the part that does not.
func (a Accuracy) apart(r Reading) float64 { return a.Digits*r.Digit + a.Volts }
