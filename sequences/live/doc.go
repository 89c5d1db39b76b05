// Package live shows what happens in a run now: the cycle and the step, what is waited for,
// each output's level, each line's state, the last cycle's figures and the verdict so far.
//
// A Hub is fed by the run and never keeps it waiting; who looks gets a State, which nobody
// changes any more. A State goes to other programs through a socket beside the log, and to
// people as a page.
package live
