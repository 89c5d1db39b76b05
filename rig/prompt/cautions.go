package prompt

import (
	"context"
	"errors"
	"io"
	"strings"

	"makebreak/rig/problem"
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

// Acknowledge shows the cautions on out and waits until a line of in says yes, as Answer does.
// The error is of the kind Usage for any other answer and for an input that has ended,
// Interrupted where the context ends first.
func Acknowledge(ctx context.Context, in io.Reader, out io.Writer, echoed bool) error {
	answer, err := ask(ctx, in, out, Cautions+"Type yes to go on: ", echoed)
	switch {
	case errors.Is(err, ErrEnded):
		return problem.New(problem.Usage, "the cautions were not acknowledged: standard input has ended; type yes when asked, or give --yes in a script")
	case err != nil:
		return err
	case !strings.EqualFold(answer, "yes"):
		return problem.New(problem.Usage, "the cautions were not acknowledged; nothing was done")
	}
	return nil
}
