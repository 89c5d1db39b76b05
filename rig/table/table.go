// Package table writes plain tables, columns two spaces apart and without lines, and draws
// texts over each other on a terminal.
package table

import (
	"io"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"
)

// Write writes a table with the head. Fill gives it the rows, one call of row for each.
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
	fill(func(cells ...any) { t.AppendRow(cells) })
	t.SuppressTrailingSpaces()
	_, err := io.WriteString(w, t.Render()+"\n")
	return err
}
