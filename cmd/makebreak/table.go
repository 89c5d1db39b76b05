package main

import (
	"io"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"
)

// table writes a plain table to standard output or the file asked for.
func (a *app) table(head []string, fill func(row func(...any))) error {
	return a.deliver(func(w io.Writer) error { return writeTable(w, head, fill) })
}

// writeTable writes a table without lines, its columns two spaces apart.
func writeTable(w io.Writer, head []string, fill func(row func(...any))) error {
	t := table.NewWriter()
	t.SetOutputMirror(w)
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
	t.Render()
	return nil
}
