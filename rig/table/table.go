// Package table writes plain tables, columns two spaces apart and without lines, and draws
// texts over each other on a terminal.
package table

import (
	"fmt"
	"io"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"makebreak/rig/words"
)

// mostCell is how many characters a cell has room for.
const mostCell = 200

// Write writes a table with the head. Fill gives it the rows, one call of row for each. A
// cell's text is made safe to print and cut where it is very long.
func Write(w io.Writer, head []string, fill func(row func(cells ...any))) error {
	t := table.NewWriter()
	style := table.StyleDefault
	style.Options = table.OptionsNoBordersAndSeparators
	style.Format.Header = text.FormatDefault
	style.Box.PaddingLeft, style.Box.PaddingRight = "", "  "
	t.SetStyle(style)
	first := make(table.Row, len(head))
	for i, h := range head {
		first[i] = h
	}
	t.AppendHeader(first)
	fill(func(cells ...any) {
		for i, c := range cells {
			switch c.(type) {
			case bool, int, int64, uint64, float64: // aligned by its type
			default:
				cells[i] = words.Short(fmt.Sprint(c), mostCell)
			}
		}
		t.AppendRow(cells)
	})
	t.SuppressTrailingSpaces()
	_, err := io.WriteString(w, t.Render()+"\n")
	return err
}
