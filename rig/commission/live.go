package commission

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/table"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

const (
	// refresh is how often the live view is shown anew.
	refresh = 250 * time.Millisecond
	// eventEvery is how long each state of a simulated unit is shown: long enough to be read.
	eventEvery = 2 * time.Second
)

// A View is what has been seen of a rig since the start of Live.
type View struct {
	Outputs []OutputView // as the rig file has them
	Lines   []LineView
	Counts  capture.Counts
}

// An OutputView is what has been seen of an output.
type OutputView struct {
	Name                 string
	Now, Lowest, Highest unit.Volts // now is the mean of the latest refresh
	Samples              int        // 0: nothing is known of the voltages
}

// A LineView is what has been seen of a line.
type LineView struct {
	Name    string
	Contact bool   // it closes; other lines are active
	Role    string // as in "contact"
	Known   bool   // Closed is known
	Closed  bool
	Edges   int
	Lost    int // edges known to be lost
}

// Live records the rig and shows a view four times a second, until the time has passed or
// the context ends; a time of 0 has no end. The last view is shown with last set. Events
// are brought about in turn, one every two seconds; without events nothing is switched.
func Live(ctx context.Context, rig *wiring.Rig, b *bench.Bench, lasts time.Duration, events []string, show func(v *View, last bool) error) error {
	c, err := b.NewCapture()
	if err != nil {
		return err
	}
	v := newView(rig, c)
	end, due := b.Now().Add(lasts), b.Now().Add(eventEvery)
	for n := 0; ; {
		var err error
		if len(events) > 0 && b.Now() >= due {
			_, err = b.Cause(ctx, c, events[n%len(events)])
			n, due = n+1, b.Now().Add(eventEvery)
		}
		err = errors.Join(err, b.Record(ctx, c, b.Now().Add(refresh)))
		v.add(c)
		v.Counts = b.Counts()
		c = c.Continue()
		last := err != nil || lasts > 0 && b.Now() >= end
		if showErr := show(v, last); showErr != nil || last {
			return errors.Join(err, showErr)
		}
	}
}

func newView(rig *wiring.Rig, c *capture.Capture) *View {
	v := &View{}
	for _, o := range rig.Outputs { // whatever chip they are on
		if slices.ContainsFunc(c.Traces, func(t *capture.Trace) bool { return t.Signal == o.Name }) {
			v.Outputs = append(v.Outputs, OutputView{Name: o.Name, Lowest: unit.Volts(math.Inf(1)), Highest: unit.Volts(math.Inf(-1))})
		}
	}
	for i, r := range bench.Requests(rig)[:len(c.Tracks)] {
		role := r.Role.String()
		v.Lines = append(v.Lines, LineView{Name: c.Tracks[i].Signal, Role: role, Contact: role == "contact"})
	}
	return v
}

// add adds what has been recorded since the last time.
func (v *View) add(c *capture.Capture) {
	for i := range v.Outputs {
		v.Outputs[i].add(c.Trace(v.Outputs[i].Name), c)
	}
	for i, t := range c.Tracks {
		x := &v.Lines[i]
		x.Closed, x.Known = t.StateAt(c.End)
		x.Edges += len(t.Edges)
		x.Lost += t.Lost()
	}
}

func (o *OutputView) add(t *capture.Trace, c *capture.Capture) {
	sum, n := 0.0, 0
	for _, vs := range t.Blocks(c.Start, c.End+1) {
		for _, v := range vs {
			sum += float64(v)
			n++
			o.Lowest, o.Highest = min(o.Lowest, unit.Volts(v)), max(o.Highest, unit.Volts(v))
		}
	}
	if n > 0 {
		o.Now = unit.Volts(sum / float64(n))
		o.Samples += n
	}
}

// Text writes the view as tables.
func (v *View) Text(w io.Writer) error {
	volts := func(v unit.Volts) string { return fmt.Sprintf("%7.3f V", float64(v)) }
	err := table.Write(w, []string{"output", "now", "lowest", "highest"}, func(row func(...any)) {
		for _, o := range v.Outputs {
			if o.Samples == 0 {
				row(o.Name, "—", "—", "—")
				continue
			}
			row(o.Name, volts(o.Now), volts(o.Lowest), volts(o.Highest))
		}
	})
	if err != nil {
		return err
	}
	fmt.Fprintln(w)
	err = table.Write(w, []string{"line", "", "state", "edges", "lost"}, func(row func(...any)) {
		for _, x := range v.Lines {
			row(x.Name, x.Role, x.State(), x.Edges, x.Lost)
		}
	})
	if n := v.Counts; n.MissedConversions+n.LostReadyEdges+n.BusErrors+n.ChipResets > 0 {
		fmt.Fprintf(w, "\n%s missed, %s lost, %s, %s found reset\n", words.Count(n.MissedConversions, "conversion"), words.Count(n.LostReadyEdges, "ready edge"),
			words.Count(n.BusErrors, "bus error"), words.Count(n.ChipResets, "converter"))
	}
	return err
}

// State is the word for the line's state: contacts close, other lines are active.
func (x LineView) State() string {
	switch {
	case !x.Known:
		return "—"
	case x.Contact && x.Closed:
		return "closed"
	case x.Contact:
		return "open"
	case x.Closed:
		return "active"
	}
	return "inactive"
}
