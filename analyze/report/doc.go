// Package report writes the record of a run: as CSV and JSON for machines, as
// text for the person at the bench and as a page that prints.
//
// All four say the same figures with the same digits: one function, Round,
// decides how many digits a figure means. Machines get base units, people get
// them scaled. A value that could not be measured stays missing everywhere: an
// empty cell, a null or a dash, and never a zero.
package report
