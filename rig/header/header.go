// Package header knows the 40-pin header of a Raspberry Pi: which GPIO lines it has, at
// which pins, what the kernel calls them, and what a board itself uses some of them for.
package header

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Lines is how many GPIO lines the header has. They are numbered from 0.
const Lines = 28

// pins are the header's pins by GPIO number, as in public pinouts of the header.
var pins = [Lines]int{27, 28, 3, 5, 7, 29, 31, 26, 24, 21, 19, 23, 32, 33, 8, 10, 36, 11, 12, 35, 38, 40, 15, 16, 18, 22, 37, 13}

// Pins of the header that carry no line.
var (
	Pins3V3 = []int{1, 17}
	Pins5V  = []int{2, 4}
	Grounds = []int{6, 9, 14, 20, 25, 30, 34, 39}
)

// Lines of the board's own I²C bus.
const (
	SDA = 2
	SCL = 3
)

// otherNames are names of lines that do not say the number, as the device trees of the
// mainline kernel have them (arch/arm/boot/dts/broadcom/bcm2711-rpi-4-b.dts and
// bcm2835-rpi-zero-w.dts). They name lines 14 and 15 by which serial port they carry.
var otherNames = map[string]int{
	"ID_SDA": 0, "ID_SCL": 1, "SDA1": SDA, "SCL1": SCL, "GPIO_GCLK": 4,
	"SPI_CE1_N": 7, "SPI_CE0_N": 8, "SPI_MISO": 9, "SPI_MOSI": 10, "SPI_SCLK": 11,
	"TXD1": 14, "RXD1": 15,
}

// controllers are the labels of the kernel's drivers of the lines: of the boards 1 to 3 and
// Zero, 4, and 5. Each numbers the header's lines from 0.
var controllers = []string{"pinctrl-bcm2835", "pinctrl-bcm2711", "pinctrl-rp1"}

// chips are the kernel's names of the chip: on a Pi 5 it is one or the other, depending on
// the kernel.
var chips = []string{"gpiochip0", "gpiochip4"}

// Controller reports whether a GPIO chip's label is that of the chip behind the header.
func Controller(label string) bool { return slices.Contains(controllers, label) }

// OnHeader reports whether a rig file's word for a chip means the header's: a kernel's name
// or node, a label, or none.
func OnHeader(chip string) bool {
	return chip == "" || Controller(chip) || slices.Contains(chips, strings.TrimPrefix(chip, "/dev/"))
}

// Numbered returns the number in a name of the form GPIO17. It need not be on the header.
func Numbered(name string) (gpio int, ok bool) {
	digits, ok := strings.CutPrefix(name, "GPIO")
	gpio, err := strconv.Atoi(digits)
	return gpio, ok && err == nil && gpio >= 0 && strconv.Itoa(gpio) == digits
}

// Number returns the GPIO number of the header's line that a name means, whichever kernel
// gave the name.
func Number(name string) (gpio int, ok bool) {
	if gpio, ok = Numbered(name); ok {
		return gpio, gpio < Lines
	}
	gpio, ok = otherNames[name]
	return gpio, ok
}

// At returns the GPIO number of the header's line that a rig file means by a chip and a name,
// or where the name is empty a number; false: it means none of the header's.
func At(chip, name string, number int) (gpio int, ok bool) {
	if !OnHeader(chip) {
		return 0, false
	}
	if name != "" {
		return Number(name)
	}
	return number, number >= 0 && number < Lines && chip != ""
}

// Name is what a rig file calls a line of the header: GPIO17.
func Name(gpio int) string { return fmt.Sprintf("GPIO%d", gpio) }

// Pin returns the header's pin of a line; 0: the header has no such line.
func Pin(gpio int) int {
	if gpio < 0 || gpio >= Lines {
		return 0
	}
	return pins[gpio]
}

// Taken says what the board itself has on a line, so that nothing else can be wired there;
// empty: nothing. Both lines of the bus have resistors of 1.8 kΩ to 3.3 V on every board.
func Taken(gpio int) string {
	switch gpio {
	case SDA:
		return "SDA of the board's I²C bus, with a pull-up of 1.8 kohm on the board"
	case SCL:
		return "SCL of the board's I²C bus, with a pull-up of 1.8 kohm on the board"
	}
	return ""
}

// Doubtful says what a board may use a line for unless it is told otherwise; empty: nothing.
func Doubtful(gpio int) string {
	switch gpio {
	case 0, 1:
		return "the board reads the identity of an add-on board through this line when it starts"
	case 14, 15:
		return "the board's serial port is on this line: its console drives it where that is switched on"
	}
	return ""
}
