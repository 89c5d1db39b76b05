package commission

import (
	"strings"
	"testing"

	"makebreak/rig/line"
	"makebreak/rig/wiring/rigfile"
)

// A line's pin is that of the header's public pinout, however a rig file names the line.
func TestWiring_Pins(t *testing.T) {
	for _, c := range []struct {
		line line.Line
		pin  string
	}{
		{line.Line{LineName: "GPIO22", Number: -1}, "15"},
		{line.Line{LineName: "SPI_CE0_N", Number: -1}, "24"},
		{line.Line{Chip: "pinctrl-rp1", Number: 26}, "37"},
		{line.Line{Chip: "/dev/gpiochip4", Number: 16}, "36"},
		{line.Line{Chip: "gpiochip2", Number: 16}, ""},
		{line.Line{LineName: "HDR_11", Number: -1}, ""},
	} {
		rig := *rigfile.Builtin()[0]
		c.line.Name = "K9_NO"
		rig.Contacts, rig.References, rig.Drives = []line.Line{c.line}, nil, nil
		var w strings.Builder
		if err := WriteWiring(&w, &rig); err != nil {
			t.Fatal(err)
		}
		table, drawn, _ := strings.Cut(w.String(), "\nThe header")
		var row []string
		for l := range strings.Lines(table) {
			if strings.HasPrefix(l, "K9_NO") {
				row = strings.Split(strings.TrimSpace(l[:strings.Index(l, "the contact")]), "  ")
			}
		}
		if last := strings.TrimSpace(row[len(row)-1]); c.pin != "" && last != c.pin {
			t.Errorf("%+v: %q, want pin %s", c.line, row, c.pin)
		}
		if strings.Contains(drawn, "K9_NO") != (c.pin != "") {
			t.Errorf("%+v in the drawing:\n%s", c.line, drawn)
		}
		for l := range strings.Lines(drawn) {
			left, right, _ := strings.Cut(l, "|")
			beside := left
			if strings.Contains(right, "K9_NO") {
				beside = right
			}
			if strings.Contains(l, "K9_NO") && !strings.Contains(" "+beside+" ", " "+c.pin+" ") {
				t.Errorf("%+v is drawn at another pin than %s: %s", c.line, c.pin, l)
			}
		}
	}
}
