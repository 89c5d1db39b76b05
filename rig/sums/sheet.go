// Package sums does the sums of the bench step by step, with the figures put in: a
// divider for an output, a relay's coil behind one, an indicator lamp, a battery that stands
// by, the voltage drop along a cable.
//
// Each is worked for the worst case of the tolerances, with the nearest preferred
// resistor (IEC 60063) and its power. Values are in base units: volts, amperes, ohms,
// watts, seconds, henries, farads, metres, mm², °C and shares of one; a battery's in
// ampere-hours and hours.
package sums

import (
	"math"
	"strconv"
	"strings"

	"makebreak/rig/unit"
)

// Figure is one figure of a sum.
type Figure struct {
	Name  string    // with its base unit at the end, as in "upper_ohms"
	What  string    // in words
	Sum   string    // how it comes about, the figures put in; empty where it is given
	Value float64   // in base units
	Kind  unit.Kind // of quantity
}

// Result is the value as it is printed.
func (f Figure) Result() string { return show(f.Kind, f.Value) }

// Rounded is the value without the noise of its last binary digits.
func (f Figure) Rounded() float64 { return rounded(f.Value, 12) }

// Answer is a question that a sum answers by yes or no.
type Answer struct {
	Name string // as in "pulls_in"
	Yes  bool
	Text string // the answer as a sentence
}

// Sheet is a sum worked out.
type Sheet struct {
	Title    string
	Given    []Figure
	Steps    []Figure
	Answers  []Answer
	Warnings []string
	Cautions []string
	Circuit  *Circuit // what is drawn; nil: none
	Bars     []Bar    // that are drawn in place of a circuit
}

// Drawing is what the sheet draws, in characters, a line each, at most 78 across.
func (s *Sheet) Drawing() []string {
	if s.Circuit != nil {
		return s.Circuit.text()
	}
	return barsText(s.Bars)
}

// Value returns a figure, given or worked out; NaN where the sheet has none of the name.
func (s *Sheet) Value(name string) float64 {
	for _, list := range [][]Figure{s.Given, s.Steps} {
		for _, f := range list {
			if f.Name == name {
				return f.Value
			}
		}
	}
	return math.NaN()
}

// Yes reports whether no question was answered by no.
func (s *Sheet) Yes() bool {
	for _, a := range s.Answers {
		if !a.Yes {
			return false
		}
	}
	return true
}

// given adds a figure that the sum starts from, unless it is not known (NaN).
func (s *Sheet) given(name, what string, kind unit.Kind, v float64) {
	if !math.IsNaN(v) {
		s.Given = append(s.Given, Figure{name, what, "", v, kind})
	}
}

// step adds a figure and returns it.
func (s *Sheet) step(name, what string, kind unit.Kind, v float64, sum string) float64 {
	s.Steps = append(s.Steps, Figure{name, what, sum, v, kind})
	return v
}

func (s *Sheet) answer(name string, yes bool, text string) {
	s.Answers = append(s.Answers, Answer{name, yes, text})
}

func (s *Sheet) warn(text string) { s.Warnings = append(s.Warnings, text) }

// theCodeFirst ends every sheet's cautions.
const theCodeFirst = "a sum is no proof: electrical codes and the makers' instructions come first"

// show writes a value with its unit, to enough digits for parts of 0.1 %.
func show(k unit.Kind, v float64) string {
	if k.Name == unit.Share.Name {
		return k.Short(v, 3)
	}
	return k.Short(v, 4)
}

func volts(v float64) string   { return show(unit.Voltage, v) }
func ohms(v float64) string    { return show(unit.Resistance, v) }
func amperes(v float64) string { return show(unit.Current, v) }
func seconds(v float64) string { return show(unit.Time, v) }
func percent(v float64) string { return show(unit.Share, v) }
func hours(v float64) string   { return show(unit.Hours, v) }

func ampereHours(v float64) string { return show(unit.Charge, v) }

// underscored writes a number as a part of a figure's name: 0_5 for 0.5.
func underscored(v float64) string { return strings.ReplaceAll(plain(v), ".", "_") }

// rounded keeps n digits.
func rounded(v float64, n int) float64 {
	w, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', n, 64), 64)
	if err != nil {
		return v
	}
	return w
}

// plain writes a number as it stands in a formula, rounded.
func plain(v float64) string { return unit.Number.Short(v, 4) }
