package header

import (
	"slices"
	"testing"
)

// Every pin of the header is one line's, a supply's or ground, and none is two of them.
func TestPins_Complete(t *testing.T) {
	all := slices.Concat(pins[:], Pins3V3, Pins5V, Grounds)
	slices.Sort(all)
	for i, pin := range all {
		if pin != i+1 {
			t.Fatalf("pins %v: pin %d is missing, or there twice", all, i+1)
		}
	}
	if len(all) != 40 {
		t.Errorf("%d pins", len(all))
	}
}

func TestNumber(t *testing.T) {
	for _, c := range []struct {
		name string
		gpio int
		ok   bool
	}{
		{"GPIO0", 0, true}, {"GPIO27", 27, true}, {"GPIO28", 28, false}, {"GPIO017", 17, false}, {"GPIO-1", -1, false},
		{"SPI_CE0_N", 8, true}, {"TXD1", 14, true}, {"gpio17", 0, false}, {"", 0, false}, {"HDR_11", 0, false},
		{"TXD0", 0, false}, // a Pi 4's is not on the header
	} {
		if gpio, ok := Number(c.name); ok != c.ok || ok && gpio != c.gpio {
			t.Errorf("%q: %d, %v", c.name, gpio, ok)
		}
	}
	for name, gpio := range otherNames {
		if Pin(gpio) == 0 {
			t.Errorf("%s: line %d has no pin", name, gpio)
		}
	}
}

func TestOnHeader(t *testing.T) {
	for chip, want := range map[string]bool{"": true, "gpiochip0": true, "/dev/gpiochip0": true, "gpiochip4": true, "pinctrl-rp1": true,
		"gpiochip1": false, "kb-contacts": false, "raspberrypi-exp-gpio": false} {
		if OnHeader(chip) != want {
			t.Errorf("%q: %v", chip, !want)
		}
	}
}
