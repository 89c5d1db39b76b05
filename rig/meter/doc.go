// Package meter is a simulated hand-held multimeter. It is put between two points of a
// network (package circuit) and is part of it while it measures: its input resistance, its
// test current and its leads load what they measure.
//
// The figures are typical of a 3 3/4-digit hand-held meter of 4,000 counts, from memory:
//
//   - Volts: 10 Mohm of input resistance, ranges of 400 mV, 4 V, 40 V and 400 V, DC within
//     0.5 % of the reading + 2 digits, AC within 1 % + 5 digits.
//   - Ohms: ranges from 400 ohm to 40 Mohm, within 0.8 % + 3 digits, in the highest range
//     2 % + 5. The test voltage is 0.45 V without load, so that silicon does not conduct,
//     behind as many ohms as the range has.
//   - Continuity: the range of 400 ohm, and a beep below 30 ohm.
//   - Diode test: 3 V behind 2.2 kohm, which sends 1 mA through a silicon diode. Above 2 V
//     it shows OL.
//   - Leads of 0.1 ohm each, which a reading of ohms has in it.
//
// What a meter shows is within that of what is there: by how much it is off is drawn once a
// meter, evenly, for each of its ranges. Its last digit moves by one or two from reading to reading.
package meter
