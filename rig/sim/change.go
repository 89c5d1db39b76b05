package sim

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// Change is one thing that a person changes on the bench.
type Change struct {
	Kind ChangeKind
	// A and B are what it is about, as Form of the kind says: points, outputs, relays,
	// references.
	A, B   string
	Number int     // of an address, from 1
	Value  float64 // volts of a supply, ohms of a resistor
	Rating float64 // watts that a resistor is made for; 0: UsualRating
}

// UsualRating is a resistor's where none is given, in watts.
const UsualRating = 0.25

// ChangeKind is what is done. Its text is the word that a change is written with.
type ChangeKind string

// The kinds of changes.
const (
	SwapWires   ChangeKind = "swap"      // the wires at two terminals change places
	SetAddress  ChangeKind = "address"   // an output of the panel's programming acts on another terminal
	Programme   ChangeKind = "programme" // an output is programmed anew, as its job card says
	SetSupply   ChangeKind = "supply"    // the unit runs from a bench supply of a voltage
	AddResistor ChangeKind = "resistor"  // a resistor goes across a coil
	NewBoard    ChangeKind = "board"     // the relay board is exchanged; its wires stay as they were
	JoinPoints  ChangeKind = "join"      // a wire goes between two points
	PartPoints  ChangeKind = "part"      // what joins two points besides the wiring is taken away
	ReplaceWire ChangeKind = "replace"   // a wire is replaced
	SetPolarity ChangeKind = "polarity"  // a reference is set to be active high or low
)

// changeForm is how a kind of change is written, and what it does.
type changeForm struct {
	kind  ChangeKind
	form  string
	about string
	parse func(c *Change, rest []string) error
	text  func(c Change) string
	apply func(w *World, c Change) error
}

// changeForms in the order in which they are listed.
var changeForms []changeForm

func init() {
	changeForms = []changeForm{
		{SwapWires, "swap A B", "the wires at two outputs, at two contacts of a relay, or at the ends of its coil change places", parseTwo, textTwo, (*World).swap},
		{SetAddress, "address OUTPUT NUMBER", "the panel's programming of an output acts on the terminal of this number", parseAddress, textAddress, (*World).address},
		{Programme, "programme OUTPUT", "an output is programmed anew, as the job card says", parseOne, textOne, (*World).reprogramme},
		{SetSupply, "supply VOLTAGE", "the unit runs from a bench supply of this voltage", parseSupply, textSupply, (*World).setUnitSupply},
		{AddResistor, "resistor RELAY RESISTANCE [POWER]", "a resistor, of 0.25 W unless said otherwise, goes across a relay's coil", parseResistor, textResistor, (*World).addResistor},
		{NewBoard, "board RELAY", "the relay board is exchanged; its wires go where they were", parseOne, textOne, (*World).exchangeBoard},
		{JoinPoints, "join A B", "a wire goes between two points: the 0 V of rig and unit, or two outputs", parseTwo, textTwo, (*World).join},
		{PartPoints, "part A B", "what joins two outputs outside the wiring is taken away", parseTwo, textTwo, (*World).part},
		{ReplaceWire, "replace A B", "the wire between two points is replaced", parseTwo, textTwo, (*World).replaceWire},
		{SetPolarity, "polarity REFERENCE high|low", "a reference's line is set to be active high or low", parsePolarity, textTwo, (*World).setPolarity},
	}
}

// ChangeInfo describes a kind of change.
type ChangeInfo struct {
	Kind  ChangeKind
	Form  string // how it is written: swap A B
	About string // one plain line
}

// Changes lists the kinds of changes.
func Changes() (all []ChangeInfo) {
	for _, f := range changeForms {
		all = append(all, ChangeInfo{f.kind, f.form, f.about})
	}
	return all
}

func formOf(kind ChangeKind) *changeForm {
	for i := range changeForms {
		if changeForms[i].kind == kind {
			return &changeForms[i]
		}
	}
	return nil
}

// mostChange is how long a change's text can be.
const mostChange = 200

// ParseChange reads a change as Change.String writes it: a word and what it is about, as in
// "swap OUT3 OUT4". Whether a bench has what it names shows when it is applied. The error is of
// the kind Usage.
func ParseChange(s string) (Change, error) {
	fields := strings.Fields(s)
	if len(s) > mostChange || len(fields) == 0 {
		return Change{}, problem.New(problem.Usage, "a change must have a word and what it is about, as in: swap OUT3 OUT4")
	}
	c := Change{Kind: ChangeKind(strings.ToLower(fields[0]))}
	f := formOf(c.Kind)
	if f == nil {
		kinds := words.Texts(changeForms, func(f changeForm) string { return string(f.kind) })
		return Change{}, problem.Of(problem.Usage, fmt.Errorf("change %q is not known: %s", fields[0], words.UseOneOf(fields[0], kinds)))
	}
	if err := f.parse(&c, fields[1:]); err != nil {
		return Change{}, problem.Of(problem.Usage, fmt.Errorf("%s: %w; write: %s", c.Kind, err, f.form))
	}
	return c, nil
}

// String writes the change as ParseChange reads it.
func (c Change) String() string {
	f := formOf(c.Kind)
	if f == nil {
		return string(c.Kind)
	}
	return string(c.Kind) + " " + f.text(c)
}

func parseTwo(c *Change, rest []string) error {
	if len(rest) == 1 && strings.EqualFold(rest[0], zeroVolts) && c.Kind == JoinPoints {
		rest = []string{zeroVolts, pointName(RigPart, zeroVolts)}
	}
	if len(rest) != 2 {
		return fmt.Errorf("must name two points, not %d", len(rest))
	}
	c.A, c.B = rest[0], rest[1]
	return nil
}

func textTwo(c Change) string { return c.A + " " + c.B }

func parseOne(c *Change, rest []string) error {
	if len(rest) != 1 {
		return fmt.Errorf("must name one, not %d", len(rest))
	}
	c.A = rest[0]
	return nil
}

func textOne(c Change) string { return c.A }

func parseAddress(c *Change, rest []string) error {
	if len(rest) != 2 {
		return errors.New("must name an output and the number of a terminal")
	}
	n, err := strconv.Atoi(rest[1])
	if err != nil || n < 1 || n > 1000 {
		return fmt.Errorf("%q must be a whole number, 1 or more", rest[1])
	}
	c.A, c.Number = rest[0], n
	return nil
}

func textAddress(c Change) string { return c.A + " " + strconv.Itoa(c.Number) }

// The voltages that a bench supply can be set to, in volts.
const mostSupply = 30

func parseSupply(c *Change, rest []string) (err error) {
	text := strings.Join(rest, " ")
	if c.Value, err = unit.Voltage.Parse(text); err != nil {
		return err
	}
	if c.Value < 0 || c.Value > mostSupply {
		return fmt.Errorf("%q must be from 0 V to %s", text, unit.Voltage.Format(mostSupply))
	}
	return nil
}

func textSupply(c Change) string { return unit.Voltage.Format(c.Value) }

// What a resistor from the drawer can be, in ohms and watts.
const (
	leastResistor, mostResistor = 1.0, 10e6
	leastRating, mostRating     = 0.05, 100.0
)

// parseResistor reads a resistance and, where there is more, a power.
func parseResistor(c *Change, rest []string) error {
	if len(rest) < 2 {
		return errors.New("must name a relay and a resistance")
	}
	c.A = rest[0]
	rest = rest[1:]
	var err error
	for n := len(rest); n > 0; n-- {
		if c.Value, err = unit.Resistance.Parse(strings.Join(rest[:n], " ")); err != nil {
			continue
		}
		if n < len(rest) {
			if c.Rating, err = unit.Power.Parse(strings.Join(rest[n:], " ")); err != nil {
				return err
			}
			if c.Rating < leastRating || c.Rating > mostRating {
				return fmt.Errorf("a resistor must be made for %s to %s", unit.Power.Format(leastRating), unit.Power.Format(mostRating))
			}
		}
		if c.Value < leastResistor || c.Value > mostResistor {
			return fmt.Errorf("a resistor must have %s to %s", unit.Resistance.Format(leastResistor), unit.Resistance.Format(mostResistor))
		}
		return nil
	}
	_, err = unit.Resistance.Parse(strings.Join(rest, " "))
	return err
}

func textResistor(c Change) string {
	text := c.A + " " + unit.Resistance.Format(c.Value)
	if c.Rating != 0 {
		text += " " + unit.Power.Format(c.Rating)
	}
	return text
}

func parsePolarity(c *Change, rest []string) error {
	if len(rest) != 2 {
		return errors.New("must name a reference, and high or low")
	}
	c.A, c.B = rest[0], strings.ToLower(rest[1])
	if c.B != activeHigh && c.B != activeLow {
		return fmt.Errorf("%q must be high or low", rest[1])
	}
	return nil
}

const (
	activeHigh = "high"
	activeLow  = "low"
)
