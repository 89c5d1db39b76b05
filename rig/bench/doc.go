// Package bench is a wired rig at work: it samples outputs, gathers edges and
// brings events about, all in one loop on one clock.
//
// The loop is the same for a real rig and a simulated one. It waits for the
// earliest of three things: an edge (a contact's, a reference's, a converter's
// ready pin), the time at which an unwired converter may be ready, and a drive
// that must be switched. Nothing is read on a timer's word alone.
//
// What runs in the loop is short: a conversion must be fetched within one period
// of the converter (1.16 ms at 860 conversions a second) or the next one
// overwrites it. Measuring and logging therefore happen elsewhere.
package bench
