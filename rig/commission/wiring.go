package commission

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"makebreak/rig/header"
	"makebreak/rig/line"
	"makebreak/rig/table"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// WriteWiring writes how a rig is wired: what goes where, with the pins of a Raspberry Pi's
// header, and the header drawn with what is on each pin.
func WriteWiring(w io.Writer, rig *wiring.Rig) error {
	fmt.Fprintf(w, "Wiring of rig %s\n", rig.Name)
	rows := wiresOf(rig)
	err := table.Write(w, []string{"signal", "at", "pin", "connect"}, func(row func(...any)) {
		for _, r := range rows {
			row(r.signal, r.at, pinText(r.pin), r.connect)
		}
	})
	if err != nil {
		return err
	}
	if !onHeader(rows) {
		_, err = fmt.Fprintln(w, "\nNone of its lines is of a Raspberry Pi's header.")
		return err
	}
	return drawHeader(w, rows)
}

// A wire is one connection of a rig.
type wire struct {
	signal string
	at     string // chip and input, or line
	pin    int    // of the header; 0: not known, or none
	connect,
	label string // what stands beside the pin in the drawing
}

func pinText(pin int) string {
	if pin == 0 {
		return ""
	}
	return strconv.Itoa(pin)
}

func onHeader(rows []wire) bool {
	for _, r := range rows {
		if r.pin > 0 && r.label != "" {
			return true
		}
	}
	return false
}

// ownBus reports whether a rig's bus is the one at a Raspberry Pi's pins 3 and 5.
func ownBus(rig *wiring.Rig) bool {
	return rig.Simulated || strings.TrimPrefix(strings.TrimPrefix(rig.Bus, "/dev/i2c-"), "I2C") == "1"
}

// wiresOf lists all connections of a rig.
func wiresOf(rig *wiring.Rig) []wire {
	var all []wire
	if ownBus(rig) {
		all = append(all,
			wire{"SDA", "bus " + rig.Bus, header.Pin(header.SDA), "SDA of every converter", "SDA"},
			wire{"SCL", "bus " + rig.Bus, header.Pin(header.SCL), "SCL of every converter", "SCL"})
	} else {
		all = append(all, wire{signal: "SDA, SCL", at: "bus " + rig.Bus, connect: "the bus's own pins, to SDA and SCL of every converter"})
	}
	for i := range rig.Chips {
		all = append(all, chipWires(&rig.Chips[i])...)
	}
	for i := range rig.Outputs {
		all = append(all, outputWire(&rig.Outputs[i]))
	}
	for i := range rig.Contacts {
		l := &rig.Contacts[i]
		all = append(all, lineWire(l, l.Name, "the contact, its other end to "+contactEnd(l)))
	}
	for i := range rig.References {
		l := &rig.References[i]
		all = append(all, lineWire(l, l.Name, "what reports the event, "+activeText(l)+"; 3.3 V at the most"))
	}
	for i := range rig.Drives {
		d := &rig.Drives[i]
		by := "an optocoupler or a transistor"
		if d.Coil {
			by = "a transistor with a flyback diode at the coil"
		}
		all = append(all, lineWire(&d.Line, d.Name, by+", on while the line is "+level(!d.ActiveLow)))
	}
	if s := rig.ProgrammedSupply(); s != nil {
		all = append(all, wire{signal: "supply", at: fmt.Sprintf("%s, %s", s.Model, address(s.Address)), connect: fmt.Sprintf("VDD to %s, GND to ground, SDA and SCL to the bus, VOUT to the amplifier", unit.Voltage.Format(s.Reference))})
	}
	return all
}

// addrPins says where a converter's ADDR pin goes, by its address (SBAS444, table of addresses).
var addrPins = map[uint16]string{0x48: "GND", 0x49: "VDD", 0x4A: "SDA", 0x4B: "SCL"}

func chipWires(c *wiring.Chip) []wire {
	at := fmt.Sprintf("%s, %s", c.Model, address(c.Address))
	power := fmt.Sprintf("VDD to %s, GND to ground, ADDR to %s", unit.Voltage.Format(c.Supply), addrPins[c.Address])
	all := []wire{{signal: "converter " + c.Name, at: at, connect: power}}
	if c.Supply == 3.3 {
		all[0].pin, all[0].connect = header.Pins3V3[0], power+" (pin 1 or 17 has 3.3 V)"
	}
	if c.Ready == nil {
		return append(all, wire{signal: "ready of " + c.Name, at: at, connect: "ALERT/RDY is not wired"})
	}
	return append(all, lineWire(c.Ready, "ready of "+c.Name, "ALERT/RDY of converter "+c.Name))
}

func outputWire(o *wiring.Output) wire {
	connect := "the terminal straight to the input"
	if d := o.Divider; d.Upper > 0 {
		connect = fmt.Sprintf("the terminal by %s to the input, and the input by %s to ground", unit.Resistance.Format(d.Upper), unit.Resistance.Format(d.Lower))
	}
	return wire{signal: o.Name, at: fmt.Sprintf("converter %s, AIN%d", o.Chip, o.Channel), connect: connect + fmt.Sprintf("; %s at the most", unit.Voltage.Format(o.Highest))}
}

// lineWire is the connection of a line.
func lineWire(l *line.Line, signal, connect string) wire {
	at := l.LineName
	switch {
	case at == "":
		at = fmt.Sprintf("%s line %d", l.Chip, l.Number)
	case l.Chip != "":
		at = l.Chip + " " + at
	}
	w := wire{signal: signal, at: at, connect: connect, label: signal}
	if gpio, ok := header.At(l.Chip, l.LineName, l.Number); ok {
		w.pin = header.Pin(gpio)
	}
	return w
}

// contactEnd is where the other end of a contact goes that is closed when its line is active.
func contactEnd(l *line.Line) string {
	if l.ActiveLow {
		return "ground"
	}
	return "3.3 V, by 1 kohm"
}

func activeText(l *line.Line) string { return level(!l.ActiveLow) + " when it happens" }

func level(high bool) string {
	if high {
		return "high"
	}
	return "low"
}

// drawHeader draws the header as it is seen with the board's edge to the right, pin 1 at the top
// left, with what is on each pin.
func drawHeader(w io.Writer, rows []wire) error {
	labels := map[int]string{}
	for _, r := range rows {
		if r.pin > 0 && r.label != "" {
			labels[r.pin] = r.label
		}
	}
	names := map[int]string{}
	for _, p := range header.Pins3V3 {
		names[p] = "3.3 V"
	}
	for _, p := range header.Pins5V {
		names[p] = "5 V"
	}
	for _, p := range header.Grounds {
		names[p] = "ground"
	}
	for gpio := range header.Lines {
		names[header.Pin(gpio)] = header.Name(gpio)
	}
	widest := 0
	for pin, label := range labels {
		if pin%2 == 1 {
			widest = max(widest, len([]rune(label)))
		}
	}
	fmt.Fprint(w, "\nThe header, pin 1 at the end of the board\n")
	for pin := 1; pin < 40; pin += 2 {
		text := fmt.Sprintf("%*s  %6s  %2d | %-2d  %-6s  %s", widest, labels[pin], names[pin], pin, pin+1, names[pin+1], labels[pin+1])
		if _, err := fmt.Fprintln(w, strings.TrimRight(text, " ")); err != nil {
			return err
		}
	}
	return nil
}
