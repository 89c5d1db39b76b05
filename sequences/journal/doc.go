// Package journal keeps the log: one SQLite file with all runs, their cycles,
// every figure measured and the captures that were kept.
//
// A cycle is stored by one transaction that is on the disk when Append returns,
// so that whatever ends the program or the power, a cycle that was reported
// done is in the log and no half of one ever is. Several programs may use one
// log at a time.
//
// Beside the log stands a reserve, a file that holds nothing, so that a disk that is full
// can be pruned.
//
// The file needs no program of ours to be read: any SQLite shell opens it, and
// the view "figures" shows the measurements in words. Texts that come back
// again and again (event, signal, quantity, limits, the sources of a budget)
// are kept once a run, so that a figure takes a few integers and two reals.
package journal
