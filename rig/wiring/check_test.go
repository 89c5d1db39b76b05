package wiring

import (
	"strings"
	"testing"

	"makebreak/rig/line"
)

// What a file cannot say and Go code can.
func TestCheck(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Rig)
		want   string
	}{
		{"no name", func(r *Rig) { r.Name = "" }, `name: the rig has no name: give it one, for example name: bench-1`},
		{"no chips", func(r *Rig) { r.Chips, r.Outputs = nil, nil }, "chips: there are 0 chips: must be one to four, each with its own address"},
		{"model", func(r *Rig) { r.Chips[0].Model = "X" }, `chips.A.model: "X": use one of: ADS1115, ADS1015`},
		{"mode", func(r *Rig) { r.Chips[0].Mode = "" }, `chips.A.sample: use one of: sweep, follow`},
		{"channel", func(r *Rig) { r.Outputs[0].Channel = 4 }, `outputs.OUT3.channel: "4": use one of: 0, 1, 2, 3`},
		{"event twice", func(r *Rig) { r.Causes = []Cause{{Event: "a", Prompt: "a"}, {Event: "a", Prompt: "a"}} },
			`events.a: "a": this event is defined twice; define it once`},
		{"no cause", func(r *Rig) { r.Causes = []Cause{{Event: "a"}} },
			`events.a: the event has neither a drive nor a prompt, or both: give it either a drive or a prompt`},
		{"no line", func(r *Rig) { r.Contacts = []line.Line{{Name: "K1_NO", Number: -1}} },
			`contacts.K1_NO.line: the line is not given: give its number or its name`},
		{"no longest time", func(r *Rig) { r.Drives = []Drive{{Line: line.Line{Name: "KEY", LineName: "GPIO5"}}} },
			`drives.KEY.longest_on: "0s": must be above 0 s`},
		{"the bus as a drive", func(r *Rig) { r.Drives = []Drive{{Line: line.Line{Name: "KEY", LineName: "SDA1"}, LongestOn: 1}} },
			`drives.KEY.line: "SDA1": it is SDA of the board's I²C bus, with a pull-up of 1.8 kohm on the board; use one of GPIO4 to GPIO27`},
		{"the bus as a ready line", func(r *Rig) { r.Chips[0].Ready = &line.Line{Chip: "pinctrl-rp1", Number: 3} },
			`ready.line: "3": it is SCL of the board's I²C bus`},
		{"no line of the header", func(r *Rig) { r.References = []line.Line{{Name: "REF", Chip: "/dev/gpiochip0", Number: 28}} },
			`references.REF.line: "28": a Raspberry Pi's header has no such line`},
		{"serial port", func(r *Rig) { r.Contacts = []line.Line{{Name: "K1_NO", LineName: "TXD1", Number: -1}} },
			`contacts.K1_NO.line: "TXD1": the board's serial port is on this line`},
		{"identity", func(r *Rig) { r.Contacts = []line.Line{{Name: "K1_NO", Chip: "gpiochip0", Number: 1}} },
			`contacts.K1_NO.line: "1": the board reads the identity of an add-on board through this line`},
		{"supply at 5 V", func(r *Rig) {
			r.Supply = &Supply{Model: MCP4725, Address: 0x60, Reference: 5, Gain: 3, Highest: 15, Usual: 12}
		},
			`supply.reference: "5 V": boards of such chips pull SDA and SCL up to the chip's supply`},
		{"long name", func(r *Rig) { r.Outputs[0].Name = strings.Repeat("x", 33) }, "at most 32 characters"},
		{"empty name", func(r *Rig) { r.Outputs[0].Name = "" }, "a name cannot be empty"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := benchRig()
			if p := r.Check(); len(p) > 0 {
				t.Fatalf("before: %v", p)
			}
			c.change(r)
			for _, p := range r.Check() {
				if strings.Contains(p.String(), c.want) {
					return
				}
			}
			t.Errorf("got %v\nwant %s", r.Check(), c.want)
		})
	}
}

// One line is one line, however a file names it. A chip that is not the header's keeps its lines
// to itself.
func TestCheck_SameLine(t *testing.T) {
	l := func(chip, name string, number int) line.Line {
		return line.Line{Name: "K1_NO", Chip: chip, LineName: name, Number: number}
	}
	for _, c := range []struct {
		a, b line.Line
		same bool
	}{
		{l("", "GPIO8", -1), l("gpiochip0", "", 8), true},
		{l("", "GPIO8", -1), l("", "SPI_CE0_N", -1), true},
		{l("/dev/gpiochip0", "", 8), l("pinctrl-bcm2711", "", 8), true},
		{l("gpiochip0", "GPIO8", -1), l("gpiochip4", "", 8), true},
		{l("/dev/gpiochip2", "", 8), l("gpiochip2", "", 8), true},
		{l("gpiochip0", "", 8), l("gpiochip2", "", 8), false},
		{l("gpiochip2", "GPIO2", -1), l("gpiochip2", "", 3), false},
		{l("", "HDR_11", -1), l("", "GPIO11", -1), false},
	} {
		r := benchRig()
		c.b.Name = "K1_NC"
		r.Contacts = []line.Line{c.a, c.b}
		p := r.Check()
		if len(p) > 0 != c.same || c.same && !strings.Contains(p[0].String(), "contacts.K1_NO uses this line") {
			t.Errorf("%+v and %+v: %v", c.a, c.b, p)
		}
	}
}
