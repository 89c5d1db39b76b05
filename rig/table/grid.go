package table

import (
	"fmt"
	"slices"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"makebreak/rig/words"
)

// A last column that is sentence or wider somewhere holds sentences, which may break. They need
// leastRow columns to be read beside the others.
const (
	sentence = 30
	leastRow = 28
)

// grid is a table before it is laid out.
type grid struct {
	head []string
	rows [][]any
}

func newGrid(head []string, fill func(row func(cells ...any))) *grid {
	g := &grid{head: head}
	fill(func(cells ...any) { g.rows = append(g.rows, safeCells(cells)) })
	return g
}

// butLast is the table without its last column.
func (g *grid) butLast() *grid {
	last := len(g.head) - 1
	b := &grid{head: g.head[:last]}
	for _, r := range g.rows {
		b.rows = append(b.rows, r[:last])
	}
	return b
}

// fitting lays the table out in so many columns; 0: in as many as it takes.
func (g *grid) fitting(columns int) string {
	out := g.render()
	if columns <= 0 || text.LongestLineLen(out) <= columns {
		return out
	}
	if last := len(g.head) - 1; last > 0 && g.widest(last) >= sentence {
		beside := text.LongestLineLen(g.butLast().render())
		if room := columns - beside - 3; room >= leastRow {
			return g.broken(last, room).render()
		}
		if beside <= columns {
			return g.beneath(columns)
		}
	}
	if narrower := g.shrunk(text.LongestLineLen(out) - columns); narrower != nil {
		if out := narrower.render(); text.LongestLineLen(out) <= columns {
			return out
		}
	}
	for lines := 2; lines <= len(g.head); lines++ {
		if out = g.folded(lines).render(); text.LongestLineLen(out) <= columns {
			break
		}
	}
	return out
}

// widest is the width of a column's widest cell.
func (g *grid) widest(column int) int {
	most := 0
	for _, r := range g.rows {
		most = max(most, text.StringWidthWithoutEscSequences(fmt.Sprint(r[column])))
	}
	return most
}

// shrunk is the table with its widest columns broken so that the table is narrower by so much;
// nil where that would leave too little of a column.
func (g *grid) shrunk(excess int) *grid {
	widths := make([]int, len(g.head))
	for i := range widths {
		widths[i] = max(g.widest(i), text.StringWidthWithoutEscSequences(g.head[i]))
	}
	for ; excess > 0; excess-- {
		widest := 0
		for i, w := range widths {
			if w > widths[widest] {
				widest = i
			}
		}
		if widths[widest]--; widths[widest] < leastRow {
			return nil
		}
	}
	for i, w := range widths {
		g = g.broken(i, w)
	}
	return g
}

// broken is the table with a column broken in so much room.
func (g *grid) broken(column, room int) *grid {
	b := &grid{head: g.head}
	for _, r := range g.rows {
		r = slices.Clone(r)
		if s, is := r[column].(string); is {
			r[column] = Wrap(s, room)
		}
		b.rows = append(b.rows, r)
	}
	return b
}

// beneath renders the table with its last column on lines of its own, indented.
func (g *grid) beneath(columns int) string {
	const indent = "  "
	last := len(g.head) - 1
	lines := strings.Split(g.butLast().render(), "\n")
	var b strings.Builder
	for i, line := range lines {
		b.WriteString(line + "\n")
		said := g.head[last]
		if i > 0 {
			said = fmt.Sprint(g.rows[i-1][last])
		}
		if said != "" {
			b.WriteString(indent + strings.ReplaceAll(Wrap(said, columns-len(indent)), "\n", "\n"+indent) + "\n")
		}
	}
	return strings.TrimSuffix(b.String(), "\n")
}

// folded is the table with its columns on so many lines a row, those after the first indented.
func (g *grid) folded(lines int) *grid {
	beside := (len(g.head) + lines - 1) / lines
	fold := func(cells []string) []string {
		folded := make([]string, beside)
		for i, c := range cells {
			if i >= beside {
				folded[i%beside] += "\n  "
			}
			folded[i%beside] += c
		}
		return folded
	}
	f := &grid{head: fold(g.head)}
	for _, r := range g.rows {
		row := make([]any, 0, beside)
		for _, c := range fold(words.Texts(r, func(c any) string { return fmt.Sprint(c) })) {
			row = append(row, c)
		}
		f.rows = append(f.rows, row)
	}
	return f
}

func (g *grid) render() string {
	t := table.NewWriter()
	style := table.StyleDefault
	style.Options = table.OptionsNoBordersAndSeparators
	style.Format.Header = text.FormatDefault
	style.Box.PaddingLeft, style.Box.PaddingRight = "", "  "
	t.SetStyle(style)
	first := make(table.Row, len(g.head))
	for i, h := range g.head {
		first[i] = h
	}
	t.AppendHeader(first)
	for _, r := range g.rows {
		t.AppendRow(r)
	}
	t.SuppressTrailingSpaces()
	return t.Render()
}
