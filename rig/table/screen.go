package table

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"makebreak/rig/words"
)

// A Screen draws texts on a terminal, each over the one before.
type Screen struct {
	Out           io.Writer
	Columns, Rows int // of the terminal; 0: a text is not cut
	drawn         int // lines of the text before
}

// Draw writes a text over the one before. Nothing in it moves the cursor but its line feeds.
func (s *Screen) Draw(text func(io.Writer) error) error {
	var b bytes.Buffer
	if err := text(&b); err != nil {
		return err
	}
	back := ""
	if s.drawn > 0 { // to the first line of the text before, and clear from there
		back = fmt.Sprintf("\x1b[%dA\x1b[J", s.drawn)
	}
	lines := cutTo(strings.SplitAfter(words.SafeLines(b.String()), "\n"), s.Columns, s.Rows)
	s.drawn = len(lines)
	_, err := io.WriteString(s.Out, back+strings.Join(lines, ""))
	return err
}

// cutTo cuts a text to what a terminal can show without moving it: a line that went on in a
// second row, or one too many, would put the next text in the wrong place.
func cutTo(lines []string, columns, rows int) []string {
	if n := len(lines) - 1; lines[n] == "" {
		lines = lines[:n]
	}
	if rows > 1 && len(lines) >= rows {
		lines = append(lines[:rows-2:rows-2], "… (more lines than the terminal has)\n")
	}
	for i, line := range lines {
		if text := []rune(strings.TrimSuffix(line, "\n")); columns > 0 && len(text) >= columns {
			lines[i] = string(text[:columns-1]) + "\n"
		}
	}
	return lines
}
