// Package analyze is the vocabulary of measuring and judging: quantities, plans, limits,
// measurements with their doubts and verdicts, symptoms and findings. Package measure makes
// measurements of captures, package diagnose says what they mean.
//
// All of it is pure: no clock, no files, no rig. The same capture and the same plan give the
// same figures, whether the capture was taken now, read from the log, simulated or imported
// from another instrument.
package analyze
