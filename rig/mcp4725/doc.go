// Package mcp4725 drives the MCP4725, a digital to analogue converter of 12 bits on
// I²C.
//
// Facts are from Microchip's data sheet DS22039, of which the sections on the interface
// (6.1, 6.2) have been read; the others are from memory, or agree with the Linux driver
// drivers/iio/dac/mcp4725.c where that is said.
//
// # What goes over the wire
//
// Codes are written in the chip's fast mode: two bytes after the address, of which the
// first has 0 0 PD1 PD0 D11 to D8 and the second D7 to D0 (section 6.1.1). With a start
// and a stop that is 29 bits, 72.5 µs at 400 kHz. The output changes at the acknowledge
// of the last byte, one bit before the transfer ends, and settles within some 6 µs.
// Status is read back as five bytes, 56 bits with the address (section 6.2), or as the
// first three, 38 bits, for the setting alone: 95 µs at 400 kHz. Every write
// of this package may be repeated.
//
// # The EEPROM is left alone
//
// The chip has an EEPROM that says what it puts out when its supply comes up. Nothing
// here writes it, for two reasons. It wears: a million writes are allowed (from memory), and
// a ramp of thousands of steps every minute would use them up in a day. And it is the owner's: what is stored there
// decides what the unit gets at the next power-up, when no program watches. As it comes
// from the factory that is half of full scale (from memory).
//
// # Traps
//
//   - The chip's full scale is its supply. What that is off, the output is off.
//   - The chip keeps its output until it is told otherwise, whatever becomes of the
//     program.
//   - A dip of its supply, and a general call reset (06h to address 0, from anybody on the
//     bus), load what is in the EEPROM. Nothing tells but a read-back; see [Dev.Verify].
//   - While the EEPROM is being written by somebody else, up to 50 ms (Linux driver),
//     writes are acknowledged and ignored.
package mcp4725
