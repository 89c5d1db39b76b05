package prompt

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"makebreak/rig/task"
	"makebreak/rig/words"
)

// Keys asks for key presses, as a bench does that needs a person to act: each line of the
// input is one press. It is a bench.Prompter.
type Keys struct {
	out   io.Writer
	typed bool
	lines chan line
}

// line is one line of the input, or why there will be none.
type line struct {
	text string
	at   time.Time // when it was read
	err  error
}

// mostAhead is how many lines are read before they are asked for.
const mostAhead = 256

// NewKeys reads presses from in and shows on out what to do. Typed says that a person or a
// barcode reader types: only Enter alone is a press, and only after the question.
func NewKeys(in io.Reader, out io.Writer, typed bool) *Keys {
	k := &Keys{out: out, typed: typed, lines: make(chan line, mostAhead)}
	task.Go(func() { k.read(in) })
	return k
}

// read turns lines into presses until the input ends; from then on nobody is there.
func (k *Keys) read(in io.Reader) {
	s := bufio.NewScanner(in)
	s.Split(endedLines())
	for s.Scan() {
		k.lines <- line{text: s.Text(), at: time.Now()}
	}
	cause := s.Err()
	switch {
	case cause == nil:
		cause = ErrEnded
	case errors.Is(cause, bufio.ErrTooLong):
		cause = fmt.Errorf("a line is too long; must have less than %d bytes", bufio.MaxScanTokenSize)
	}
	for {
		k.lines <- line{err: cause}
	}
}

// endedLines splits at line feeds and at carriage returns: barcode readers end a line with the one,
// the other or both.
func endedLines() bufio.SplitFunc {
	returned := false // the line before ended with a carriage return
	return func(data []byte, atEnd bool) (advance int, line []byte, err error) {
		skipped := 0
		if returned && len(data) > 0 {
			if returned = false; data[0] == '\n' {
				skipped = 1
			}
		}
		if i := bytes.IndexAny(data[skipped:], "\r\n"); i >= 0 {
			end := skipped + i
			returned = data[end] == '\r'
			return end + 1, data[skipped:end], nil
		}
		if atEnd && len(data) > skipped {
			return len(data), data[skipped:], nil
		}
		return skipped, nil, nil
	}
}

// Ask shows what to do. The channel gives nil for a press, or why there will be none.
func (k *Keys) Ask(text string) (pressed <-chan error, done func()) {
	fmt.Fprintf(k.out, "\n%s\n  Press Enter at the moment you do it. ", text)
	asked := time.Now()
	answer, over := make(chan error, 1), make(chan struct{})
	task.Go(func() {
		for {
			select {
			case l := <-k.lines:
				if l.err == nil && k.typed && !k.isPress(l, asked) {
					continue
				}
				answer <- l.err
				return
			case <-over:
				return
			}
		}
	})
	return answer, func() { close(over); fmt.Fprintln(k.out) }
}

// isPress reports whether a line is the press that was asked for, and says what is not taken.
func (k *Keys) isPress(l line, asked time.Time) bool {
	if text := strings.TrimSpace(l.text); text != "" {
		fmt.Fprintf(k.out, "\n  Not taken: %s. Press Enter alone. ", words.Short(words.Safe(text), words.MostName))
		return false
	}
	return !l.at.Before(asked)
}

// Line returns the next line without the blanks around it. The error is the context's where
// that ends first, and ErrEnded where nobody is there any more.
func (k *Keys) Line(ctx context.Context) (string, error) {
	select {
	case <-ctx.Done():
		return "", ctx.Err()
	case l := <-k.lines:
		return strings.TrimSpace(l.text), l.err
	}
}
