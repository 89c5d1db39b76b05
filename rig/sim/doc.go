// Package sim is the simulated bench: a panel with its outputs, the relays
// behind them, the wires and dividers, and the faults that can be planted. Its
// world answers to the same interfaces as the hardware (i2c.Bus with
// register-level converters on it, and line.Set), in virtual time or paced
// against the wall clock.
//
// # Time
//
// The world is one goroutine's discrete-event simulation. Everything that
// happens (an output switches, a contact bounces, a conversion ends) is an
// event at an exact nanosecond; a bus transfer or a Wait moves the clock over
// the events in order. The clock starts at 1000 s, as CLOCK_MONOTONIC does not
// start at zero either. With the same rig, options and calls the world does the
// same thing to the last bit. Other goroutines only draw noise and latencies
// ahead, in the order in which they are used (package ahead).
//
// # What is modelled, and where the figures come from
//
//   - Supply: a 12 V lead-acid battery on float at 13.5 to 13.8 V (maker's data
//     sheets: 2.25 to 2.30 V a cell), less a series diode, so that an output
//     reads about 13.5 V without load and about 13.2 V with a relay; about 12 ohm
//     of source resistance; 0.6 to 0.7 V by leakage when off. Common practice, no
//     source.
//   - Programmable supply, where the rig has one: its converter as package simchip has
//     it, at half of full scale until it is written to, and an amplifier with 1 % of gain
//     error, 20 mV of offset and 200 µs to settle (invented, plausible figures). Outputs
//     that are on carry its voltage behind their source resistance, those that are off
//     leak in proportion to it. The panel itself runs on whatever it is given.
//   - Two supplies and a drive that switches between them, where the rig has them: the
//     same spreads against what the rig file says, and 500 µs to settle (invented,
//     plausible figures). The unit is never without a supply in between.
//   - Panel: the outputs switch about 142 ms after the panel's input, normally
//     distributed with 0.5 ms standard deviation from event to event; the time in
//     which the input is read is within it. Common practice, no source.
//   - Coil: resistance and inductance in series with the output. The current
//     follows i = V/R (1 - exp(-t R/L)) when it is switched on (textbook), and
//     decays through a flyback diode of 0.7 V when it is switched off. 400 ohm
//     ±10 % as the data sheet of the SRD-12VDC-SL relay says; L/R of 1.3 ms is an
//     invented, plausible figure.
//   - Armature: pulls in at about 6.8 V and drops out at about 2.2 V of a nominal
//     12 V, by the current that those voltages drive; the data sheets' bounds are
//     9 V (75 %) and 1.2 V (10 %). The travel makes about 5.5 ms to operate and
//     4.5 ms to release, where data sheets allow 10 ms and 5 ms. A travel once begun
//     ends before the armature can turn back.
//   - Bounce: a closing contact opens again up to six times, a shorter time each,
//     within 3.5 ms; an opening contact rarely closes again once. The switches in
//     published surveys bounce between 0.1 and 6.2 ms.
//   - Divider: both resistors drawn within their tolerance, loaded by the
//     converter's input impedance to ground.
//   - Converter: see package simchip; its oscillator, gain and offset are drawn
//     within the data sheet's limits (TI SBAS444, SBAS473).
//   - Kernel: an edge is stamped some 20 µs after it happened, normally distributed
//     with 10 µs standard deviation, as measured on a virtual machine.
//   - Faults of circuits are circuits: what a joint, a short, a diode or a tired battery puts
//     between the unit's voltage and a coil is a voltage behind a resistance to the coil
//     (Thévenin's theorem). Shorted turns are a winding of their own on the coil's core, across
//     their own wire. A coil without a diode swings with the capacitor across it, and the
//     output stage is taken to bear that, see ring.go; the converter's input clips what it sees
//     at 0.3 V below its ground. Where the 0 V of rig and unit are not joined, the rig's
//     is where the currents through all dividers add up to nothing.
//   - Contacts are read by a pull-up of 50 kohm and an input with hysteresis, so that an
//     oxidised one reads open, closed or now one and now the other, see contact.go.
//   - What gets worse does so with each operation of a relay, see wear.go: bounce and operate
//     time in proportion, and the time for which a contact sticks as its square. Invented laws.
//   - Ready pins report their active edge only: the pulse of a converter in
//     continuous mode lasts some 8 µs, and the falling edge tells nothing.
//
// Hum is added at the terminal and does not reach the coil's current. The
// converter's divider does not load the output. Both are far below what the bench
// can tell.
package sim
