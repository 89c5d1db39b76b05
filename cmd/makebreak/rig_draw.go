package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"makebreak/analyze/picture"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/sequences"
	"makebreak/sequences/sheet"
)

func (a *app) rigDrawCommand() *cobra.Command {
	card := false
	c := &cobra.Command{
		Use:   "draw [SEQUENCE]",
		Short: "Draw how a rig is wired, and what a sequence demands",
		Long: `Draw how a rig is wired: the unit's terminals, relays and LEDs, dividers, converters and
lines, with the points at which a meter's probe can be held. A sequence says which relay
is behind which output; its job card is drawn beneath. On the simulated bench, without
one, the first built-in sequence that fits is taken. No hardware is needed.

Text and html have both drawings; svg and png have the wiring, or the job card with
--card. What neither file says is not drawn.`,
		Example: `  makebreak rig draw
  makebreak rig draw armed-high --as html -o sheet.html
  makebreak rig draw job.yaml --rig rig.yaml --card --as svg -o card.svg`,
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: a.sequenceNames,
		RunE: func(_ *cobra.Command, args []string) error {
			return a.rigDraw(args, card)
		},
	}
	a.forms(c, "text", "svg", "png", "html")
	c.Flags().BoolVar(&card, "card", false, "draw the job card in place of the wiring, as svg or png")
	return c
}

// rigDraw draws a rig and a job card.
func (a *app) rigDraw(args []string, card bool) error {
	rig, seq, err := a.drawnBench(args)
	if err != nil {
		return err
	}
	if card && seq == nil {
		return badUsage("--card: name the sequence whose job card is drawn")
	}
	if card && a.as != "svg" && a.as != "png" {
		return badUsage("--card: name the form with --as svg or --as png; text and html have the job card anyway")
	}
	b := sheet.Bench(rig, relaysOf(rig, seq))
	switch a.as {
	case "text":
		return a.print(func(w io.Writer) error { return writeSheet(w, b, seq) })
	case "html":
		return a.deliver(func(w io.Writer) error { return sheet.HTML(w, b, seq, rig.Simulated) })
	}
	return a.deliverDrawing(b, seq, card)
}

// deliverDrawing writes one of both drawings.
func (a *app) deliverDrawing(b *picture.Bench, seq *sequences.Sequence, card bool) error {
	d := interface {
		SVG(io.Writer) error
		PNG(io.Writer) error
	}(picture.NewWiring(b))
	if card {
		d = sheet.Card(seq)
	}
	if a.as == "svg" {
		return a.deliver(d.SVG)
	}
	if a.file == "" && drawable(a.out) {
		return badUsage("--as png: a terminal cannot show it; name a file with -o")
	}
	return a.deliverBytes(d.PNG)
}

// drawnBench finds the rig and the sequence; nil: none was named, and the rig is a real one.
func (a *app) drawnBench(args []string) (*wiring.Rig, *sequences.Sequence, error) {
	if len(args) == 0 {
		rig, err := a.seenRig()
		if err != nil || !rig.Simulated {
			return rig, nil, err
		}
		for _, seq := range sequences.Builtin() {
			if _, err := seq.Fits(rig); err == nil {
				return rig, seq, nil
			}
		}
		return rig, nil, nil
	}
	seq, err := a.loadSequence(args[0])
	if err != nil {
		return nil, nil, err
	}
	rig, err := a.loadRig(seq)
	return rig, seq, err
}

// relaysOf are the relays that a sequence names; without one none is guessed.
func relaysOf(rig *wiring.Rig, seq *sequences.Sequence) []sim.Relay {
	if seq == nil {
		return nil
	}
	return sheet.Relays(rig, seq)
}

// writeSheet writes both drawings for a terminal of 80 columns.
func writeSheet(w io.Writer, b *picture.Bench, seq *sequences.Sequence) error {
	if err := sheet.WriteWiring(w, b); err != nil || seq == nil {
		return err
	}
	fmt.Fprintln(w)
	return sheet.WriteCard(w, seq)
}
