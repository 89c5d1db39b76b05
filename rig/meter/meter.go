package meter

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"

	"makebreak/rig/circuit"
	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// Meter is one multimeter with its own errors, at one time.
type Meter struct {
	errors     []off   // by index of ranges
	moves      float64 // by how much the last digit moves to each side, digits
	seed, take uint64
}

// off is by how much a range is off: a share of the reading and digits.
type off struct{ share, digits float64 }

// stream keeps the meter's draws apart from others of the same seed.
const stream = 0x6d65746572

// New returns the meter of a seed. The same seed gives the same meter.
func New(seed uint64) *Meter {
	d := rand.New(rand.NewPCG(seed, stream))
	within := func(half float64) float64 { return half * (2*d.Float64() - 1) }
	m := &Meter{moves: movesDigits, seed: seed}
	for _, r := range ranges {
		// Rounding to a digit is half of one digit of what is promised.
		m.errors = append(m.errors, off{within(r.Share), within(r.Digits - movesDigits - 0.5)})
	}
	return m
}

// movesDigits is by how many digits, to each side, what a meter measures moves from one reading
// to the next.
const movesDigits = 1

// At is the same meter at another time: its errors stay, its last digit moves. The same time gives
// the same reading again.
func (m *Meter) At(take uint64) *Meter {
	later := *m
	later.take = take
	return &later
}

// noise is by how many digits readings of a range are off at this time.
func (m *Meter) noise(x Range) float64 {
	h := fnv.New64a()
	fmt.Fprintf(h, "%s %g %d", x.Mode, x.FullScale, m.take)
	return m.moves * (2*rand.New(rand.NewPCG(m.seed, h.Sum64())).Float64() - 1)
}

// Reading is what the meter shows.
type Reading struct {
	Mode       Mode
	Red, Black string  // the points at which its leads are
	Value      float64 // base unit of the mode's quantity, as shown; NaN where Overload
	Overload   bool    // it shows OL
	Beeps      bool    // in continuity
	Digit      float64 // the last digit shown, base unit of the mode's quantity
	Within     float64 // what the manual promises: the true value is within this, base unit; NaN where Overload
	Dangers    []circuit.Danger
}

// String writes what the display shows, with the unit and without the sign of a zero.
func (r Reading) String() string {
	if r.Overload {
		return "OL"
	}
	return r.scaler().Text(r.Value)
}

// scaler writes with as many decimals as the range has.
func (r Reading) scaler() unit.Scaler {
	// A Scaler writes two digits of an uncertainty, so this one ends at the last digit shown.
	return r.Mode.Kind().Scaler(unit.Figures{Values: []float64{r.Value}, Uncertainty: 10 * r.Digit})
}

// liveVolts is from where on a circuit counts as live for a test.
const liveVolts = 0.05

// live returns the highest voltage between one of the leads' points and the rest of the
// circuit, and which of the two it is. No voltage between the leads themselves is no proof: one
// slip of a lead, and there is.
func live(n *circuit.Solution, red, black string) (volts float64, place string) {
	atRed, atBlack := n.Highest(red), n.Highest(black)
	if atBlack > atRed {
		return atBlack, black
	}
	return atRed, red
}

// Read puts the red lead on one point of a network and the black one on another and reads. The
// network is solved without the meter, once for all readings in its state. The error is of the
// kind Usage where the network has no such point.
func (m *Meter) Read(n *circuit.Solution, mode Mode, red, black string) (Reading, error) {
	r := Reading{Mode: mode, Red: red, Black: black, Value: math.NaN(), Overload: true, Within: math.NaN()}
	if len(Ranges(mode)) == 0 {
		return r, problem.New(problem.Usage, fmt.Sprintf("the meter cannot measure %q: %s", mode, words.UseOneOf(string(mode), words.Texts(Modes(), func(m Mode) string { return string(m) }))))
	}
	if err := known(n, red, black); err != nil {
		return r, err
	}
	if volts, place := live(n, red, black); mode.Tests() && volts > liveVolts {
		r.Dangers = append(r.Dangers, circuit.Danger{Code: circuit.LiveOhms, Place: place, Value: volts, Limit: liveVolts})
	}
	v, by := 0.0, Range{}
	for i, x := range ranges {
		if x.Mode != mode {
			continue
		}
		if by.Mode != mode || x.Test != by.Test || x.TestOhms != by.TestOhms { // else it sees the same
			var err error
			if v, err = x.sees(n, red, black); err != nil {
				return r, err
			}
			by = x
		}
		if m.shows(&r, x, m.errors[i], v) {
			break
		}
	}
	return r, nil
}

// shows takes a value in where the range reaches it. A meter has no sign for a value that it
// does not reach, so it stays at OL.
func (m *Meter) shows(r *Reading, x Range, e off, v float64) bool {
	r.Digit = x.Digit
	v = math.Round(v*(1+e.share)/x.Digit+e.digits+m.noise(x)) * x.Digit
	reach := x.FullScale
	if x.Mode == Diode {
		reach = diodeReach
	}
	if math.IsNaN(v) || math.Abs(v) > reach || x.Mode != DCVolts && v < -x.Digits*x.Digit {
		return false
	}
	if x.Mode != DCVolts {
		v = max(v, 0)
	}
	r.Value, r.Overload = v+0, false
	r.Within = x.Share*math.Abs(v) + x.Digits*x.Digit
	r.Beeps = x.Mode == Continuity && v < beepOhms
	return true
}

// sees returns the value that the range's electronics come to, before its errors.
func (x Range) sees(n *circuit.Solution, red, black string) (float64, error) {
	switch x.Mode {
	case DCVolts:
		return across(n, inputOhms, 0, red, black)
	case ACVolts:
		v, err := hum(n, red, black)
		return v / math.Sqrt2, err // shown as the sine's effective value
	case Diode:
		return across(n, x.TestOhms, x.Test, red, black)
	}
	v, err := across(n, x.TestOhms, x.Test, red, black)
	// What lies outside divides the test voltage with what the range has inside.
	if left := x.Test - v; err == nil && left > 0 {
		return x.TestOhms * v / left, nil
	}
	return math.NaN(), err
}

// The meter's own points.
const (
	plus  = "meter +"
	minus = "meter -"
)

// across returns the volts at the meter's sockets, with its input or test source there.
func across(n *circuit.Solution, ohms, test float64, red, black string) (float64, error) {
	s, err := n.With(leads(ohms, test, red, black))
	if err != nil {
		return 0, err
	}
	return s.Volts(plus, minus)
}

func hum(n *circuit.Solution, red, black string) (float64, error) {
	return n.HumWith(leads(inputOhms, 0, red, black), plus, minus)
}

func leads(ohms, test float64, red, black string) *circuit.Network {
	n := &circuit.Network{Resistors: []circuit.Resistor{
		{From: red, To: plus, Ohms: leadOhms}, {From: black, To: minus, Ohms: leadOhms}}}
	if test == 0 {
		n.Resistors = append(n.Resistors, circuit.Resistor{From: plus, To: minus, Ohms: ohms})
	} else {
		n.Sources = []circuit.Source{{Plus: plus, Minus: minus, Volts: test, Ohms: ohms}}
	}
	return n
}

// known refuses points that no part of the network has.
func known(n *circuit.Solution, points ...string) error {
	for _, p := range points {
		if !n.Has(p) {
			return problem.Of(problem.Usage, fmt.Errorf("%s: %w", p, circuit.ErrUnknownPoint))
		}
	}
	return nil
}
