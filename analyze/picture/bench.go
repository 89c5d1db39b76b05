package picture

// TestPoint is a place of a bench at which a meter's lead can be held.
type TestPoint struct {
	Name     string // as it is typed, as in "panel.OUT3"; empty: there is no such place
	Terminal string // as it stands beside it, as in "OUT3"
	About    string // what it is, in words
}

// Bench is how a bench is wired, as it is drawn: the unit, relay boards, the rig, and the
// wires between them with their names. What is empty is not drawn.
type Bench struct {
	Name    string // of the rig
	Heading string
	Words   []string // below the heading
	About   string   // the wiring in words, to who does not see it
	Unit    string   // what is tested, as in "panel"
	Supply  BenchSupply
	Zero    BenchZero
	Outputs []BenchOutput
	Relays  []BenchRelay
	Inputs  []BenchInput // of the unit
	// Contacts are those of no relay that is known.
	Contacts []BenchLine
	Wires    []BenchWire // all
}

// BenchWire is a wire of the bench.
type BenchWire struct {
	Name, From, To string // as in "W3"; points' names
	Colour, About  string
}

// BenchSupply is what the unit lives on.
type BenchSupply struct {
	Words       string // as in "supply, 12 V"
	Plus, Minus TestPoint
	AtUnit      TestPoint // plus at the unit
	PlusWire    string
	MinusWire   string
}

// BenchZero is 0 V of unit and rig, and what else of the rig has a terminal of its own.
type BenchZero struct {
	Unit, Rig TestPoint
	Wire      string
	// Common is that of the drives' optocouplers.
	Common     TestPoint
	CommonWire string
	Logic      TestPoint // the rig's supply
}

// BenchOutput is a terminal of the unit with its divider and converter's input.
type BenchOutput struct {
	At           TestPoint
	Note         string // below its name, as in "address 3"
	Wire         string
	Rig          TestPoint
	Upper, Lower string // the divider's resistors, as in "39 kΩ"
	Pin          TestPoint
	Input        string // of the converter, as in "B.AIN0"
}

// BenchRelay is a relay's board.
type BenchRelay struct {
	Name, Output string
	Coil         string // as in "400 Ω"
	Flyback      string // the part across the coil, as in "diode"
	From, To     TestPoint
	FromWire     string // from the output
	ToWire       string // to the unit's 0 V
	Common       TestPoint
	CommonWire   string
	CommonTo     TestPoint // what the common goes to
	Make, Break  BenchLine
}

// BenchInput is an input of the unit with the rig's lines that are wired to it.
type BenchInput struct {
	At    TestPoint
	Lines []BenchLine
}

// BenchLine is a line of the rig with its terminal.
type BenchLine struct {
	Far  TestPoint // at the other end of the wire, where that is a terminal of a relay's board
	Wire string
	At   TestPoint // of the rig
	Note string    // below its name, as in "arm-away"
	Part string    // behind the terminal, as in "optocoupler"
	Pin  TestPoint // behind that
	Line string    // as in "GPIO22"
}
