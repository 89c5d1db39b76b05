package commission

import (
	"fmt"
	"strings"
	"syscall"
	"testing"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/gpioline"
	"makebreak/rig/simchip"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// standing is a clock that only a bus moves.
type standing struct{ at capture.Instant }

func (s *standing) Now() capture.Instant         { return s.at }
func (s *standing) AdvanceTo(at capture.Instant) { s.at = at }

// watchedBus notes what is written, has a temperature sensor at 0x4B, and can get stuck.
type watchedBus struct {
	i2c.Bus
	wrote   map[uint16][]string
	sensor  byte // register that the sensor stands at
	stuckAt uint16
}

func (b *watchedBus) Tx(addr uint16, w, r []byte) error {
	if len(w) > 0 {
		b.wrote[addr] = append(b.wrote[addr], fmt.Sprintf("% x", w))
	}
	switch addr {
	case b.stuckAt:
		return fmt.Errorf("bus held: %w", syscall.ETIMEDOUT)
	case 0x4B:
		if len(w) > 0 {
			b.sensor = w[0]
		}
		copy(r, [][]byte{{0x19, 0x80}, {0x00, 0xFF}, {0x4B, 0x00}, {0x50, 0x00}}[b.sensor])
		return nil
	}
	return b.Bus.Tx(addr, w, r)
}

// crowded is a bus with a converter just powered up, one that a program has set up, one
// that the kernel holds, a sensor and a DAC.
func crowded(t *testing.T) *watchedBus {
	t.Helper()
	bus := simchip.NewBus(&standing{}, 400_000)
	in := func(_, _ capture.Instant) float64 { return 1.2345 }
	for addr := uint16(0x48); addr <= 0x4A; addr++ {
		if err := bus.Attach(addr, simchip.NewChip([4]simchip.Input{in}, simchip.Opts{Model: ads1x15.ADS1115})); err != nil {
			t.Fatal(err)
		}
	}
	opts := ads1x15.DefaultOpts
	opts.Ready = true
	dev, err := ads1x15.New(bus, 0x49, &opts)
	if err != nil {
		t.Fatal(err)
	}
	if err := dev.Setup(); err != nil {
		t.Fatal(err)
	}
	if err := dev.Start(0); err != nil {
		t.Fatal(err)
	}
	for busy := true; busy; {
		if busy, err = dev.Busy(); err != nil {
			t.Fatal(err)
		}
	}
	if err := bus.AttachDAC(0x62, simchip.NewDAC(simchip.DACOpts{})); err != nil {
		t.Fatal(err)
	}
	return &watchedBus{Bus: bus, wrote: map[uint16][]string{}}
}

func heldByKernel(addr uint16) string {
	if addr == 0x4A {
		return "ads1015"
	}
	return ""
}

// mainlinePi4 is a Raspberry Pi 4's chip as the mainline kernel's device tree names its lines
// (bcm2711-rpi-4-b.dts), two of them in use.
func mainlinePi4() gpioline.ChipInfo {
	c := gpioline.ChipInfo{Name: "gpiochip0", Path: "/dev/gpiochip0", Label: "pinctrl-bcm2711"}
	for i, name := range strings.Fields("ID_SDA ID_SCL SDA1 SCL1 GPIO_GCLK GPIO5 GPIO6 SPI_CE1_N SPI_CE0_N SPI_MISO SPI_MOSI SPI_SCLK GPIO12 GPIO13 TXD1 RXD1 " +
		"GPIO16 GPIO17 GPIO18 GPIO19 GPIO20 GPIO21 GPIO22 GPIO23 GPIO24 GPIO25 GPIO26 GPIO27 RGMII_MDIO RGMIO_MDC CTS0 RTS0 TXD0") {
		c.Lines = append(c.Lines, gpioline.LineInfo{Offset: i, Name: name})
	}
	c.Lines[27].Used, c.Lines[27].Consumer, c.Lines[27].Output = true, "makebreak", true
	c.Lines[28].Used = true
	return c
}

const scanText = `I²C buses
bus                            address  what answers                                                                registers
simulated I²C bus (400000 Hz)  0x48     ADS1115 or ADS1015, as after power-up                                       conversion 0000h, configuration 8583h, thresholds 8000h and 7FFFh
simulated I²C bus (400000 Hz)  0x49     ADS1115, set up by a program                                                conversion 2694h, configuration C3E0h, thresholds 0000h and 8000h
simulated I²C bus (400000 Hz)  0x4A     held by the kernel's driver ads1015: take out its dtoverlay to use it here
simulated I²C bus (400000 Hz)  0x4B     a chip that does not look like an ADS1115 or ADS1015                        conversion 1980h, configuration 00FFh, thresholds 4B00h and 5000h
simulated I²C bus (400000 Hz)  0x62     another chip (a DAC may be here)

GPIO chips
chip       node            driver           lines  at the header's pins  in use
gpiochip0  /dev/gpiochip0  pinctrl-bcm2711     33                    28       2

Lines at the header's pins, and those in use
chip       line  name               pin  direction  used by
gpiochip0     0  GPIO0 (ID_SDA)     27   input      free
gpiochip0     1  GPIO1 (ID_SCL)     28   input      free
gpiochip0     2  GPIO2 (SDA1)       3    input      free
gpiochip0     3  GPIO3 (SCL1)       5    input      free
gpiochip0     4  GPIO4 (GPIO_GCLK)  7    input      free
gpiochip0     5  GPIO5              29   input      free
gpiochip0     6  GPIO6              31   input      free
gpiochip0     7  GPIO7 (SPI_CE1_N)  26   input      free
gpiochip0     8  GPIO8 (SPI_CE0_N)  24   input      free
gpiochip0     9  GPIO9 (SPI_MISO)   21   input      free
gpiochip0    10  GPIO10 (SPI_MOSI)  19   input      free
gpiochip0    11  GPIO11 (SPI_SCLK)  23   input      free
gpiochip0    12  GPIO12             32   input      free
gpiochip0    13  GPIO13             33   input      free
gpiochip0    14  GPIO14 (TXD1)      8    input      free
gpiochip0    15  GPIO15 (RXD1)      10   input      free
gpiochip0    16  GPIO16             36   input      free
gpiochip0    17  GPIO17             11   input      free
gpiochip0    18  GPIO18             12   input      free
gpiochip0    19  GPIO19             35   input      free
gpiochip0    20  GPIO20             38   input      free
gpiochip0    21  GPIO21             40   input      free
gpiochip0    22  GPIO22             15   input      free
gpiochip0    23  GPIO23             16   input      free
gpiochip0    24  GPIO24             18   input      free
gpiochip0    25  GPIO25             22   input      free
gpiochip0    26  GPIO26             37   input      free
gpiochip0    27  GPIO27             13   output     makebreak
gpiochip0    28  RGMII_MDIO              input      something that gives no name

Cannot be looked at: /dev/gpiochip1: this user may not open it.
`

// What answers is told apart by its registers, for which nothing is written but their
// numbers, and those only at the converters' addresses.
func TestRigScan_WhatAnswers(t *testing.T) {
	bus := crowded(t)
	s := &Found{busIsThere: true, chipIsThere: true, Closed: []string{"/dev/gpiochip1: this user may not open it"}}
	s.Buses = append(s.Buses, scanBus(bus, heldByKernel))
	s.take([]gpioline.ChipInfo{mainlinePi4()})
	var w strings.Builder
	if err := s.Text(&w); err != nil {
		t.Fatal(err)
	}
	if w.String() != scanText {
		t.Errorf("it says:\n%s", w.String())
	}
	for addr, all := range bus.wrote {
		for i, wrote := range all {
			if want := fmt.Sprintf("%02x", i%4); addr > ads1x15.LastAddress || addr == 0x4A || wrote != want {
				t.Errorf("%s was written to %#02x, want nothing but the numbers of a converter's registers", wrote, addr)
			}
		}
	}
	if len(bus.wrote[0x48]) != 4 {
		t.Errorf("written to 0x48: %v", bus.wrote[0x48])
	}
}

// A board whose lines have other names than a Raspberry Pi's gets all that have one, since
// those are what its rig file can say.
func TestRigScan_OtherBoard(t *testing.T) {
	s := &Found{}
	s.take([]gpioline.ChipInfo{{Name: "gpiochip0", Path: "/dev/gpiochip0", Label: "expander", Lines: []gpioline.LineInfo{
		{Offset: 0, Name: "HDR_7"}, {Offset: 1}, {Offset: 2, Used: true, Consumer: "led"},
	}}, {Name: "gpiochip1", Path: "/dev/gpiochip1", Label: "soc", Lines: []gpioline.LineInfo{{Offset: 0}, {Offset: 1, Name: "HDR_11"}}}})
	var w strings.Builder
	if err := s.Text(&w); err != nil {
		t.Fatal(err)
	}
	const want = `chip       line  name    direction  used by
gpiochip0     0  HDR_7   input      free
gpiochip0     2          input      led
gpiochip1     1  HDR_11  input      free
`
	if text := w.String(); !strings.Contains(text, want) || !strings.Contains(text, "Lines with a name, and those in use") || strings.Contains(text, "GPIO27") {
		t.Errorf("it says:\n%s", text)
	}
}

// On a bus that is held every address would take its time-out, so the first one ends it.
func TestRigScan_HeldBus(t *testing.T) {
	bus := crowded(t)
	bus.stuckAt = 0x49
	got := scanBus(bus, heldByKernel)
	if len(got.Answers) != 1 || got.Trouble == nil || !strings.Contains(*got.Trouble, "bus held") {
		t.Errorf("%+v", got)
	}
	s := &Found{Buses: []FoundBus{got}, busIsThere: true, chipIsThere: true}
	var w strings.Builder
	if err := s.Text(&w); err != nil || !strings.Contains(w.String(), "the search ended: bus held") {
		t.Errorf("%v\n%s", err, w.String())
	}
}

// With buses and without converters, it says what to check.
func TestRigScan_NoConverter(t *testing.T) {
	s := &Found{busIsThere: true, Buses: []FoundBus{scanBus(simchip.NewBus(&standing{}, 100_000), func(uint16) string { return "" })}}
	var w strings.Builder
	if err := s.Text(&w); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"nothing", "No converter answers at 0x48 to 0x4B: check its supply", "No GPIO chip"} {
		if !strings.Contains(w.String(), want) {
			t.Errorf("it does not say %q:\n%s", want, w.String())
		}
	}
}

// A chip is taken for the one that the rig file names only where its registers can be
// those of one: the ADS1015's readings end in four bits that are 0, and a sensor's
// registers do not stand as the converters' do.
func TestOtherThan(t *testing.T) {
	bus := crowded(t)
	for _, c := range []struct {
		addr  uint16
		model ads1x15.Model
		want  string
	}{
		{0x48, ads1x15.ADS1115, ""},
		{0x48, ads1x15.ADS1015, ""},
		{0x49, ads1x15.ADS1115, ""},
		{0x49, ads1x15.ADS1015, "it is an ADS1115, and the rig file says ADS1015: conversion 2694h, configuration C3E0h, thresholds 0000h and 8000h"},
		{0x4B, ads1x15.ADS1115, "it does not look like an ADS1115: conversion 1980h, configuration 00FFh, thresholds 4B00h and 5000h; it is another chip, or a program has set it up otherwise: switch its supply off and on, and check again"},
	} {
		id, err := identify(bus, &wiring.Chip{Name: "A", Model: c.model, Address: c.addr, Range: 4.096, Rate: 128})
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		if err := otherThan(c.model, id); err != nil {
			got = err.Error()
		}
		if got != c.want {
			t.Errorf("%s at %#x: %q", c.model, c.addr, got)
		}
	}
}

// A bus that is there and could not be opened is not said to have no converter.
func TestFound_missing(t *testing.T) {
	if m := (&Found{busIsThere: true, chipIsThere: true, Closed: []string{"/dev/i2c-1"}}).missing(); len(m) != 0 {
		t.Errorf("nothing was looked at, and it says %q", m)
	}
	if m := (&Found{chipIsThere: true}).missing(); len(m) != 1 || !strings.HasPrefix(m[0], "No I²C bus") {
		t.Errorf("no bus: %q", m)
	}
}

// What is known of the computer comes first, with what to do about it.
func TestRigScan_Computer(t *testing.T) {
	facts := []capture.MachineFact{capture.Said(capture.Model, "Raspberry Pi 4 Model B Rev 1.4"), capture.Said(capture.Governor, "ondemand"), capture.Yes(capture.UnderVoltage, true)}
	s := &Found{busIsThere: true, chipIsThere: true, computer: facts}
	var w strings.Builder
	if err := s.Text(&w); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Computer\n", "under-voltage                      yes", "Advice: The governor ondemand", "Advice: The board is short of voltage"} {
		if !strings.Contains(w.String(), want) {
			t.Errorf("it does not say %q:\n%s", want, w.String())
		}
	}
	r := Report{Rig: rigfile.Builtin()[0], Computer: facts}
	w.Reset()
	if err := r.Text(&w); err != nil || !strings.Contains(w.String(), "Advice: The board is short of voltage") {
		t.Errorf("rig check: %v\n%s", err, w.String())
	}
	if found := Scan(); found.Computer["kernel"] == nil {
		t.Errorf("this machine: %v", found.Computer)
	}
}
