// Package drawnbench draws simulated benches at random, with faults at random, and runs them,
// so that what the program says of a fault can be counted. Rigs and sequences are drawn as the
// files that a workshop would write, and read by the program's own readers.
//
// What a workshop would wire, programme and write is invented here: common practice, no source.
package drawnbench
