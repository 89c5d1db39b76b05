package table

import (
	"bytes"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/jedib0t/go-pretty/v6/text"
)

// A Page passes on text for people in lines of so many columns at most. A line that is longer
// goes on beneath where it began: under the text of an item, or under the last column of a
// table that begins in its left half. Words, so also names and paths, are never broken. Tables
// written to it by Write fit by themselves.
//
// A line may be written in pieces, as a question before its answer is. A word must be whole.
type Page struct {
	W       io.Writer
	Columns int // 0: a line may have any length
	// Hang is how far a line goes on beneath that began at the left, so that what goes on is
	// not taken for a message of its own.
	Hang int

	column  int  // that comes next, from 0
	indent  int  // where the line goes on
	blanks  int  // read and not written: a line may end before them
	started bool // a word of the line has been written
	out     bytes.Buffer
}

// Write passes on a text. The number is of the bytes given.
func (p *Page) Write(b []byte) (int, error) {
	p.out.Reset()
	for rest := b; len(rest) > 0; {
		switch rest[0] {
		case '\n':
			p.out.WriteByte('\n')
			p.column, p.indent, p.blanks, p.started = 0, 0, 0, false
			rest = rest[1:]
		case ' ':
			p.blanks++
			rest = rest[1:]
		default:
			n := bytes.IndexAny(rest, " \n")
			if n < 0 {
				n = len(rest)
			}
			p.word(rest[:n])
			rest = rest[n:]
		}
	}
	p.pad() // a question ends in a blank
	_, err := p.W.Write(p.out.Bytes())
	return len(b), err
}

// word writes a word, on a new line where there is no room for it.
func (p *Page) word(w []byte) {
	width := utf8.RuneCount(w)
	if !plain(w) {
		width = text.StringWidthWithoutEscSequences(string(w))
	}
	begins := p.column + p.blanks
	switch {
	case !p.started:
		p.indent = max(begins, p.Hang)
		if string(w) == "-" {
			p.indent = begins + 2
		}
	case p.blanks > 1 && begins <= p.Columns/2:
		p.indent = begins
	}
	if p.Columns > 0 && p.started && begins+width > p.Columns && p.indent < p.column {
		p.out.WriteByte('\n')
		p.column, p.blanks = 0, p.indent
	}
	p.pad()
	p.out.Write(w)
	p.column += width
	p.started = true
}

// pad writes the blanks that were read.
func (p *Page) pad() {
	for ; p.blanks > 0; p.blanks-- {
		p.out.WriteByte(' ')
		p.column++
	}
}

// plain reports whether each byte takes one column: there are no other letters and no colours.
func plain(b []byte) bool {
	for _, c := range b {
		if c >= utf8.RuneSelf || c == '\x1b' {
			return false
		}
	}
	return true
}

// Wrap breaks a text into lines of so many columns at blanks. Words are never broken.
func Wrap(s string, columns int) string {
	var b strings.Builder
	p := &Page{W: &b, Columns: columns}
	_, _ = io.WriteString(p, s) // a Builder takes all
	return b.String()
}

// columnsOf is how many columns what is written to w may have; 0: any number.
func columnsOf(w io.Writer) int {
	if p, is := w.(*Page); is {
		return p.Columns
	}
	return 0
}
