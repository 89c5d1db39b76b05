package picture

import (
	"io"
	"math"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/rig/unit"
)

// CardStep is one event of a job card and how long the state after it is watched.
type CardStep struct {
	Event string
	Hold  time.Duration
}

// Card is what each output must do in one cycle, drawn over time. It is what a job card says:
// nothing in it was measured.
type Card struct {
	Heading string
	Words   []string
	Steps   []CardStep
	Lanes   []CardLane

	about string
}

// CardLane is what one output, or all that are not named, must do. All steps are drawn as wide
// as each other, so times in it are in steps: 1.5 is the middle of the second.
type CardLane struct {
	Signal string
	// Lines are the state over time, 0 low and 1 high, each without a gap.
	Lines  [][]Point
	Free   []Unseen // stretches in which it may do anything
	Still  bool     // it must not move, whatever its state is
	Words  string   // what is demanded, in words
	Limits string   // of its levels and times; empty: none
}

// CardWords say in words what a plan demands.
type CardWords struct {
	Demanded func(signal string) string
	Limits   func(analyze.Limits) string
}

// NewCard works out the drawing of a job card.
func NewCard(heading string, words []string, steps []CardStep, plan *analyze.Plan, say CardWords) *Card {
	c := &Card{Heading: heading, Words: words, Steps: steps}
	told := append([]string(nil), words...)
	for i := range plan.Outputs {
		l := laneOf(&plan.Outputs[i], steps)
		l.Words, l.Limits = say.Demanded(l.Signal), say.Limits(plan.Outputs[i].Limits)
		c.Lanes = append(c.Lanes, l)
		told = append(told, l.named()+".")
	}
	if plan.OthersUnmoved {
		c.Lanes = append(c.Lanes, CardLane{Signal: "every other output", Still: true, Words: "must not move"})
		told = append(told, "Every other output must not move.")
	}
	c.about = strings.Join(told, " ")
	return c
}

// laneOf walks through a cycle twice: the second time the output begins as the first one leaves
// it.
func laneOf(o *analyze.OutputPlan, steps []CardStep) CardLane {
	var w walk
	for range 2 {
		w = walk{high: w.high, lane: CardLane{Signal: o.Signal}}
		w.add(0)
		for _, s := range steps {
			w.step(o.At(s.Event), s.Hold.Seconds())
		}
		w.cut()
	}
	return w.lane
}

// walk is an output's demanded state while a card is walked through.
type walk struct {
	lane CardLane
	line []Point
	at   float64 // steps
	high bool
	free bool
}

func (w *walk) add(at float64) {
	v := 0.0
	if w.high {
		v = 1
	}
	w.line = append(w.line, Point{at, v})
}

// cut ends a line.
func (w *walk) cut() {
	if len(w.line) > 1 {
		w.lane.Lines = append(w.lane.Lines, w.line)
	}
	w.line = nil
}

// move changes the state at a time.
func (w *walk) move(at float64, high bool) {
	w.add(at)
	w.high = high
	w.add(at)
}

// step adds what is demanded at an event until the next one.
func (w *walk) step(x analyze.Expectation, hold float64) {
	end := w.at + 1
	after := 0.0 // a share of the step
	if hold > 0 {
		after = math.Min(x.After.Seconds()/hold, 1)
	}
	if x.Demand == analyze.Any {
		w.cut()
		w.lane.Free = append(w.lane.Free, Unseen{From: w.at, To: end, Words: "any"})
		w.at, w.free = end, true
		return
	}
	if w.free { // its state is not known
		w.high, w.free = x.Demand == analyze.High || x.Demand == analyze.Pulse || x.Demand == analyze.Train, false
		w.add(w.at)
	}
	switch x.Demand {
	case analyze.High, analyze.Low:
		w.move(w.at+after, x.Demand == analyze.High)
	case analyze.Pulse:
		w.move(w.at, true)
		w.move(w.at+after, false)
	case analyze.Train:
		w.train(x, after, hold)
	}
	w.at = end
	w.add(end)
}

// mostDrawn is how many pulses of a train are drawn in a step.
const mostDrawn = 12

// train draws the pulses of a train that begins after a share of a step that lasts hold seconds.
func (w *walk) train(x analyze.Expectation, after, hold float64) {
	if hold <= 0 {
		return
	}
	on, period := x.On.Seconds()/hold, (x.On+x.Off).Seconds()/hold
	ends := 1.0
	if x.For > 0 {
		ends = math.Min(1, after+x.For.Seconds()/hold)
	}
	for i := 0; i < mostDrawn && (x.Pulses == 0 || i < x.Pulses); i++ {
		rise := after + float64(i)*period
		if rise >= ends {
			return
		}
		w.move(w.at+rise, true)
		if x.Flashes() && rise+on >= 1 {
			return
		}
		w.move(w.at+math.Min(rise+on, ends), false)
	}
}

// Inline writes the card as an SVG element for a page that holds Style.
func (c *Card) Inline(w io.Writer) error { return c.drawing().svg(w, false) }

// SVG writes the card as an SVG file.
func (c *Card) SVG(w io.Writer) error { return c.drawing().svg(w, true) }

// PNG writes the card as a PNG, as it is on a light ground.
func (c *Card) PNG(w io.Writer) error { return c.drawing().png(w) }

// The card's field and the heights of its parts.
const (
	cardLeft   = 44.0
	cardMargin = 4.0  // right of the field
	cardLine   = 16.0 // of text
	cardLane   = 26.0
	cardGap    = 16.0
)

func (c *Card) drawing() *drawing {
	d := &drawing{title: c.Heading, about: c.about}
	y := d.heading(headingText, c.Words...) + 14
	f := &frame{left: cardLeft, right: across - cardMargin, fromX: 0, toX: max(float64(len(c.Steps)), 1), fromY: 0, toY: 1}
	y = c.names(d, f, y)
	for i := range c.Lanes {
		y = c.lane(d, &c.Lanes[i], *f, y)
	}
	c.holds(d, f, y)
	d.height = math.Ceil(y + cardLine + 6)
	return d
}

// names writes the events' names in rows, so that none covers another, each with a line down to
// the lanes. It returns where those begin.
func (c *Card) names(d *drawing, f *frame, y float64) float64 {
	var ends []float64
	rows := make([]int, len(c.Steps))
	left := make([]float64, len(c.Steps))
	for i, s := range c.Steps {
		width := widthOf(s.Event, smallText)
		left[i] = min(f.at(float64(i), 0).x+4, across-width)
		for rows[i] < len(ends) && ends[rows[i]] > left[i] {
			rows[i]++
		}
		if rows[i] == len(ends) {
			ends = append(ends, 0)
		}
		ends[rows[i]] = left[i] + width + labelGap
	}
	bottom := y + cardLine*float64(len(ends))
	for i := range c.Steps {
		at := bottom - cardLine*float64(rows[i]+1)
		x := f.at(float64(i), 0).x
		d.line(soft, 1, 0, spot{x, at}, spot{x, bottom + 2})
	}
	for i := range c.Steps {
		at := bottom - cardLine*float64(rows[i]+1)
		d.ground(box{left[i] - 2, at, left[i] + widthOf(c.Steps[i].Event, smallText), at + cardLine - 2})
	}
	for i, s := range c.Steps {
		d.text(ink, spot{left[i], bottom - cardLine*float64(rows[i]) - 4}, smallText, start, s.Event)
	}
	return bottom
}

// holds writes below the lanes how long each state is watched.
func (c *Card) holds(d *drawing, f *frame, y float64) {
	d.line(soft, 1, 0, spot{f.left, y}, spot{f.right, y})
	for i, s := range c.Steps {
		d.text(soft, spot{f.at(float64(i)+0.5, 0).x, y + cardLine}, smallText, middle, unit.Time.Format(s.Hold.Seconds()))
	}
}

// lane draws what is demanded of one output, its words above and its limits below, and returns
// where the next one begins.
func (c *Card) lane(d *drawing, l *CardLane, f frame, y float64) float64 {
	y = c.told(d, ink, l.named(), y+4)
	f.top, f.bottom = y+8, y+8+cardLane
	for i := range len(c.Steps) + 1 {
		x := f.at(float64(i), 0).x
		d.line(rule, 1, 0, spot{x, f.top - 3}, spot{x, f.bottom + 3})
	}
	c.demanded(d, l, &f)
	y = f.bottom + 4
	if l.Limits != "" {
		y = c.told(d, soft, l.Limits, y)
	}
	return y + cardGap
}

// named is what is demanded, after whose it is.
func (l *CardLane) named() string {
	if l.Words == "" {
		return l.Signal
	}
	return l.Signal + ": " + l.Words
}

// told writes lines of text from the left edge on, and returns where they end.
func (c *Card) told(d *drawing, r role, words string, y float64) float64 {
	for _, part := range folded(words, smallText) {
		y += cardLine
		d.text(r, spot{0, y - 2}, smallText, start, part)
	}
	return y
}

// demanded draws the state that is demanded.
func (c *Card) demanded(d *drawing, l *CardLane, f *frame) {
	if l.Still {
		d.line(ink, 2, 0, spot{f.left, f.top + cardLane/2}, spot{f.right, f.top + cardLane/2})
		return
	}
	d.text(soft, spot{f.left - 6, f.top + 5}, smallText, end, "high")
	d.text(soft, spot{f.left - 6, f.bottom + 4}, smallText, end, "low")
	for _, u := range l.Free {
		a, b := f.at(u.From, 0).x, f.at(u.To, 0).x
		d.hatch(others, box{a, f.top, b, f.bottom}, 6)
		if w := widthOf(u.Words, smallText); w < b-a-8 {
			mid := (a + b) / 2
			d.ground(box{mid - w/2 - 3, f.top + 4, mid + w/2 + 3, f.bottom - 4})
			d.text(soft, spot{mid, f.top + cardLane/2 + 4}, smallText, middle, u.Words)
		}
	}
	for _, line := range l.Lines {
		points := make([]spot, len(line))
		for i, p := range line {
			points[i] = f.at(p.At, p.Value)
		}
		d.line(ink, 2, 0, points...)
	}
}
