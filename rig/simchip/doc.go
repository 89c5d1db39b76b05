// Package simchip is a converter chip of the ADS1115 and ADS1015 family as its
// registers behave, on a simulated I²C bus in virtual time. Beside it stands the DAC of a
// programmable supply.
//
// A [Chip] keeps the four registers and the one conversion that runs; a [Bus]
// is a periph i2c.Bus that carries transfers to chips and takes for each the
// time that its bits need on a real bus. The driver in rig/ads1x15 runs on it
// unchanged. The register tables stand here a second time, on purpose: a slip
// in one of the two packages shows as soon as they talk to each other.
//
// # What is modelled
//
// Facts from TI's data sheets SBAS444 (ADS1115) and SBAS473 (ADS1015):
//
//   - The multiplexer with all eight settings, the ranges, the rates. The
//     oscillator is off by a fixed share, given per chip.
//   - Single-shot: 25 µs to power up, then one conversion of 1/rate. OS reads 0
//     meanwhile, and OS written as 1 meanwhile starts nothing; the other bits
//     are kept.
//   - Continuous: after the power-up, conversion k ends k periods later. OS
//     reads 0. A new configuration takes effect with the next conversion, the
//     running one ends with the old settings; so does a running single shot.
//   - The conversion register changes when a conversion ends, and a read returns
//     what stood in it at the end of its address byte.
//   - The converter integrates: the code stands for the mean of the input over
//     the whole conversion; a step within it gives a value in between.
//   - The pins clamp at 0.3 V beyond ground and supply, codes clip at both ends,
//     the ADS1015's 12 bits stand left-justified. (The mean over the conversion
//     is clamped, not each moment of it.)
//   - The ready function of the ALERT/RDY pin (high threshold's top bit 1, low
//     threshold's 0, comparator queue not 3) in both polarities.
//   - General call reset: 06h to address 0.
//
// Facts from Microchip's data sheet DS22039 (MCP4725), for a [DAC]: the fast write, the
// writes of the register and of the EEPROM with its busy time, the read-back, the
// power-down bits, and loading the EEPROM at power-up and at a general call reset.
//
// Not modelled: the comparator proper (outside the ready function the ALERT/RDY
// pin stays released), clock stretching (these chips do not), the bus time-out
// of an abandoned transfer.
//
// # Laziness
//
// A conversion costs nothing until somebody reads it: ends are counted, and the
// inputs are asked for their mean (and noise is added) once, when the register
// is read for the first time after that end. The same transfers with the same
// seed therefore give the same codes. Whoever drives the inputs must be able to
// answer for the past that far back: [Chip.Oldest] says how far, and
// [Chip.Latch] makes the chip ask now.
package simchip
