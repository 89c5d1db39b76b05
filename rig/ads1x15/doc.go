// Package ads1x15 drives the ADS1115 (16 bit) and the ADS1015 (12 bit), analogue
// to digital converters on I²C.
//
// Facts are from TI's data sheets: SBAS444 for the ADS1115, SBAS473 for the
// ADS1015, and the sheets of their low-voltage variants (SBASAV5, SBASAV7) for
// the same table of characteristics.
//
// # Waiting is the caller's
//
// Nothing here sleeps. A conversion is known finished by the ALERT/RDY line or,
// where that is not wired, by [Dev.Busy]; the caller has the clock and knows what
// else there is to do meanwhile. [Dev.Period] says how long a conversion can
// last: the chip runs on its own oscillator, which is off by up to 10 %, so a
// timer alone never knows that a conversion is new.
//
// # What a sample costs on the wire
//
// The chip remembers which register was addressed last, and the driver keeps
// track of it, so that a register already addressed is read with its two bytes
// only. Bytes with those of the address, at nine bits each:
//
//	Read again (continuous mode)        1 + 2          72.5 µs at 400 kHz
//	Read after Start, Busy or Verify    2 + 1 + 2     120 µs
//	Reread                              2 + 1 + 2     120 µs
//	Start                               4              95 µs
//	Busy after Start or Busy            1 + 2          72.5 µs
//
// After a failed transfer the register addressed is unknown and the next read
// names it again.
//
// # Traps
//
//   - There is no sample and hold. A code stands for the mean of the input over
//     the conversion; a step within it gives a value in between, belonging to
//     neither level.
//   - OS written as 1 while a conversion runs starts nothing. After continuous
//     mode, write [Dev.Halt] and let the running conversion end (the longest
//     Period) before the first Start; the same holds after Setup on a chip that
//     an earlier program left converting.
//   - A new configuration does not end the running conversion. The first one
//     after Follow on another channel still belongs to the old channel.
//   - In continuous mode OS always reads 0. Without the ready line, new
//     conversions cannot be told from old ones there.
//   - A dip of the supply puts the chip back to its reset values without a word:
//     it then measures AIN0 against AIN1 at ±2.048 V, or nothing at all, and its
//     conversion register reads 0000h as an input at 0 V would. Busy and Verify
//     compare what the chip holds with what was written and return ErrReset.
//   - The ready function is set up through the comparator's thresholds, so a
//     reset switches it off too: no more ready edges come.
//   - Codes of the ADS1015 are left-justified: its step is 16 of the register's.
//   - Inputs may go no further than 0.3 V beyond ground and supply, whatever
//     range is set: ±6.144 V is a scale, not a permission.
//   - The data sheet's formula with 2^16 counts the whole span of a range
//     (8.192 V for ±4.096 V); with the range as ± volts the divisor is 2^15.
//   - Single-ended inputs near 0 V read slightly negative because of the offset.
//   - The input itself loads a divider, with 6 MΩ at ±4.096 V; see [Errors].
package ads1x15
