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

// Cautions are shown before the rig acts on a unit for the first time.
const Cautions = `Before the rig acts on this unit:
  - Contacts of a relay under test may carry mains. Isolate them and prove them
    dead; work on mains is for licensed persons, by the local code.
  - A lead-acid battery can deliver hundreds of amperes into a short and gives
    off explosive gas while charging. Fuse its leads, take off rings, ventilate.
  - Sirens and strobes on the unit will act. Disconnect them or warn everyone
    near; a siren at arm's length damages hearing.
  - A panel that still signals to a monitoring station will raise a real alarm.
    Have it put on test, or take its line off, and put it back afterwards.
  - Local codes and the makers' instructions come before this program.
`

// Acknowledge shows the cautions on out and waits until a line of in says yes. It takes
// nothing from in beyond that line. Echoed says that the typed line is seen on out, as at a
// terminal. The error is of the kind Usage for any other answer and for an input that has
// ended, Interrupted where the context ends first.
func Acknowledge(ctx context.Context, in io.Reader, out io.Writer, echoed bool) error {
	fmt.Fprint(out, Cautions, "Type yes to go on: ")
	line, err := readLine(ctx, in)
	if err != nil || !echoed {
		fmt.Fprintln(out) // nobody's Enter has ended the line
	}
	switch {
	case errors.Is(err, context.Canceled):
		return problem.New(problem.Interrupted, "interrupted before anything was done")
	case err != nil:
		return problem.New(problem.Usage, "the cautions were not acknowledged: standard input has ended; type yes when asked, or give --yes in a script")
	case !strings.EqualFold(strings.TrimSpace(line), "yes"):
		return problem.New(problem.Usage, "the cautions were not acknowledged; nothing was done")
	}
	return nil
}

// Answer shows a question on out and returns the line of in that answers it, and takes nothing
// beyond that line. Echoed is as Acknowledge has it. The error is of the kind Usage where the
// input has ended, Interrupted where the context ends first.
func Answer(ctx context.Context, in io.Reader, out io.Writer, question string, echoed bool) (string, error) {
	fmt.Fprint(out, question)
	line, err := readLine(ctx, in)
	if err != nil || !echoed {
		fmt.Fprintln(out)
	}
	switch {
	case errors.Is(err, context.Canceled):
		return "", problem.New(problem.Interrupted, "interrupted before anything was done")
	case err != nil:
		return "", problem.New(problem.Usage, "a question was not answered: standard input has ended")
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
