package prompt

import (
	"bufio"
	"io"
	"strings"

	"makebreak/rig/task"
)

// A Terminal puts questions and hands over the lines that are typed. It answers the
// questions of rig/commission.
type Terminal struct {
	out   io.Writer
	lines chan string
}

// NewTerminal reads answers from in, from now on, and shows texts on out.
func NewTerminal(in io.Reader, out io.Writer) *Terminal {
	t := &Terminal{out: out, lines: make(chan string)}
	task.Go(func() {
		defer close(t.lines)
		for s := bufio.NewScanner(in); s.Scan(); {
			t.lines <- strings.TrimSpace(s.Text())
		}
	})
	return t
}

// Say shows a text as it is.
func (t *Terminal) Say(text string) { _, _ = io.WriteString(t.out, text) } // who cannot be told cannot answer either

// Ask shows a question. The channel gives the answer without the spaces around it, and is
// closed once the input has ended.
func (t *Terminal) Ask(question string) <-chan string {
	t.Say(question + " ")
	return t.lines
}
