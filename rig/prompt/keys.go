package prompt

import (
	"bufio"
	"errors"
	"fmt"
	"io"

	"makebreak/rig/task"
)

// Keys asks for key presses, as a bench does that needs a person to act: each line of the
// input is one press. It is a bench.Prompter.
type Keys struct {
	out   io.Writer
	lines chan error
}

// NewKeys reads presses from in and shows on out what to do.
func NewKeys(in io.Reader, out io.Writer) *Keys {
	k := &Keys{out: out, lines: make(chan error)}
	task.Go(func() { k.read(in) })
	return k
}

// read turns lines into presses until the input ends; from then on nobody is there.
func (k *Keys) read(in io.Reader) {
	s := bufio.NewScanner(in)
	for s.Scan() {
		k.lines <- nil
	}
	cause := s.Err()
	if cause == nil {
		cause = errors.New("standard input has ended")
	}
	for {
		k.lines <- cause
	}
}

// Ask shows what to do. The channel gives nil for a press, or why there will be none.
func (k *Keys) Ask(text string) (pressed <-chan error, done func()) {
	fmt.Fprintf(k.out, "\n%s\n  Press Enter at the moment you do it. ", text)
	return k.lines, func() { fmt.Fprintln(k.out) }
}
