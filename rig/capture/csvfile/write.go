package csvfile

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"makebreak/rig/capture"
)

// Write writes the capture in the form that Reader reads: times to as many
// decimal places as they need, up to the nanosecond; volts to the place that
// StepVolts names, or to as many as give the same single precision value back.
//
// Where samples were left out on purpose, a column samples_kept says so: 0 from a span's
// end to the next one's start. A column as K1_NO_lost says when edges of K1_NO may be lost.
//
// The form has no room for the converter's doubts and span, for counts, and for how late
// edges were taken in: those stay behind. A line's edges at or before the start are its
// state at the start; of several edges of one line at one instant the last one
// counts. Two samples of one output, or two events, at one instant cannot be
// written.
//
// What the capture is of stands in columns of its own, see Origin.
func Write(w io.Writer, c *capture.Capture, of Origin) error {
	cw := &writer{out: bufio.NewWriterSize(w, 64<<10), places: timePlacesOf(c, marksOf(c)...)}
	if err := cw.header(c, of); err != nil {
		return fmt.Errorf("write the capture: %w", err)
	}
	if err := cw.rows(c); err != nil {
		return fmt.Errorf("write the capture: %w", err)
	}
	if err := cw.out.Flush(); err != nil {
		return fmt.Errorf("write the capture: %w", err)
	}
	return nil
}

type writer struct {
	out    *bufio.Writer
	places int
	row    []byte
	traces []traceCursor
	tracks []trackCursor
	events []capture.Event
}

// block is some samples of a trace, in the trace's own memory.
type block struct {
	at    []int64
	volts []float32
}

// traceCursor walks through a trace's samples.
type traceCursor struct {
	t      *capture.Trace
	blocks []block
	block  int
	i      int
	// scale is 10^places where volts are written to fixed places, else 0.
	scale  float64
	places int
}

func (c *traceCursor) peek() (at int64, volts float32, ok bool) {
	if c.block >= len(c.blocks) {
		return 0, 0, false
	}
	b := c.blocks[c.block]
	return b.at[c.i], b.volts[c.i], true
}

func (c *traceCursor) advance() {
	if c.i++; c.i == len(c.blocks[c.block].at) {
		c.block, c.i = c.block+1, 0
	}
}

// trackCursor walks through a line's edges.
type trackCursor struct {
	t *capture.Track
	i int
}

func (w *writer) header(c *capture.Capture, of Origin) error {
	names := []string{timeName, eventName}
	for _, t := range c.Traces {
		names = append(names, t.Signal+voltsEnd)
		w.traces = append(w.traces, newTraceCursor(t))
	}
	for _, t := range c.Tracks {
		if k, _ := kindOf(t.Signal); k != stateColumn {
			return fmt.Errorf("a line cannot be named %q: the name would say that it is something else", t.Signal)
		}
		names = append(names, t.Signal)
		w.tracks = append(w.tracks, trackCursor{t: t})
	}
	for _, t := range append(marksOf(c), originTracks(of)...) {
		names = append(names, t.Signal)
		w.tracks = append(w.tracks, trackCursor{t: t})
	}
	columns, err := header(names)
	if err != nil {
		return err
	}
	for i, k := range columns[len(columns)-len(w.tracks):] {
		if i < len(c.Tracks) && k.kind != stateColumn {
			return fmt.Errorf("a line cannot be named %q beside %q: the name would say that it is something else", k.name, strings.TrimSuffix(k.name, lostEnd))
		}
	}
	for i, name := range names {
		if i > 0 {
			w.out.WriteByte(',')
		}
		w.out.WriteString(quoteCell(name))
	}
	return w.out.WriteByte('\n')
}

// marksOf are the columns of the capture itself, as if they were lines.
func marksOf(c *capture.Capture) []*capture.Track {
	all := lostTracks(c)
	if t := keptTrack(c); t != nil {
		all = append(all, t)
	}
	return all
}

// keptTrack is what the column samples_kept holds, as if it were a line; nil where
// nothing was left out.
func keptTrack(c *capture.Capture) *capture.Track {
	if c.Kept == nil {
		return nil
	}
	t := spanTrack(c, keptName, c.Kept)
	if t.Initial && len(t.Edges) == 0 {
		return nil
	}
	return t
}

// newTraceCursor finds the decimal places of the trace's step, where it is a
// power of ten.
func newTraceCursor(t *capture.Trace) traceCursor {
	c := traceCursor{t: t}
	for at, volts := range t.Blocks(math.MinInt64, math.MaxInt64) {
		c.blocks = append(c.blocks, block{at, volts})
	}
	for places := 0; places <= finestPlaces; places++ {
		if t.Converter.StepVolts == stepOf(places) {
			c.places, c.scale = places, pow10f[places]
		}
	}
	return c
}

func quoteCell(s string) string {
	if strings.ContainsAny(s, ",\"") {
		return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
	}
	return s
}

// rows merges samples, edges and events by time.
func (w *writer) rows(c *capture.Capture) error {
	w.events = c.Events
	at := int64(c.Start)
	for first := true; ; first = false {
		if !first {
			next, ok := w.nextTime()
			if !ok {
				break
			}
			if next < at {
				return fmt.Errorf("an entry at %s lies before the start or out of order", secondsText(next))
			}
			at = next
		}
		if at > maxNs || at < -maxNs {
			return fmt.Errorf("a time of %s is out of bounds", secondsText(at))
		}
		if err := w.writeRow(at, first); err != nil {
			return err
		}
	}
	if at < int64(c.End) {
		return w.writeRow(int64(c.End), false)
	}
	return nil
}

// nextTime returns the earliest time not yet written.
func (w *writer) nextTime() (at int64, ok bool) {
	at = math.MaxInt64
	for i := range w.traces {
		if t, _, more := w.traces[i].peek(); more && t <= at {
			at, ok = t, true
		}
	}
	for _, k := range w.tracks {
		if k.i < len(k.t.Edges) && int64(k.t.Edges[k.i].At) <= at {
			at, ok = int64(k.t.Edges[k.i].At), true
		}
	}
	if len(w.events) > 0 && int64(w.events[0].At) <= at {
		at, ok = int64(w.events[0].At), true
	}
	return at, ok
}

// writeRow writes all that happens at the instant.
func (w *writer) writeRow(at int64, first bool) error {
	w.row = appendSeconds(w.row[:0], at, w.places)
	w.row = append(w.row, ',')
	if len(w.events) > 0 && int64(w.events[0].At) == at {
		if !eventOK([]byte(w.events[0].Name)) {
			return fmt.Errorf("%q cannot be an event's name in a file", w.events[0].Name)
		}
		w.row = append(w.row, w.events[0].Name...)
		w.events = w.events[1:]
		if len(w.events) > 0 && int64(w.events[0].At) == at {
			return fmt.Errorf("two events at %s", secondsText(at))
		}
	}
	for i := range w.traces {
		w.row = append(w.row, ',')
		if err := w.appendVolts(&w.traces[i], at); err != nil {
			return err
		}
	}
	for i := range w.tracks {
		w.row = append(w.row, ',')
		w.appendState(&w.tracks[i], at, first)
	}
	w.row = append(w.row, '\n')
	_, err := w.out.Write(w.row)
	return err
}

func (w *writer) appendVolts(c *traceCursor, at int64) error {
	t, v, ok := c.peek()
	if !ok || t != at {
		return nil
	}
	c.advance()
	if t, _, ok = c.peek(); ok && t == at {
		return fmt.Errorf("two samples of %s at %s", c.t.Signal, secondsText(at))
	}
	x := float64(v)
	if math.IsNaN(x) {
		return nil
	}
	if math.Abs(x) > maxVolts {
		return fmt.Errorf("%s: %g V at %s is out of bounds", c.t.Signal, x, secondsText(at))
	}
	if c.scale > 0 && float32(math.Round(x*c.scale)/c.scale) == v {
		w.row = strconv.AppendFloat(w.row, x, 'f', c.places, 64)
	} else {
		w.row = strconv.AppendFloat(w.row, x, 'f', -1, 32)
	}
	return nil
}

func (w *writer) appendState(k *trackCursor, at int64, first bool) {
	closed, write := k.t.Initial, first && k.t.Known
	for k.i < len(k.t.Edges) && int64(k.t.Edges[k.i].At) <= at {
		closed, write = k.t.Edges[k.i].Closed, true
		k.i++
	}
	switch {
	case !write:
	case closed:
		w.row = append(w.row, '1')
	default:
		w.row = append(w.row, '0')
	}
}

// timePlacesOf returns the fewest decimal places that hold every time; more are lines
// beside the capture's.
func timePlacesOf(c *capture.Capture, more ...*capture.Track) int {
	places := max(placesOf(int64(c.Start), 0), 0)
	places = placesOf(int64(c.End), places)
	for _, e := range c.Events {
		places = placesOf(int64(e.At), places)
	}
	for _, t := range append(slices.Clone(c.Tracks), more...) {
		for _, e := range t.Edges {
			places = placesOf(int64(e.At), places)
		}
	}
	for _, t := range c.Traces {
		for times := range t.Blocks(math.MinInt64, math.MaxInt64) {
			for _, at := range times {
				places = placesOf(at, places)
			}
		}
	}
	return places
}

// placesOf returns how many decimal places of a second the time needs, but no
// fewer than given.
func placesOf(ns int64, least int) int {
	for least < 9 && ns%int64(pow10[9-least]) != 0 {
		least++
	}
	return least
}

// appendSeconds appends a time in seconds with the given decimal places, which
// must hold it exactly or be 9.
func appendSeconds(b []byte, ns int64, places int) []byte {
	u := uint64(ns)
	if ns < 0 {
		b = append(b, '-')
		u = -u
	}
	const second = 1_000_000_000
	b = strconv.AppendUint(b, u/second, 10)
	if places == 0 {
		return b
	}
	b = append(b, '.')
	frac := u % second
	for i := range places {
		b = append(b, '0'+byte(frac/pow10[8-i]%10))
	}
	return b
}
