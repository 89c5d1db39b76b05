package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
)

// prompter asks the person at the bench by a line on standard error and a press
// of Enter on standard input. Standard input need not be a terminal: each line of
// it is one press.
type prompter struct {
	err   io.Writer
	lines chan error
}

func newPrompter(in io.Reader, err io.Writer) *prompter {
	p := &prompter{err: err, lines: make(chan error)}
	go p.read(in)
	return p
}

// read turns lines into presses until the input ends; from then on nobody is there.
func (p *prompter) read(in io.Reader) {
	s := bufio.NewScanner(in)
	for s.Scan() {
		p.lines <- nil
	}
	cause := s.Err()
	if cause == nil {
		cause = errors.New("standard input has ended")
	}
	for {
		p.lines <- cause
	}
}

// Ask shows what to do.
func (p *prompter) Ask(text string) (<-chan error, func()) {
	fmt.Fprintf(p.err, "\n%s\n  Press Enter at the moment you do it. ", text)
	return p.lines, func() { fmt.Fprintln(p.err) }
}

// cautions are shown before the program acts on a unit for the first time.
const cautions = `Before the rig acts on this unit:
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

// acknowledged shows the cautions and waits until the person has typed yes.
func (a *app) acknowledged(ctx context.Context, yes bool) error {
	if yes {
		return nil
	}
	fmt.Fprint(a.err, cautions)
	fmt.Fprint(a.err, "Type yes to go on: ")
	line, err := readLine(interruptible{ctx, a.in})
	if _, tty := terminal(a.in); err != nil || !tty {
		fmt.Fprintln(a.err) // nobody's Enter has ended the line
	}
	if errors.Is(err, context.Canceled) {
		return failed(exitInterrupted, errors.New("interrupted before anything was done"))
	}
	if err != nil {
		return failed(exitUsage, errors.New("the cautions were not acknowledged: standard input has ended; type yes when asked, or give --yes in a script"))
	}
	if strings.ToLower(strings.TrimSpace(line)) != "yes" {
		return failed(exitUsage, errors.New("the cautions were not acknowledged; nothing was done"))
	}
	return nil
}

// readLine reads one line without taking more from the stream than that.
func readLine(r io.Reader) (string, error) {
	var line []byte
	one := make([]byte, 1)
	for {
		n, err := r.Read(one)
		if n == 1 {
			if one[0] == '\n' {
				return string(line), nil
			}
			line = append(line, one[0])
		}
		if err != nil {
			return string(line), err
		}
	}
}
