// Package commission brings a rig into service: it looks at what is there (Look, Scan),
// tries it step by step with a person (Try), times its lines by a loop-back (LoopBack),
// takes a calibration's points (TakePoints) and shows the rig live (Live).
//
// It needs no command line. Questions go to an Asker, benches are opened by the caller
// where a sequence decides what is sampled, and results are values that can write
// themselves as text. It knows no analysis, as everything below rig: where a loop-back
// needs an output's switching delay, the caller passes the function that measures it.
package commission
