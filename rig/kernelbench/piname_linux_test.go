package kernelbench_test

import (
	"strconv"
	"strings"
	"testing"

	"makebreak/rig/kernelbench"
)

// pi4Label and pi4Lines are what the mainline kernel makes of a Raspberry Pi 4's header
// (drivers/pinctrl/bcm/pinctrl-bcm2835.c; arch/arm/boot/dts/broadcom/bcm2711-rpi-4-b.dts).
const pi4Label = "pinctrl-bcm2711"

var pi4Lines = []string{
	"ID_SDA", "ID_SCL", "SDA1", "SCL1", "GPIO_GCLK", "GPIO5", "GPIO6", "SPI_CE1_N", "SPI_CE0_N", "SPI_MISO",
	"SPI_MOSI", "SPI_SCLK", "GPIO12", "GPIO13", "TXD1", "RXD1", "GPIO16", "GPIO17", "GPIO18", "GPIO19",
	"GPIO20", "GPIO21", "GPIO22", "GPIO23", "GPIO24", "GPIO25", "GPIO26", "GPIO27",
	"RGMII_MDIO", "RGMIO_MDC", "CTS0", "RTS0", "TXD0", "RXD0",
}

// On a kernel that does not call a line GPIO8, GPIO8 is still the line at the header's pin 24:
// the scan shows it, and a rig file may say it, as it may say the kernel's own name.
func TestKernel_NamesOfMainline(t *testing.T) {
	s := newSite(t, faultRate, "100 ms", "600 ms")
	board := kernelbench.NewChip(t, pi4Label, pi4Lines...)
	got, status := s.scan(nil)
	if status != exitPass {
		t.Errorf("rig scan: exit %d", status)
	}
	shown := map[string]int{}
	for _, c := range got.Chips {
		if c.Chip != board.Name {
			continue
		}
		for _, l := range c.Named {
			shown[l.GPIO] = l.Line
		}
	}
	for line := range 28 {
		if at, ok := shown["GPIO"+strconv.Itoa(line)]; !ok || at != line {
			t.Errorf("the scan shows no line %d, or another one, as GPIO%d (%d, %t)", line, line, at, ok)
		}
	}

	// KEY_AWAY is on GPIO8, KEY_OFF on GPIO7 by the kernel's own name, the reference on GPIO9.
	s.replace("{chip: kb-drives, line: 0, longest_on", "{line: GPIO8, longest_on")
	s.replace("{line: KEY_OFF,", "{line: SPI_CE1_N,")
	s.replace("{line: REFERENCE}", "{chip: "+pi4Label+", line: 9}")
	s.replace("{line: READY_A}", "{line: GPIO10}")
	s.adc.WireReady(0, board, 10)
	s.lines, s.referenceAt = board, board
	s.keyAway, s.keyOff, s.reference = 8, 7, 9
	s.startPanel()
	s.startRun().ends(exitPass)
	r := s.start(nil, "rig", "check", "--rig", s.rig)
	if status := r.wait(); status != exitUndecided {
		t.Errorf("rig check: exit %d\n%s%s", status, r.out.String(), r.err.String())
	}

	// Lines of the bus are refused by either name, with the reason.
	for _, name := range []string{"GPIO2", "SDA1"} {
		s.text = strings.Replace(s.text, "{line: GPIO8, longest_on", "{line: "+name+", longest_on", 1)
		s.rig = s.writeRig("rig.yaml", `"1"`)
		r := s.startRun()
		if status := r.wait(); status != exitInput {
			t.Errorf("a drive on %s: exit %d\n%s", name, status, r.err.String())
		}
		s.text = strings.Replace(s.text, "{line: "+name+", longest_on", "{line: GPIO8, longest_on", 1)
	}
}
