package prompt

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"strings"

	"makebreak/rig/task"
)

// Keys asks for key presses, as a bench does that needs a person to act: each line of the
// input is one press. It is a bench.Prompter.
type Keys struct {
	out   io.Writer
	lines chan line
}

// line is one line of the input, or why there will be none.
type line struct {
	text string
	err  error
}

// NewKeys reads presses from in and shows on out what to do.
func NewKeys(in io.Reader, out io.Writer) *Keys {
	k := &Keys{out: out, lines: make(chan line)}
	task.Go(func() { k.read(in) })
	return k
}

// read turns lines into presses until the input ends; from then on nobody is there.
func (k *Keys) read(in io.Reader) {
	s := bufio.NewScanner(in)
	for s.Scan() {
		k.lines <- line{text: s.Text()}
	}
	cause := s.Err()
	if cause == nil {
		cause = errEnded
	}
	for {
		k.lines <- line{err: cause}
	}
}

// errEnded says that nobody is there any more.
var errEnded = fmt.Errorf("standard input has ended: %w", io.EOF)

// Ask shows what to do. The channel gives nil for a press, or why there will be none.
func (k *Keys) Ask(text string) (pressed <-chan error, done func()) {
	fmt.Fprintf(k.out, "\n%s\n  Press Enter at the moment you do it. ", text)
	answer, over := make(chan error, 1), make(chan struct{})
	task.Go(func() {
		select {
		case l := <-k.lines:
			answer <- l.err
		case <-over:
		}
	})
	return answer, func() { close(over); fmt.Fprintln(k.out) }
}

// Line returns the next line without the blanks around it. The error is the context's where
// that ends first, and io.EOF where nobody is there any more.
func (k *Keys) Line(ctx context.Context) (string, error) {
	select {
	case <-ctx.Done():
		return "", ctx.Err()
	case l := <-k.lines:
		return strings.TrimSpace(l.text), l.err
	}
}
