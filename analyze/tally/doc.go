// Package tally adds up a run's figures cycle by cycle in bounded memory: for each
// quantity of each signal at each event how often it was measured, its lowest and
// highest value, its verdicts and its trend. Its state can be stored and read back,
// so that a run of a million cycles can be reported, and gone on with, without
// reading every figure again.
//
// It is apart from package trend, which is the statistics of one series of numbers: trend
// knows no measurement and is checked against published series and other programs. Tally
// says which measurement belongs to which series, and what else a record needs of them.
package tally
