package ads1x15

import (
	"math"
	"slices"
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
	// Gain is the code of the range, 0 to 7; see Ranges.
	Gain uint8
	// Single is true in single-shot and power-down, false in continuous mode.
	Single bool
	// Speed is the code of the data rate, 0 to 7; see Model.Rates.
	Speed uint8
	// Window, ActiveHigh, Latching and Queue set up the comparator and its pin.
	Window     bool
	ActiveHigh bool
	Latching   bool
	Queue      uint8 // 0 to 3; 3 switches the pin off
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

// gainCode returns the code of a range, or -1. Ranges read from text may be off
// in their last digit.
func gainCode(volts float64) int {
	return slices.IndexFunc(ranges, func(r float64) bool { return math.Abs(volts-r) <= 1e-9*r })
}
