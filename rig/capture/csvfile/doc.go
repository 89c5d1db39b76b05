// Package csvfile reads and writes captures as comma separated values (RFC 4180): a time,
// volts of outputs, events, and the states of contacts, references and drives.
//
// It has its own reader of rows, and not the standard library's, for two reasons. Files may
// go on for days, so that a row costs no allocation. And the digits that a file gives are its
// resolution, which counts in the uncertainty, so that they are read with the numbers.
package csvfile
