// Package table writes plain tables, columns two spaces apart and without lines, in the width
// that there is, and draws texts over each other on a terminal.
package table

import (
	"fmt"
	"io"
	"slices"

	"github.com/jedib0t/go-pretty/v6/text"

	"makebreak/rig/words"
)

// mostCell is how many characters a cell has room for.
const mostCell = 200

// Write writes a table with the head. Fill gives it the rows, one call of row for each. A
// cell's text is made safe to print and cut where it is very long.
//
// On a Page that is narrower than the table, sentences in the last column break, or stand
// beneath the others. Where that does not do, a row has two lines or more, each with some of
// the columns; the head shows which.
func Write(w io.Writer, head []string, fill func(row func(cells ...any))) error {
	_, err := io.WriteString(w, newGrid(head, fill).fitting(columnsOf(w))+"\n")
	return err
}

// WriteEither writes a table. On a Page that is narrower it writes the narrow one instead, whose
// last column stands beneath the others.
func WriteEither(w io.Writer, head []string, fill func(row func(cells ...any)), narrowHead []string, narrowFill func(row func(cells ...any))) error {
	out := newGrid(head, fill).render()
	if columns := columnsOf(w); columns > 0 && text.LongestLineLen(out) > columns {
		out = newGrid(narrowHead, narrowFill).beneath(columns)
	}
	_, err := io.WriteString(w, out+"\n")
	return err
}

// safeCells are cells that are safe to print. Numbers stay numbers, which stand at the right.
func safeCells(cells []any) []any {
	cells = slices.Clone(cells)
	for i, c := range cells {
		switch c.(type) {
		case bool, int, int64, uint64, float64:
		default:
			cells[i] = words.Short(fmt.Sprint(c), mostCell)
		}
	}
	return cells
}
