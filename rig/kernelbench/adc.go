//go:build linux

package kernelbench

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// Bus is the name of the bus on which the guest's converters answer.
const Bus = "/dev/i2c-1"

const (
	chips    = 4
	channels = 4
	knobDir  = "/sys/module/kb_adc/parameters/"
)

// Converters are the knobs of the guest's four ADS1115 at 0x48 to 0x4B.
type Converters struct {
	t          testing.TB
	microvolts [chips * channels]int
	answering  int // mask of what answers: the chips, then the supply's converter
}

// NewConverters sets all inputs to 0 V, all clocks to nominal, all chips
// present and no faults, now and when the test ends.
func NewConverters(t testing.TB) *Converters {
	t.Helper()
	Need(t)
	c := &Converters{t: t}
	c.reset()
	t.Cleanup(c.reset)
	return c
}

func (c *Converters) reset() {
	c.microvolts = [chips * channels]int{}
	c.writeVolts()
	c.knob("ppm", "0,0,0,0")
	c.answering = 1<<chips - 1
	c.writePresent()
	c.knob("fail_count", "0")
	c.knob("delay_us", "0")
	c.knob("bus_hz", "0")
	c.knob("loses", "0,0,0,0")
	c.SetFilter(1, 100)
	for chip := range chips {
		c.knob("ready", fmt.Sprintf("%d - 0", chip))
	}
}

// SetVolts puts a voltage on an input pin.
func (c *Converters) SetVolts(chip, channel int, volts float64) {
	c.t.Helper()
	c.microvolts[chip*channels+channel] = int(math.Round(volts * 1e6))
	c.writeVolts()
}

func (c *Converters) writeVolts() {
	c.t.Helper()
	var text []string
	for _, uv := range c.microvolts {
		text = append(text, strconv.Itoa(uv))
	}
	c.knob("microvolts", strings.Join(text, ","))
}

// SetPresent says which chips answer.
func (c *Converters) SetPresent(answers [4]bool) {
	c.t.Helper()
	c.answering &= supplyAnswers
	for i, yes := range answers {
		if yes {
			c.answering |= 1 << i
		}
	}
	c.writePresent()
}

func (c *Converters) writePresent() {
	c.t.Helper()
	c.knob("present", strconv.Itoa(c.answering))
}

// Fail makes the next transfers on the bus end with the errno.
func (c *Converters) Fail(errno unix.Errno, count int) {
	c.t.Helper()
	c.knob("fail_errno", strconv.Itoa(int(errno)))
	c.knob("fail_count", strconv.Itoa(count))
}

// SetBus gives the bus a clock: a transfer then takes as long as its bits do on the wire.
func (c *Converters) SetBus(hz int) {
	c.t.Helper()
	c.knob("bus_hz", strconv.Itoa(hz))
}

// WireReady wires the chip's ALERT/RDY pin to a line. Only the edges at which it
// becomes active are made; the line's level stays.
func (c *Converters) WireReady(chip int, to *Chip, line int) {
	c.t.Helper()
	c.knob("ready", fmt.Sprintf("%d %s %d", chip, to.Name, line))
	to.t.Cleanup(func() { c.knob("ready", fmt.Sprintf("%d - 0", chip)) })
}

// LoseReady loses every n-th ready edge of each chip on its way to the line; 0: none.
func (c *Converters) LoseReady(n [chips]int) {
	c.t.Helper()
	c.knob("loses", fmt.Sprintf("%d,%d,%d,%d", n[0], n[1], n[2], n[3]))
}

// SetClocks sets how far the chips' clocks are off, in parts per million.
func (c *Converters) SetClocks(ppm [chips]int) {
	c.t.Helper()
	c.knob("ppm", fmt.Sprintf("%d,%d,%d,%d", ppm[0], ppm[1], ppm[2], ppm[3]))
}

// SetFilter says what a conversion makes of its input: 1 or 3 means in a row, over the last
// part of its time, in percent. 1 and 100 are a plain mean over all of it.
func (c *Converters) SetFilter(means, lastPercent int) {
	c.t.Helper()
	c.knob("means", strconv.Itoa(means))
	c.knob("last_percent", strconv.Itoa(lastPercent))
}

// SupplyAddress is where the supply's converter answers, an MCP4725.
const SupplyAddress = 0x60

// SupplyFile shows the code of the supply's converter and its power-down bits: "1234 0".
const SupplyFile = knobDir + "dac"

const supplyAnswers = 1 << chips

// SetSupply connects the supply's converter, which nothing else does, with a code as its
// EEPROM gives it when it is switched on.
func (c *Converters) SetSupply(code int) {
	c.t.Helper()
	c.answering |= supplyAnswers
	c.writePresent()
	c.knob("dac", strconv.Itoa(code))
}

// Lost counts the ready edges lost on purpose since the guest started, by chip.
func (c *Converters) Lost() (n [chips]int) {
	c.t.Helper()
	b, err := os.ReadFile(knobDir + "lost")
	if err != nil {
		c.t.Fatal(err)
	}
	if _, err := fmt.Sscanf(string(b), "%d,%d,%d,%d", &n[0], &n[1], &n[2], &n[3]); err != nil {
		c.t.Fatalf("%q: %v", b, err)
	}
	return n
}

// Transfers counts the transfers on the bus since the guest started.
func (c *Converters) Transfers() int {
	c.t.Helper()
	b, err := os.ReadFile(knobDir + "transfers")
	if err != nil {
		c.t.Fatal(err)
	}
	n, err := strconv.Atoi(strings.TrimSpace(string(b)))
	if err != nil {
		c.t.Fatal(err)
	}
	return n
}

func (c *Converters) knob(name, text string) {
	c.t.Helper()
	if err := os.WriteFile(knobDir+name, []byte(text), 0); err != nil {
		c.t.Fatalf("%s: %v", name, err)
	}
}
