package commission

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"makebreak/rig/ads1x15"
	"makebreak/rig/header"
	"makebreak/rig/line"
	"makebreak/rig/mcp4725"
	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// A Starter is what a first rig file can be made of: converters that answer on one bus, and
// lines that are free.
type Starter struct {
	Bus   string // its name, as OpenBus takes it
	Hz    int    // its clock in the device tree; 0: it does not say
	Chips []StarterChip
	// Free are lines that a rig may use, by the names that a rig file has for them.
	Free []line.Line
	DACs []string // addresses at which a supply's converter may be
	// Others are buses on which there are converters as well, which a rig file cannot have.
	Others []string
}

// A StarterChip is a converter that answers.
type StarterChip struct {
	Address uint16
	Models  []string // that it can be
	Ready   *line.Line
}

// NewStarter picks from what was found: the bus with most converters, and lines that nobody
// uses, that are inputs and that the board has nothing on. The error, of the kind Rig, says what
// is missing and what to do.
func NewStarter(found *Found) (*Starter, error) {
	s := &Starter{}
	for _, b := range found.Buses {
		chips, dacs := convertersOn(b)
		switch {
		case len(chips) == 0:
		case len(chips) > len(s.Chips):
			if s.Bus != "" {
				s.Others = append(s.Others, s.Bus)
			}
			s.Bus, s.Chips, s.DACs, s.Hz = b.Bus, chips, dacs, 0
			if b.TreeHz != nil {
				s.Hz = *b.TreeHz
			}
		default:
			s.Others = append(s.Others, b.Bus)
		}
	}
	if len(s.Chips) == 0 {
		return nil, noStarter(found)
	}
	for _, c := range found.Chips {
		for _, l := range c.Named {
			if l.Used || l.Output {
				continue
			}
			if free, ok := freeLine(c.Chip, l, found.otherNames); ok {
				s.Free = append(s.Free, free)
			}
		}
	}
	return s, nil
}

// convertersOn are the converters on a bus, four at the most, and where a supply's may be.
func convertersOn(b FoundBus) (chips []StarterChip, dacs []string) {
	for _, a := range b.Answers {
		addr, err := strconv.ParseUint(a.Address, 0, 16)
		switch {
		case err != nil:
		case a.Converter:
			chips = append(chips, StarterChip{Address: uint16(addr), Models: a.Models})
		case a.Driver == nil && uint16(addr) >= mcp4725.FirstAddress:
			dacs = append(dacs, a.Address)
		}
	}
	return chips, dacs
}

// freeLine returns a found line as a rig file best says it; false: it is none to wire.
func freeLine(chip string, l FoundLine, otherNames bool) (line.Line, bool) {
	if otherNames {
		return line.Line{Chip: chip, Number: -1, LineName: orEmpty(l.Name)}, l.Name != nil
	}
	if l.GPIO == nil {
		return line.Line{}, false
	}
	gpio, _ := header.Numbered(*l.GPIO)
	return line.Line{Number: -1, LineName: *l.GPIO}, header.Taken(gpio) == "" && header.Doubtful(gpio) == ""
}

// noStarter says why no rig file can be made, and how a first converter is wired.
func noStarter(found *Found) error {
	why := append(slices.Clone(found.Closed), found.missing()...)
	if len(found.Buses) > 0 {
		why = append(why, "Wire a first converter to a Raspberry Pi so: VDD to pin 1 (3.3 V), GND to pin 6, SDA to pin 3, SCL to pin 5, ADDR to GND.")
	}
	return problem.New(problem.Rig, "no converter was found, so there is nothing to make a rig file of\n  "+strings.Join(why, "\n  "))
}

// ReadyChips are the converters as FindReady takes them.
func (s *Starter) ReadyChips() []ReadyChip {
	var all []ReadyChip
	for _, c := range s.Chips {
		all = append(all, ReadyChip{c.Address, ads1x15.Model(c.Models[0])})
	}
	return all
}

// TakeReady takes in what FindReady has found among the free lines.
func (s *Starter) TakeReady(found map[uint16]int) {
	var used []int
	for i := range s.Chips {
		if at, ok := found[s.Chips[i].Address]; ok && at >= 0 {
			l := s.Free[at]
			s.Chips[i].Ready = &l
			used = append(used, at)
		}
	}
	var free []line.Line
	for i, l := range s.Free {
		if !slices.Contains(used, i) {
			free = append(free, l)
		}
	}
	s.Free = free
}

// usual are the lines that contacts and drives of the rigs shown in the documents are on.
var usual = []string{"GPIO22", "GPIO23", "GPIO5"}

// pick returns the nth of the usual lines, or of the others where it is not free, and takes it
// from those that are free.
func pick(free *[]line.Line, n int) (line.Line, bool) {
	at := slices.IndexFunc(*free, func(l line.Line) bool { return l.LineName == usual[n] })
	if at < 0 {
		at = slices.IndexFunc(*free, func(l line.Line) bool { return !slices.Contains(usual, l.LineName) })
	}
	if at < 0 {
		return line.Line{}, false
	}
	l := (*free)[at]
	*free = slices.Delete(slices.Clone(*free), at, at+1)
	return l, true
}

// fileHz are the bus clocks that a starter file says: what the device tree asks for, within
// what a rig file can say.
func (s *Starter) fileHz() string {
	if s.Hz >= fileLeastHz && s.Hz <= fileMostHz && s.Hz%1000 == 0 {
		return fmt.Sprintf("%d kHz", s.Hz/1000)
	}
	return "400 kHz"
}

// Text writes the rig file, with comments that say what to fill in.
func (s *Starter) Text(w io.Writer) error {
	t := &starterText{w: w}
	t.line("# A first rig file, made of what makebreak rig init found. Lines with FILL IN need you.")
	t.line("# makebreak rig check --rig THIS-FILE says what is wrong, rig wiring draws it.")
	t.line("")
	t.line("name: bench-1                     # FILL IN: stands in every record")
	t.line("about: A first bench.             # FILL IN, or take it out")
	t.line("")
	t.line("bus: %q", s.Bus)
	t.line("bus_speed: %s                # makebreak rig check measures it", s.fileHz())
	for _, other := range s.Others {
		t.line("# On %s there are converters as well; a rig has one bus.", words.Safe(other))
	}
	s.chips(t)
	s.outputs(t)
	free := slices.Clone(s.Free)
	s.contacts(t, &free)
	s.drives(t, &free)
	s.supplies(t)
	return t.err
}

// starterText writes lines until one fails.
type starterText struct {
	w   io.Writer
	err error
}

func (t *starterText) line(format string, args ...any) {
	_, err := fmt.Fprintf(t.w, format+"\n", args...)
	t.err = errors.Join(t.err, err)
}

func (s *Starter) chips(t *starterText) {
	t.line("")
	t.line("chips:")
	for i, c := range s.Chips {
		m := ads1x15.Model(c.Models[0])
		ready := "}"
		if c.Ready != nil {
			ready = ", ready: " + lineText(*c.Ready) + "}"
		}
		t.line("  %s: {model: %s, address: %s, rate: %d /s, supply: 3.3 V, sample: sweep%s", chipName(i), m, address(c.Address), m.Fastest(), ready)
		if len(c.Models) > 1 {
			t.line("     # FILL IN: it may be %s as well, and cannot be told apart before it has converted", words.Or(c.Models[1:]))
		}
		if c.Ready == nil {
			t.line("     # FILL IN: ready: {line: GPIO17}, if its ALERT/RDY pin is wired; without it time stamps are coarser")
		}
	}
	t.line("  # FILL IN: supply is what the chip runs from. sample: follow takes one output at the full rate.")
}

// chipName names converters A, B and so on.
func chipName(i int) string { return string(rune('A' + i)) }

func lineText(l line.Line) string {
	chip := ""
	if l.Chip != "" {
		chip = "chip: " + strconv.Quote(l.Chip) + ", "
	}
	name := l.LineName
	if _, ok := header.Numbered(name); !ok {
		name = strconv.Quote(name)
	}
	return "{" + chip + "line: " + name + "}"
}

func (s *Starter) outputs(t *starterText) {
	t.line("")
	t.line("# FILL IN: the unit's outputs by their names, the resistors that you have, and the highest voltage")
	t.line("# that each can reach. Take out inputs that are not wired.")
	t.line("outputs:")
	n := 0
	for i := range s.Chips {
		for channel := range 4 {
			n++
			t.line("  OUT%d: {chip: %s, channel: %d, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %%}, highest: 15 V, nominal: 12 V}", n, chipName(i), channel)
		}
	}
}

func (s *Starter) contacts(t *starterText, free *[]line.Line) {
	no, ok := pick(free, 0)
	nc, both := pick(free, 1)
	t.line("")
	if !ok || !both {
		t.line("# contacts:   no two lines are free")
		return
	}
	t.line("# FILL IN: volt-free contacts to ground, or take this out.")
	t.line("contacts:")
	t.line("  K1_NO: %s", lineText(no))
	t.line("  K1_NC: %s", lineText(nc))
}

func (s *Starter) drives(t *starterText, free *[]line.Line) {
	t.line("")
	t.line("# A person brings the events about. FILL IN what to do.")
	t.line("events:")
	t.line("  arm-away: {prompt: Arm the panel away at its keypad.}")
	t.line("  disarm: {prompt: Disarm the panel at its keypad.}")
	drive, ok := pick(free, 2)
	if !ok {
		return
	}
	t.line("")
	t.line("# A drive does it instead, by an optocoupler or a transistor, never by the pin itself:")
	t.line("# drives:")
	t.line("#   KEY_AWAY: {%s, longest_on: 5 s}", strings.Trim(lineText(drive), "{}"))
	t.line("# events:")
	t.line("#   arm-away: {drive: KEY_AWAY, pulse: 300 ms}")
}

func (s *Starter) supplies(t *starterText) {
	for _, a := range s.DACs {
		t.line("")
		t.line("# Something answers at %s. If it is an MCP4725 that sets the unit's supply, FILL IN its amplifier:", a)
		t.line("# supply: {model: MCP4725, address: %s, reference: 3.3 V, gain: 5 V/V, highest: 15 V, usual: 13.8 V}", a)
	}
}
