// Package analyze measures captures and judges the figures. It is pure: no
// clock, no files, no rig. The same capture and the same plan give the same
// figures, whether the capture was taken now, read from the log, simulated or
// imported from another instrument.
package analyze
