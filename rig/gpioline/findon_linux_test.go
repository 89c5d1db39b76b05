package gpioline

import (
	"errors"
	"strconv"
	"testing"

	"golang.org/x/sys/unix"

	"makebreak/rig/line"
)

// A chip of four lines has the lines 0 to 3.
func TestFindOn_numbers(t *testing.T) {
	chips := []*chip{{name: "gpiochip0", lines: 4}}
	for number, ok := range map[int]bool{-1: false, 0: true, 3: true, 4: false, 5: false} {
		at, err := findOn(chips, line.Line{Number: number})
		if ok && (err != nil || at.offset != number) || !ok && !errors.Is(err, unix.EINVAL) {
			t.Errorf("line %d: offset %d, %v", number, at.offset, err)
		}
	}
}

// mainline is a Raspberry Pi 4's chip with the names of the mainline kernel's device tree
// (bcm2711-rpi-4-b.dts), in which TXD0 is no line of the header.
func mainline() named {
	names := []string{"ID_SDA", "ID_SCL", "SDA1", "SCL1", "GPIO_GCLK", "GPIO5", "GPIO6", "SPI_CE1_N", "SPI_CE0_N", "SPI_MISO", "SPI_MOSI", "SPI_SCLK",
		"GPIO12", "GPIO13", "TXD1", "RXD1", "GPIO16", "GPIO17", "GPIO18", "GPIO19", "GPIO20", "GPIO21", "GPIO22", "GPIO23", "GPIO24", "GPIO25", "GPIO26",
		"GPIO27", "RGMII_MDIO", "RGMIO_MDC", "CTS0", "RTS0", "TXD0"}
	n := named{chip: &chip{name: "gpiochip0", label: "pinctrl-bcm2711"}}
	for i, name := range names {
		n.lines = append(n.lines, LineInfo{Offset: i, Name: name})
	}
	return n
}

// A rig file's GPIO8 is found on a kernel that calls it SPI_CE0_N, and the other way round.
func TestPlaceOf_OtherKernel(t *testing.T) {
	other := named{chip: &chip{name: "gpiochip0", label: "pinctrl-rp1"}}
	for i := range 54 {
		other.lines = append(other.lines, LineInfo{Offset: i, Name: "GPIO" + strconv.Itoa(i)})
	}
	expander := named{chip: &chip{name: "gpiochip1", label: "raspberrypi-exp-gpio"}, lines: []LineInfo{{Offset: 0, Name: "BT_ON"}, {Offset: 1, Name: "GPIO14"}}}
	unknown := named{chip: &chip{name: "gpiochip0", label: "soc"}, lines: mainline().lines}
	for _, c := range []struct {
		all    []named
		name   string
		chip   string
		offset int
		is     error
	}{
		{[]named{mainline(), expander}, "GPIO8", "gpiochip0", 8, nil},
		{[]named{expander, mainline()}, "GPIO17", "gpiochip0", 17, nil},
		{[]named{other, expander}, "SPI_CE0_N", "gpiochip0", 8, nil},
		{[]named{other}, "RXD1", "gpiochip0", 15, nil},
		{[]named{mainline()}, "TXD0", "gpiochip0", 32, nil}, // the kernel's own name comes first
		{[]named{mainline(), expander}, "GPIO14", "gpiochip1", 1, nil},
		{[]named{mainline()}, "GPIO28", "", 0, unix.ENOENT},
		{[]named{unknown}, "GPIO8", "", 0, unix.ENOENT}, // no Raspberry Pi
		{[]named{mainline(), mainline()}, "GPIO8", "", 0, unix.EINVAL},
	} {
		at, err := placeOf(c.all, c.name)
		if !errors.Is(err, c.is) || err == nil && (at.chip.name != c.chip || at.offset != c.offset) {
			t.Errorf("%s: %+v, %v", c.name, at, err)
		}
	}
}
