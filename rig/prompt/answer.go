package prompt

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"makebreak/rig/problem"
	"makebreak/rig/task"
)

// ErrEnded says that the input has ended: nobody is there any more.
var ErrEnded = errors.New("standard input has ended")

// Answer shows a question on out and returns the line of in that answers it, without the
// blanks around it. It takes nothing from in beyond that line. Echoed says that the typed line
// is seen on out, as at a terminal. The error is of the kind Usage where the input has ended,
// Interrupted where the context ends first.
func Answer(ctx context.Context, in io.Reader, out io.Writer, question string, echoed bool) (string, error) {
	answer, err := ask(ctx, in, out, question, echoed)
	if errors.Is(err, ErrEnded) {
		return "", problem.Of(problem.Usage, fmt.Errorf("a question was not answered: %w", err))
	}
	return answer, err
}

// ask is Answer, but an input that has ended is ErrEnded.
func ask(ctx context.Context, in io.Reader, out io.Writer, text string, echoed bool) (string, error) {
	fmt.Fprint(out, text)
	line, err := readLine(ctx, in)
	if err != nil || !echoed {
		fmt.Fprintln(out) // nobody's Enter has ended the line
	}
	switch {
	case errors.Is(err, context.Canceled):
		return "", problem.New(problem.Interrupted, "interrupted before anything was done")
	case err != nil:
		return "", ErrEnded
	}
	return strings.TrimSpace(line), nil
}

// readLine reads one line, byte by byte, as the rest of the stream is somebody else's. A
// reader that waits is given up when the context ends.
func readLine(ctx context.Context, r io.Reader) (string, error) {
	type read struct {
		b   byte
		err error
	}
	next := make(chan read, 1)
	var line []byte
	for {
		if err := ctx.Err(); err != nil {
			return "", err
		}
		task.Go(func() {
			var b [1]byte
			_, err := io.ReadFull(r, b[:])
			next <- read{b[0], err}
		})
		select {
		case <-ctx.Done():
			return "", ctx.Err()
		case got := <-next:
			switch {
			case got.err != nil:
				return string(line), got.err
			case got.b == '\n':
				return string(line), nil
			}
			line = append(line, got.b)
		}
	}
}
