package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"makebreak/rig/commission"
	"makebreak/rig/gpioline"
	"makebreak/rig/i2cbus"
	"makebreak/rig/line"
	"makebreak/rig/outfile"
	"makebreak/rig/problem"
	"makebreak/rig/prompt"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

func (a *app) rigInitCommand() *cobra.Command {
	var yes bool
	c := &cobra.Command{
		Use:   "init",
		Short: "Write a first rig file from what is there, and say how it is wired",
		Long: `Write a first rig file from what is there: the converters that answer, lines that
are free, the bus. Comments in it say what to fill in. Then its wiring is shown, with
the header's pins. A file that is there is never overwritten.

Nothing is changed, unless you agree that ready lines are looked for: each converter
then converts for a quarter of a second, and the line that ticks at its rate is its
ready line. For that, its registers are written; afterwards they are as after power-up.
Lines are only read, as they are.

The exit status is 69 where no converter answers.`,
		Example: `  makebreak rig init -o rig.yaml
  makebreak rig init                  # show the file only`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return a.rigInit(c.Context(), yes) },
	}
	a.forms(c, "text")
	c.Flags().BoolVar(&yes, "yes", false, "look for ready lines without asking (for scripts)")
	return c
}

// rigInit makes a first rig file.
func (a *app) rigInit(ctx context.Context, yes bool) error {
	if a.rig != "" {
		return badUsage("rig init makes a new rig file: name it with -o, and leave --rig out")
	}
	toFile := a.file != "" && a.file != "-"
	if _, err := os.Lstat(a.file); toFile && !errors.Is(err, fs.ErrNotExist) {
		return badUsage("%s is there already, and rig init overwrites nothing: name another file", a.file)
	}
	s, err := commission.NewStarter(commission.Scan())
	if err != nil {
		return err
	}
	if err := a.findReady(ctx, s, yes); err != nil {
		return err
	}
	return a.deliverStarter(s, toFile)
}

// deliverStarter writes the file and its wiring. Where the file goes to standard output, the
// wiring follows in comments, so that all of it is a rig file.
func (a *app) deliverStarter(s *commission.Starter, toFile bool) error {
	var text, wires bytes.Buffer
	if err := s.Text(&text); err != nil {
		return err
	}
	rig, err := rigfile.Parse("the first rig file", text.Bytes())
	if err != nil {
		return problem.Of(problem.Internal, err)
	}
	if err := commission.WriteWiring(&wires, rig); err != nil {
		return err
	}
	if !toFile {
		text.WriteString("\n")
		for l := range bytes.Lines(wires.Bytes()) {
			text.WriteString("# ")
			text.Write(l)
		}
		return a.deliver(contents(&text))
	}
	if err := outfile.WriteNew(a.file, 0o644, contents(&text)); err != nil {
		return err
	}
	a.note("Written to %s. Fill in what it asks for, wire it, then: makebreak rig check --rig %s", a.file, a.file)
	return toReader(outfile.Fill(outfile.Stream(a.ctx, a.out), "standard output", a.guarded(contents(&wires))))
}

// contents writes what a buffer holds, once.
func contents(b *bytes.Buffer) func(io.Writer) error {
	return func(w io.Writer) error { _, err := b.WriteTo(w); return err }
}

// findReady looks for the converters' ready lines, where somebody agrees to that.
func (a *app) findReady(ctx context.Context, s *commission.Starter, yes bool) error {
	if len(s.Free) == 0 {
		return nil
	}
	if !yes {
		if _, tty := terminal(a.in); !tty {
			a.note("Ready lines were not looked for: nobody is here to agree; --yes does it without asking")
			return nil
		}
		asked := prompt.NewTerminal(a.in, a.prompts()).Ask("Look for the ready lines? Each converter converts for a quarter of a second, and free lines are read. Type yes (anything else skips).")
		select {
		case <-ctx.Done():
			return problem.New(problem.Interrupted, "interrupted")
		case answer := <-asked:
			if answer != "yes" {
				return nil
			}
		}
	}
	bus, err := i2cbus.OpenBus(s.Bus)
	if err != nil {
		return err
	}
	defer bus.Close()
	found, err := commission.FindReady(ctx, bus, s.ReadyChips(), s.Free, func(reqs []line.Request) (line.Set, error) { return gpioline.Open(reqs) })
	if ctx.Err() != nil {
		return problem.New(problem.Interrupted, "interrupted")
	}
	if err != nil {
		a.note("Ready lines were not found: %v", err)
	}
	s.TakeReady(found)
	return nil
}

func (a *app) rigWiringCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "wiring",
		Short: "Show how a rig file is wired, with the header's pins",
		Long: `Show how a rig file is wired: each signal with its converter's input or its line, the
pin of a Raspberry Pi's header and what to connect, then the header with what is on
each pin. No hardware is needed.`,
		Args: noArguments,
		RunE: func(*cobra.Command, []string) error {
			rig, err := a.namedRig()
			if err != nil {
				return err
			}
			return a.print(func(w io.Writer) error { return writeWiring(w, rig) })
		},
	}
	a.forms(c, "text")
	return c
}

// writeWiring writes a rig's wiring and what is doubtful of it.
func writeWiring(w io.Writer, rig *wiring.Rig) error {
	if err := commission.WriteWiring(w, rig); err != nil {
		return err
	}
	for _, p := range rig.Check() {
		if _, err := fmt.Fprintf(w, "\nWarning: %s\n", p); err != nil {
			return err
		}
	}
	return nil
}
