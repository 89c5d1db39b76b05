package sheet

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"makebreak/analyze/picture"
	"makebreak/rig/table"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/sequences"
)

// Columns of the drawing for a terminal, from 0. All of it lies within 80.
const (
	nameEnds  = 11 // the unit's names, at their right
	unitAt    = 12 // the unit's terminals
	boardAt   = 21 // a relay's board
	boardEnds = 40
	rigAt     = 47 // the rig's terminals
	inRig     = 49
	upperAt   = 54 // a divider's upper resistor
	pickOff   = 63
	mostName  = 11
)

// grid is a drawing of characters. Rows are added at its end.
type grid struct{ rows [][]rune }

// row is one of a grid's.
type row struct {
	of *grid
	n  int
}

func (g *grid) row() row {
	g.rows = append(g.rows, nil)
	return row{g, len(g.rows) - 1}
}

// put writes a text from a column on.
func (r row) put(column int, text string) {
	line := r.of.rows[r.n]
	for len(line) < column+utf8.RuneCountInString(text) {
		line = append(line, ' ')
	}
	copy(line[column:], []rune(text))
	r.of.rows[r.n] = line
}

// ends writes a text up to a column.
func (r row) ends(column int, text string) {
	text = words.Short(text, mostName)
	r.put(max(0, column-utf8.RuneCountInString(text)), text)
}

// wire draws a wire from one column to another, both included, with its name in it.
func (r row) wire(from, to int, name string) {
	r.put(from, strings.Repeat("─", to-from+1))
	if name != "" {
		r.put(from+2, name)
	}
}

// WriteWiring writes the drawing of a bench in characters, 80 of them wide.
func WriteWiring(w io.Writer, b *picture.Bench) error {
	g := &grid{}
	head := g.row()
	head.ends(nameEnds, strings.ToUpper(b.Unit))
	head.put(inRig, "RIG")
	g.supply(b)
	for i := range b.Outputs {
		g.output(b, &b.Outputs[i])
	}
	for i := range b.Relays {
		if !behind(b, &b.Relays[i]) {
			g.board(b, &b.Relays[i], "")
		}
	}
	g.inputs(b)
	for i := range b.Contacts {
		l := &b.Contacts[i]
		g.line(g.row(), l)
	}
	if _, err := fmt.Fprintf(w, "%s\n\n", words.Safe(b.Heading)); err != nil {
		return err
	}
	for _, line := range g.rows {
		if _, err := fmt.Fprintln(w, strings.TrimRight(words.Safe(string(line)), " ")); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintln(w, "\n"+strings.Join(b.Words, " "))
	return err
}

// behind reports whether a relay is behind an output that is drawn.
func behind(b *picture.Bench, k *picture.BenchRelay) bool {
	for i := range b.Outputs {
		if b.Outputs[i].At.Terminal == k.Output {
			return true
		}
	}
	return false
}

func (g *grid) supply(b *picture.Bench) {
	s, z := &b.Supply, &b.Zero
	if s.Plus.Name != "" {
		r := g.row()
		r.ends(nameEnds, s.AtUnit.Terminal)
		r.wire(unitAt, boardAt-1, s.PlusWire)
		r.put(unitAt, "o")
		r.put(boardAt, "o "+s.Plus.Name+" ─┐")
		r = g.row()
		r.put(boardAt+12, "┴ "+words.Short(s.Words, rigAt-boardAt-16))
		r = g.row()
		r.put(boardAt+12, "┬")
		r = g.row()
		r.ends(nameEnds, z.Unit.Terminal)
		r.wire(unitAt, boardAt-1, s.MinusWire)
		r.put(unitAt, "o┬")
		r.put(boardAt, "o "+s.Minus.Name+" ─┘")
	}
	r := g.row()
	if s.Plus.Name == "" {
		r.ends(nameEnds, z.Unit.Terminal)
		r.put(unitAt, "o")
	} else {
		r.put(unitAt+1, "└")
	}
	r.wire(unitAt+2, rigAt-1, z.Wire)
	r.put(rigAt, "o "+words.Short(z.Rig.Terminal, mostName))
	if z.Logic.Name != "" {
		g.row().put(rigAt, "o "+words.Short(z.Logic.Terminal, mostName))
	}
}

func (g *grid) output(b *picture.Bench, o *picture.BenchOutput) {
	r := g.row()
	r.ends(nameEnds, o.At.Terminal)
	r.wire(unitAt, rigAt-1, "")
	r.put(unitAt, "o")
	if o.Wire != "" {
		r.put(unitAt+3, o.Wire)
	}
	below := g.row()
	below.ends(nameEnds, o.Note)
	g.divider(r, below, o)
	first := true
	for i := range b.Relays {
		if k := &b.Relays[i]; k.Output == o.At.Terminal {
			if first {
				r.put(unitAt+1, "┬")
				below.put(unitAt+1, "│")
				below.put(boardAt, "┌─ "+words.Short(k.Name, mostName)+" ")
			}
			g.board(b, k, o.At.Terminal)
			first = false
		}
	}
}

// divider draws what is behind an output's terminal at the rig.
func (g *grid) divider(r, below row, o *picture.BenchOutput) {
	r.put(rigAt, "o "+words.Short(o.Rig.Terminal, upperAt-inRig-1))
	from := inRig + utf8.RuneCountInString(words.Short(o.Rig.Terminal, upperAt-inRig-1)) + 1
	r.wire(from, pickOff+1, "")
	r.put(pickOff+2, "o "+words.Short(o.Pin.Name, mostName))
	below.put(inRig, words.Short(o.Input, mostName))
	if o.Upper != "" {
		r.put(max(upperAt, from), "["+o.Upper+"]")
		r.put(pickOff, "┬")
		below.put(pickOff, "└["+o.Lower+"]── 0V")
	}
}

// board draws a relay's board with its contacts' lines, below its output.
func (g *grid) board(b *picture.Bench, k *picture.BenchRelay, output string) {
	contact := func(r row, l *picture.BenchLine) {
		if l.At.Name == "" {
			return
		}
		r.ends(boardEnds-1, l.Far.Terminal)
		r.wire(boardEnds, rigAt-1, l.Wire)
		r.put(boardEnds, "o")
		g.line(r, l)
	}
	across := " "
	if k.Flyback != "" {
		across = "▲"
	}
	r := g.row()
	if output != "" {
		r.put(unitAt+1, "└")
		r.wire(unitAt+2, boardAt-1, k.FromWire)
	}
	r.put(boardAt, "o A1 ┬──┐")
	contact(r, &k.Make)
	r = g.row()
	r.put(boardAt, "│    "+across+" [█]")
	if k.Common.Name != "" {
		r.ends(boardEnds-1, k.Common.Terminal)
		r.put(boardEnds, "o─"+k.CommonWire+"── "+k.CommonTo.Name)
	}
	r = g.row()
	r.ends(nameEnds, b.Zero.Unit.Terminal)
	r.put(unitAt, "o")
	r.wire(unitAt+1, boardAt-1, "")
	r.put(unitAt+3, k.ToWire)
	r.put(boardAt, "o A2 ┴──┘")
	contact(r, &k.Break)
	g.row().put(boardAt, "└"+strings.Repeat("─", boardEnds-boardAt)+" released: COM to NC")
	g.row()
}

// line draws a line's terminal at the rig and what is behind it.
func (g *grid) line(r row, l *picture.BenchLine) {
	text := "o " + words.Short(l.At.Terminal, mostName)
	if l.Part != "" {
		text += " [" + l.Part + "]"
	}
	if l.Pin.Name != "" {
		text += " ─o " + words.Short(l.Pin.Name, mostName)
	}
	r.put(rigAt, text+" "+words.Short(l.Line, mostName))
}

func (g *grid) inputs(b *picture.Bench) {
	for i := range b.Inputs {
		in := &b.Inputs[i]
		for k := range in.Lines {
			l := &in.Lines[k]
			r := g.row()
			r.wire(unitAt+2, rigAt-1, l.Wire)
			switch {
			case k == 0:
				r.ends(nameEnds, in.At.Terminal)
				r.put(unitAt, "o")
				r.put(unitAt+1, "─")
				if len(in.Lines) > 1 {
					r.put(unitAt+1, "┬")
				}
			case k == len(in.Lines)-1:
				r.put(unitAt+1, "└")
			default:
				r.put(unitAt+1, "├")
			}
			if l.Note != "" {
				r.put(boardAt, " "+words.Short(l.Note, rigAt-boardAt-4)+" ")
			}
			g.line(r, l)
		}
	}
	if z := &b.Zero; z.Common.Name != "" {
		r := g.row()
		r.ends(nameEnds, z.Unit.Terminal)
		r.wire(unitAt+2, rigAt-1, z.CommonWire)
		r.put(unitAt, "o─")
		r.put(rigAt, "o "+z.Common.Terminal)
	}
}

// WriteCard writes a job card as text.
func WriteCard(w io.Writer, seq *sequences.Sequence) error {
	var steps []string
	for _, s := range seq.Steps {
		steps = append(steps, s.Event+" ("+unit.Time.Format(s.Hold.Seconds())+")")
	}
	if _, err := fmt.Fprintf(w, "Job card: %s\n%s\nOne cycle: %s\n\n", words.Safe(seq.Name), words.Safe(seq.About), words.Safe(strings.Join(steps, ", "))); err != nil {
		return err
	}
	return table.Write(w, []string{"signal", "must", "limits"}, func(row func(...any)) {
		for _, l := range Lines(seq) {
			row(l.Signal, l.Demanded, l.Limits)
		}
	})
}
