package ads1x15

import (
	"fmt"
	"math"
	"slices"

	"makebreak/rig/wiring"
)

// The pointer register's values.
const (
	regConversion byte = iota
	regConfig
	regLow
	regHigh
)

// ResetConfig, ResetLow and ResetHigh are what the registers hold after power-up;
// the conversion register then holds 0 (SBAS444).
const (
	ResetConfig uint16 = 0x8583
	ResetLow    uint16 = 0x8000
	ResetHigh   uint16 = 0x7FFF
)

// The ready function: the high threshold's top bit 1, the low threshold's 0.
const (
	readyLow  uint16 = 0x0000
	readyHigh uint16 = 0x8000
)

// Mux is a setting of the input multiplexer: which input is measured against
// which.
type Mux uint8

// The settings.
const (
	Mux0to1 Mux = iota
	Mux0to3
	Mux1to3
	Mux2to3
	Mux0 // against ground, from here on
	Mux1
	Mux2
	Mux3
)

// String names the inputs as the data sheet does.
func (m Mux) String() string {
	return [...]string{
		"AIN0-AIN1", "AIN0-AIN3", "AIN1-AIN3", "AIN2-AIN3",
		"AIN0-GND", "AIN1-GND", "AIN2-GND", "AIN3-GND",
	}[m&7]
}

// Queue settings of the comparator; the ready function needs another one than
// QueueOff.
const (
	QueueOne uint8 = 0
	QueueOff uint8 = 3
)

// Config is the configuration register, field by field.
type Config struct {
	// Start is the OS bit: written as 1 it starts a single conversion, read as 1
	// it says that none runs.
	Start bool
	Mux   Mux
	// Gain is the code of the range, 0 to 7; see Range.
	Gain uint8
	// Single is true in single-shot and power-down, false in continuous mode.
	Single bool
	// Speed is the code of the data rate, 0 to 7; see Rate.
	Speed uint8
	// Window, ActiveHigh, Latching and Queue set up the comparator and its pin.
	Window     bool
	ActiveHigh bool
	Latching   bool
	Queue      uint8 // 0 to 3; 3 switches the pin off
}

// Decode takes a configuration register apart.
func Decode(v uint16) Config {
	return Config{
		Start:      v&(1<<15) != 0,
		Mux:        Mux(v >> 12 & 7),
		Gain:       uint8(v >> 9 & 7),
		Single:     v&(1<<8) != 0,
		Speed:      uint8(v >> 5 & 7),
		Window:     v&(1<<4) != 0,
		ActiveHigh: v&(1<<3) != 0,
		Latching:   v&(1<<2) != 0,
		Queue:      uint8(v & 3),
	}
}

// Encode puts the configuration register together. Bits that a field has no
// room for are dropped.
func (c Config) Encode() uint16 {
	v := uint16(c.Mux&7)<<12 | uint16(c.Gain&7)<<9 | uint16(c.Speed&7)<<5 | uint16(c.Queue&3)
	for _, bit := range [...]struct {
		set  bool
		mask uint16
	}{{c.Start, 1 << 15}, {c.Single, 1 << 8}, {c.Window, 1 << 4}, {c.ActiveHigh, 1 << 3}, {c.Latching, 1 << 2}} {
		if bit.set {
			v |= bit.mask
		}
	}
	return v
}

// Range returns the full scale in ± volts.
func (c Config) Range() float64 { return ranges[min(c.Gain&7, uint8(len(ranges)-1))] }

// Rate returns the conversions a second of that model.
func (c Config) Rate(model wiring.Model) int {
	r := rates(model)
	return r[min(int(c.Speed&7), len(r)-1)]
}

// Describe says what the configuration means for that model.
func (c Config) Describe(model wiring.Model) string {
	mode := "continuous"
	if c.Single {
		mode = "single-shot"
	}
	return fmt.Sprintf("%s, ±%g V, %d/s, %s", c.Mux, c.Range(), c.Rate(model), mode)
}

// ranges in ± volts, by the code of the amplifier: the widest first. Codes 6 and 7
// mean the last one as well.
var ranges = wiring.Ranges()

// rates are the conversions a second, by the code of the data rate: the slowest
// first. The ADS1015's code 7 means its last one as well. What is not known is taken
// for an ADS1115.
func rates(model wiring.Model) []int {
	if !known(model) {
		model = wiring.ADS1115
	}
	return model.Rates()
}

// Ranges returns the full scales of the model in ± volts, widest first; nil for
// a model not known.
func Ranges(model wiring.Model) []float64 {
	if !known(model) {
		return nil
	}
	return slices.Clone(ranges)
}

// Rates returns the conversions a second that the model can be set to, slowest
// first; nil for a model not known.
func Rates(model wiring.Model) []int {
	if !known(model) {
		return nil
	}
	return rates(model)
}

func known(model wiring.Model) bool { return model == wiring.ADS1115 || model == wiring.ADS1015 }

// gainCode returns the code of a range, or -1. Ranges read from text may be off
// in their last digit.
func gainCode(volts float64) int {
	return slices.IndexFunc(ranges, func(r float64) bool { return math.Abs(volts-r) <= 1e-9*r })
}
