package commission

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/gpioline"
	"makebreak/rig/header"
	"makebreak/rig/i2cbus"
	"makebreak/rig/machine"
	"makebreak/rig/mcp4725"
	"makebreak/rig/table"
	"makebreak/rig/unit"
)

// A Found is the hardware that a scan found, as JSON gives it. What is missing is null, or an empty list.
type Found struct {
	Buses []FoundBus  `json:"buses"`
	Chips []FoundChip `json:"gpio_chips"`
	// Closed says why buses or GPIO chips that are there could not be looked at.
	Closed []string `json:"closed"`
	// Computer is what is known of the machine itself, by the names of package capture.
	Computer map[string]any `json:"computer"`

	computer []capture.MachineFact

	busIsThere, chipIsThere bool // though perhaps closed
	otherNames              bool // the board's lines are not named as a Raspberry Pi's
}

// A FoundBus is an I²C bus and what answers on it.
type FoundBus struct {
	Bus     string   `json:"bus"`
	TreeHz  *int     `json:"device_tree_hz"`
	Answers []Answer `json:"answers"`
	Trouble *string  `json:"trouble"` // that ended the search
}

// An Answer is an address of a bus at which something is.
type Answer struct {
	Address   string   `json:"address"`
	Converter bool     `json:"converter"`
	Models    []string `json:"models"` // that it can be
	Registers *string  `json:"registers"`
	Driver    *string  `json:"driver"` // of the kernel, that holds it
	What      string   `json:"what"`
}

// A FoundChip is a GPIO chip and those of its lines that have a name or a user.
type FoundChip struct {
	Chip  string      `json:"chip"`
	Node  string      `json:"node"`
	Label string      `json:"label"`
	Lines int         `json:"lines"`
	Named []FoundLine `json:"lines_named_or_used"`
}

// A FoundLine is a line of a GPIO chip.
type FoundLine struct {
	Line   int     `json:"line"`
	Name   *string `json:"name"` // as this kernel has it
	GPIO   *string `json:"gpio"` // as a rig file best says it: of a line of a Raspberry Pi's header
	Pin    *int    `json:"header_pin"`
	Output bool    `json:"output"`
	Used   bool    `json:"used"`
	By     *string `json:"used_by"`
}

// Scan looks for all hardware that there is, without a rig file. At each address of a bus
// one byte is read, and of a converter its registers; nothing is changed.
func Scan() *Found {
	s := &Found{Buses: []FoundBus{}, Chips: []FoundChip{}, Closed: []string{}}
	names, err := i2cbus.Names()
	s.closed(err)
	s.busIsThere = len(names) > 0
	for _, name := range names {
		bus, err := i2cbus.OpenBus(name)
		s.closed(err)
		if err == nil {
			s.Buses = append(s.Buses, scanBus(bus, func(addr uint16) string { return i2cbus.Holder(bus, addr) }))
			s.closed(bus.Close())
		}
	}
	chips, err := gpioline.Inventory()
	s.closed(err)
	s.chipIsThere = len(chips) > 0 || err != nil
	s.take(chips)
	s.computer = machine.This().Read()
	s.Computer = capture.MachineObject(s.computer)
	return s
}

// take takes in the board's GPIO chips.
func (s *Found) take(chips []gpioline.ChipInfo) {
	s.otherNames = !slices.ContainsFunc(chips, func(c gpioline.ChipInfo) bool {
		return slices.ContainsFunc(c.Lines, func(in gpioline.LineInfo) bool { _, ok := headerLine(c.Label, in); return ok })
	})
	for _, c := range chips {
		s.Chips = append(s.Chips, s.scanLines(c))
	}
}

// named is what lines that a rig may use are called.
func (s *Found) named() string {
	if s.otherNames {
		return "with a name"
	}
	return "at the header's pins"
}

// headerLine returns the GPIO number of a line of a Raspberry Pi's header: by its number on the
// header's own chip, whatever the kernel calls it, else by its name.
func headerLine(label string, in gpioline.LineInfo) (gpio int, ok bool) {
	if header.Controller(label) {
		return in.Offset, in.Offset < header.Lines
	}
	gpio, ok = header.Numbered(in.Name)
	return gpio, ok && gpio < header.Lines
}

// usable tells whether a rig may use a line.
func (s *Found) usable(l *FoundLine) bool {
	if s.otherNames {
		return l.Name != nil
	}
	return l.GPIO != nil
}

func (s *Found) closed(err error) {
	if err != nil {
		s.Closed = append(s.Closed, strings.Split(err.Error(), "\n")...)
	}
}

// scanBus asks the addresses of an open bus. Those that a driver of the kernel holds are
// not asked.
func scanBus(bus i2c.Bus, holder func(addr uint16) string) FoundBus {
	s := FoundBus{Bus: bus.String(), Answers: []Answer{}}
	if hz, ok := i2cbus.TreeHz(bus); ok {
		s.TreeHz = &hz
	}
	for _, span := range [][2]uint16{{ads1x15.FirstAddress, ads1x15.LastAddress}, {mcp4725.FirstAddress, mcp4725.LastAddress}} {
		for addr := span[0]; addr <= span[1]; addr++ {
			if driver := holder(addr); driver != "" {
				s.Answers = append(s.Answers, Answer{Address: address(addr), Models: []string{}, Driver: &driver,
					What: "held by the kernel's driver " + driver + ": take out its dtoverlay to use it here"})
				continue
			}
			err := bus.Tx(addr, nil, make([]byte, 1))
			if timedOut(err) {
				text := err.Error()
				s.Trouble = &text // every other address would take as long
				return s
			}
			if err == nil {
				s.Answers = append(s.Answers, whatAnswers(bus, addr))
			}
		}
	}
	return s
}

// timedOut tells a bus that does not work from an address at which nothing is.
func timedOut(err error) bool {
	var t interface{ Timeout() bool }
	return errors.As(err, &t) && t.Timeout()
}

func address(addr uint16) string { return fmt.Sprintf("0x%02X", addr) }

// whatAnswers says what answers at an address.
func whatAnswers(bus i2c.Bus, addr uint16) Answer {
	a := Answer{Address: address(addr), Models: []string{}, What: "another chip (a DAC may be here)"}
	if addr > ads1x15.LastAddress {
		return a
	}
	id, err := identityAt(bus, addr)
	if err != nil {
		a.What = "something that does not give its registers: " + err.Error()
		return a
	}
	text := id.String()
	a.Registers = &text
	for _, m := range id.Models() {
		a.Models = append(a.Models, string(m))
	}
	a.Converter = len(a.Models) > 0
	a.What = "a chip that does not look like an ADS1115 or ADS1015"
	if a.Converter {
		a.What = strings.Join(a.Models, " or ") + ", " + stateOf(id)
	}
	return a
}

func identityAt(bus i2c.Bus, addr uint16) (ads1x15.Identity, error) {
	dev, err := ads1x15.New(bus, addr, &ads1x15.DefaultOpts)
	if err != nil {
		return ads1x15.Identity{}, err
	}
	return dev.Identify()
}

// scanLines keeps of a chip's lines those that a rig may use, and those that something
// uses already.
func (s *Found) scanLines(c gpioline.ChipInfo) FoundChip {
	chip := FoundChip{Chip: c.Name, Node: c.Path, Label: c.Label, Lines: len(c.Lines), Named: []FoundLine{}}
	for _, in := range c.Lines {
		l := FoundLine{Line: in.Offset, Output: in.Output, Used: in.Used}
		if in.Name != "" {
			l.Name = &in.Name
		}
		if in.Consumer != "" {
			l.By = &in.Consumer
		}
		if gpio, ok := headerLine(c.Label, in); ok {
			name, pin := header.Name(gpio), header.Pin(gpio)
			l.GPIO, l.Pin = &name, &pin
		}
		if in.Used || s.usable(&l) {
			chip.Named = append(chip.Named, l)
		}
	}
	return chip
}

// Empty reports whether there is no bus and no GPIO chip that this user can open.
func (s *Found) Empty() bool { return len(s.Buses) == 0 && len(s.Chips) == 0 }

// Text writes what was found, then what is missing and what helps, in blocks.
func (s *Found) Text(w io.Writer) error {
	var blocks []string
	block := func(title string, head []string, fill func(row func(...any))) error {
		var b strings.Builder
		fmt.Fprintln(&b, title)
		err := table.Write(&b, head, fill)
		blocks = append(blocks, b.String())
		return err
	}
	var computer strings.Builder
	err := machine.Write(&computer, s.computer)
	if computer.Len() > 0 {
		blocks = append(blocks, computer.String())
	}
	if len(s.Buses) > 0 {
		err = errors.Join(err, block("I²C buses", []string{"bus", "address", "what answers", "registers"}, s.busRows))
	}
	if len(s.Chips) > 0 {
		err = errors.Join(err,
			block("GPIO chips", []string{"chip", "node", "driver", "lines", s.named(), "in use"}, s.chipRows),
			block("Lines "+s.named()+", and those in use", s.lineHead(), s.lineRows))
	}
	for _, c := range s.Closed {
		blocks = append(blocks, fmt.Sprintf("Cannot be looked at: %s.\n", c))
	}
	for _, m := range s.missing() {
		blocks = append(blocks, m+"\n")
	}
	_, writeErr := io.WriteString(w, strings.Join(blocks, "\n"))
	return errors.Join(err, writeErr)
}

func (s *Found) busRows(row func(...any)) {
	for _, b := range s.Buses {
		name := b.Bus
		if b.TreeHz != nil {
			name += ", " + unit.Hertz(float64(*b.TreeHz))
		}
		if len(b.Answers) == 0 && b.Trouble == nil {
			row(name, "", "nothing", "")
		}
		for _, a := range b.Answers {
			row(name, a.Address, a.What, orEmpty(a.Registers))
		}
		if b.Trouble != nil {
			row(name, "", "the search ended: "+*b.Trouble, "")
		}
	}
}

func orEmpty(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func (s *Found) chipRows(row func(...any)) {
	for _, c := range s.Chips {
		named, used := 0, 0
		for _, l := range c.Named {
			if s.usable(&l) {
				named++
			}
			if l.Used {
				used++
			}
		}
		row(c.Chip, c.Node, c.Label, c.Lines, named, used)
	}
}

// lineHead names the columns of lineRows: a Raspberry Pi has pins as well.
func (s *Found) lineHead() []string {
	if s.otherNames {
		return []string{"chip", "line", "name", "direction", "used by"}
	}
	return []string{"chip", "line", "name", "pin", "direction", "used by"}
}

func (s *Found) lineRows(row func(...any)) {
	for _, c := range s.Chips {
		for _, l := range c.Named {
			cells := []any{c.Chip, l.Line, l.names()}
			if !s.otherNames {
				cells = append(cells, l.pin())
			}
			row(append(cells, map[bool]string{false: "input", true: "output"}[l.Output], l.by())...)
		}
	}
}

// names are what a rig file and the kernel call the line.
func (l FoundLine) names() string {
	switch name := orEmpty(l.Name); {
	case l.GPIO == nil, name == *l.GPIO:
		return name
	case name == "":
		return *l.GPIO
	default:
		return *l.GPIO + " (" + name + ")"
	}
}

func (l FoundLine) pin() string {
	if l.Pin == nil {
		return ""
	}
	return strconv.Itoa(*l.Pin)
}

func (l FoundLine) by() string {
	switch {
	case l.By != nil:
		return *l.By
	case l.Used:
		return "something that gives no name"
	}
	return "free"
}

// missing says what a rig needs that was not found, and how it is switched on.
func (s *Found) missing() []string {
	var all []string
	converters := 0
	for _, b := range s.Buses {
		for _, a := range b.Answers {
			if a.Converter {
				converters++
			}
		}
	}
	switch {
	case !s.busIsThere:
		all = append(all, "No I²C bus: on a Raspberry Pi put dtparam=i2c_arm=on into config.txt and restart; on any board load the module i2c-dev (modprobe i2c-dev).")
	case converters == 0 && len(s.Buses) > 0:
		all = append(all, "No converter answers at 0x48 to 0x4B: check its supply, its ADDR pin and the two wires of the bus.")
	}
	if !s.chipIsThere {
		all = append(all, "No GPIO chip: a Raspberry Pi's is there from the start (/dev/gpiochip0), if its kernel is 5.10 or later; elsewhere load the driver of the board's GPIO chip.")
	}
	return all
}
