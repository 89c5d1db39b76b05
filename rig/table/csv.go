package table

import (
	"encoding/csv"
	"io"
	"strconv"

	"makebreak/rig/words"
)

// A Cell is one cell of CSV. The zero Cell is empty: what it would say is missing.
type Cell struct{ text string }

// Text is a cell of text. It is safe to print and no formula, see words.Cell.
func Text(s string) Cell { return Cell{words.Cell(s)} }

// Number is a cell of a number that the program itself made, by its digits.
func Number(digits string) Cell { return Cell{digits} }

// Count is a cell of a whole number.
func Count(n int) Cell { return Cell{strconv.Itoa(n)} }

// Truth is a cell of true or false.
func Truth(b bool) Cell { return Cell{strconv.FormatBool(b)} }

// CSV writes rows of cells as RFC 4180 has it. It is the one way by which the program writes
// tables that machines and spreadsheets read.
type CSV struct {
	w   *csv.Writer
	row []string
}

// NewCSV begins with a header row of the program's own words. A fault of w shows at the flush.
func NewCSV(w io.Writer, columns ...string) *CSV {
	c := &CSV{w: csv.NewWriter(w)}
	c.w.UseCRLF = true
	c.w.Write(columns)
	return c
}

// Row writes a row.
func (c *CSV) Row(cells ...Cell) error {
	c.row = c.row[:0]
	for _, one := range cells {
		c.row = append(c.row, one.text)
	}
	return c.w.Write(c.row)
}

// Flush writes what is left and returns the first fault there was.
func (c *CSV) Flush() error {
	c.w.Flush()
	return c.w.Error()
}
