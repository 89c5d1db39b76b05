package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/setup"
)

// refresh is how often the live look is drawn anew.
const refresh = 250 * time.Millisecond

// longestWatch is the longest time that can be asked for.
const longestWatch = 24 * time.Hour

// handRests is how long each state of a simulated unit is shown: long enough to be read.
const handRests = 2 * time.Second

func (a *app) rigWatchCommand() *cobra.Command {
	var lasts string
	c := &cobra.Command{
		Use:   "watch",
		Short: "Show levels and contacts live, for wiring up",
		Long: `Show every output's voltage and every line's state, refreshed four times a
second, with the lowest and highest voltage and the count of edges since the
start. Nothing is switched and nothing is logged. Ctrl-C ends it.

On the simulated bench the events of a built-in sequence go round meanwhile, as if
somebody worked the unit, except where its supply would have to be switched on.`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			var d time.Duration
			if lasts != "" {
				s, err := unit.Time.Parse(lasts)
				if err != nil || !(s > 0 && s <= longestWatch.Seconds()) {
					return failed(exitUsage, fmt.Errorf("--for %q: a time above 0 and up to 24 h may stand there, as in 10s", lasts))
				}
				d = capture.FromSeconds(s).Sub(0)
			}
			return a.rigWatch(c.Context(), d)
		},
	}
	a.forms(c, "text")
	c.Flags().StringVar(&lasts, "for", "", "end after a `time`, as in 10s (default: when interrupted)")
	return c
}

// rigWatch shows the rig live until the time has passed or the context is done. On
// a terminal the picture is drawn over; elsewhere only the last one is written.
func (a *app) rigWatch(ctx context.Context, lasts time.Duration) error {
	rig, err := a.namedRig()
	if err != nil {
		return err
	}
	b, hand, err := a.openWatched(rig)
	if err != nil {
		return err
	}
	defer b.Close()
	c, err := b.NewCapture()
	if err != nil {
		return err
	}
	look := newLook(rig, c)
	live := obeys(a.out) && a.file == ""
	end := b.Now().Add(lasts)
	for {
		err := errors.Join(hand.act(ctx, b, c), b.Record(ctx, c, b.Now().Add(refresh)))
		look.take(c)
		c = c.Continue()
		done := err != nil || lasts > 0 && b.Now() >= end
		if err := a.showLook(look, b, live, done); err != nil {
			return err
		}
		if errors.Is(err, context.Canceled) {
			return failed(exitInterrupted, errors.New("interrupted"))
		}
		if done {
			return err
		}
	}
}

// openWatched opens the bench to be looked at. A real one is left at rest; a simulated one
// gets somebody who works its unit.
func (a *app) openWatched(rig *wiring.Rig) (*bench.Bench, *hand, error) {
	var seq *sequences.Sequence
	if rig.Simulated && rig.ProgrammedSupply() == nil { // a supply stays at its rest
		seq = handsOn(rig)
	}
	if seq == nil {
		b, err := a.openAtRest(rig)
		return b, &hand{}, err
	}
	b, err := a.openWith(rig, seq, setup.Simulation{RealTime: true}, bench.Opts{})
	if err != nil {
		return nil, nil, err
	}
	a.note("Simulated: the events of %s go round, as if somebody worked the unit", seq.Name)
	return b, &hand{steps: seq.Steps, due: b.Now().Add(handRests)}, nil
}

// handsOn is the first built-in sequence whose events the rig brings about by itself,
// changed to watch all outputs in turn; nil where there is none.
func handsOn(rig *wiring.Rig) *sequences.Sequence {
	for _, seq := range sequences.Builtin() {
		if _, err := seq.Fits(rig); err == nil && !seq.MovesSupply() && !setup.Prompts(rig, seq) {
			seq.Plan.OthersUnmoved, seq.Sample = true, wiring.Sweep
			return seq
		}
	}
	return nil
}

// hand works a simulated unit: it brings a sequence's events about, again and again. One
// without steps keeps still.
type hand struct {
	steps []sequences.Step
	n     int
	due   capture.Instant // of the next event
}

// act brings the next event about where it is due.
func (h *hand) act(ctx context.Context, b *bench.Bench, c *capture.Capture) error {
	if len(h.steps) == 0 || b.Now() < h.due {
		return nil
	}
	s := h.steps[h.n%len(h.steps)]
	h.n++
	h.due = b.Now().Add(handRests)
	_, err := b.Cause(ctx, c, s.Cause)
	return err
}

// namedRig is the rig file asked for, or the simulated bench.
func (a *app) namedRig() (*wiring.Rig, error) {
	if a.rig == "" {
		return rigfile.Builtin()[0], nil
	}
	rig, err := rigfile.Load(a.rig)
	return rig, inputError(err)
}

// showLook draws the picture: over the one before on a terminal, and once, at the
// end, elsewhere.
func (a *app) showLook(l *look, b *bench.Bench, live, done bool) error {
	var picture bytes.Buffer
	if err := l.write(&picture, b.Counts()); err != nil {
		return err
	}
	if !live {
		if !done {
			return nil
		}
		return a.deliver(func(w io.Writer) error {
			_, err := picture.WriteTo(w)
			return err
		})
	}
	if l.drawn > 0 { // back to the first line of the picture before, and clear from there
		fmt.Fprintf(a.out, "\x1b[%dA\x1b[J", l.drawn)
	}
	lines := strings.SplitAfter(picture.String(), "\n")
	if columns, rows := a.size(); !done {
		lines = cutTo(lines, columns, rows)
	}
	l.drawn = len(lines)
	_, err := io.WriteString(a.out, strings.Join(lines, ""))
	return err
}

// cutTo cuts a picture to what a terminal can show without moving it: a line that went on in
// a second row, or one too many, would put the next picture in the wrong place.
func cutTo(lines []string, columns, rows int) []string {
	if n := len(lines) - 1; lines[n] == "" {
		lines = lines[:n]
	}
	if rows > 1 && len(lines) >= rows {
		lines = append(lines[:rows-2:rows-2], "… (more lines than the terminal has)\n")
	}
	for i, line := range lines {
		if text := []rune(strings.TrimSuffix(line, "\n")); columns > 0 && len(text) >= columns {
			lines[i] = string(text[:columns-1]) + "\n"
		}
	}
	return lines
}

// look is what has been seen of the rig.
type look struct {
	outputs []lookOutput
	order   []int // in which the outputs are shown
	lines   []lookLine
	drawn   int // lines of the picture on the terminal
}

type lookOutput struct {
	name                 string
	now, lowest, highest float64 // volts; now is the mean of the latest refresh
	n                    int
}

type lookLine struct {
	name, kind string
	known      bool
	closed     bool
	edges      int
	lost       int
}

func newLook(rig *wiring.Rig, c *capture.Capture) *look {
	l := &look{}
	for _, t := range c.Traces {
		l.outputs = append(l.outputs, lookOutput{name: t.Signal, now: math.NaN(), lowest: math.Inf(1), highest: math.Inf(-1)})
	}
	l.order = make([]int, len(l.outputs)) // as the rig file has them, whatever chip they are on
	for i := range l.order {
		l.order[i] = i
	}
	slices.SortFunc(l.order, func(i, j int) int {
		return outputIndex(rig, l.outputs[i].name) - outputIndex(rig, l.outputs[j].name)
	})
	for i, r := range bench.Requests(rig)[:len(c.Tracks)] {
		l.lines = append(l.lines, lookLine{name: c.Tracks[i].Signal, kind: r.Role.String()})
	}
	return l
}

func outputIndex(rig *wiring.Rig, name string) int {
	return slices.IndexFunc(rig.Outputs, func(o wiring.Output) bool { return o.Name == name })
}

// take takes in what has been recorded since the last time.
func (l *look) take(c *capture.Capture) {
	for i, t := range c.Traces {
		o := &l.outputs[i]
		sum, n := 0.0, 0
		for _, vs := range t.Blocks(c.Start, c.End+1) {
			for _, v := range vs {
				sum += float64(v)
				n++
				o.lowest, o.highest = math.Min(o.lowest, float64(v)), math.Max(o.highest, float64(v))
			}
		}
		if n > 0 {
			o.now = sum / float64(n)
			o.n += n
		}
	}
	for i, t := range c.Tracks {
		x := &l.lines[i]
		x.closed, x.known = t.StateAt(c.End)
		x.edges += len(t.Edges)
		x.lost += t.Lost
	}
}

func (l *look) write(w io.Writer, counts capture.Counts) error {
	err := writeTable(w, []string{"output", "now", "lowest", "highest"}, func(row func(...any)) {
		for _, i := range l.order {
			o := l.outputs[i]
			if o.n == 0 {
				row(o.name, "—", "—", "—")
				continue
			}
			row(o.name, volts(o.now), volts(o.lowest), volts(o.highest))
		}
	})
	if err != nil {
		return err
	}
	fmt.Fprintln(w)
	err = writeTable(w, []string{"line", "", "state", "edges", "lost"}, func(row func(...any)) {
		for _, x := range l.lines {
			row(x.name, x.kind, x.state(), x.edges, x.lost)
		}
	})
	if n := counts.MissedConversions + counts.BusErrors + counts.ChipResets; n > 0 {
		fmt.Fprintf(w, "\n%s missed, %s, %s found reset\n", words.Count(counts.MissedConversions, "conversion", "conversions"),
			words.Count(counts.BusErrors, "bus error", "bus errors"), words.Count(counts.ChipResets, "converter", "converters"))
	}
	return err
}

func volts(v float64) string { return fmt.Sprintf("%7.3f V", v) }

// state is the word for a line's state: contacts close, other lines are active.
func (x *lookLine) state() string {
	contact := x.kind == "contact"
	switch {
	case !x.known:
		return "—"
	case contact && x.closed:
		return "closed"
	case contact:
		return "open"
	case x.closed:
		return "active"
	}
	return "inactive"
}
