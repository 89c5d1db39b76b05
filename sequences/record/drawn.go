package record

import (
	"cmp"
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/picture"
	"makebreak/rig/capture"
)

// drawer draws a capture while it is read, before what has been measured is discarded.
type drawer struct {
	plan    *analyze.Plan
	capture *capture.Capture
	outline *capture.Outline
	drawn   []drawn
}

// drawn is a diagram of an output at an event.
type drawn struct {
	signal, event string
	gravity       int
	timing        *picture.Timing
}

const (
	// mostDrawn is how many diagrams of events a capture's page has.
	mostDrawn = 12
	// mostHeld is how many are held while a capture is read: those of later events may be graver.
	mostHeld = 64
	// recent is how many figures are looked through for what an output was before an event.
	recent = 400
)

func newDrawer(p *analyze.Plan, c *capture.Capture) *drawer {
	return &drawer{plan: p, capture: c, outline: c.Outline()}
}

// state draws what outputs did from an event to the next. The figures are all there are until
// now, those of the state last.
func (d *drawer) state(c *capture.Capture, e *capture.Event, figures []analyze.Measurement) {
	figures = figures[max(0, len(figures)-recent):]
	first := len(figures)
	for first > 0 && figures[first-1].Event == e.Name && figures[first-1].Cycle == figures[len(figures)-1].Cycle {
		first--
	}
	for _, signal := range d.signals(e.Name, figures[first:]) {
		g := gravityOf(d.with(signal), figures[first:])
		i := slices.IndexFunc(d.drawn, func(x drawn) bool { return x.signal == signal && x.event == e.Name })
		if i >= 0 && d.drawn[i].gravity >= g || i < 0 && len(d.drawn) == mostHeld {
			continue
		}
		cycle := figures[len(figures)-1].Cycle
		t, err := picture.NewTiming(picture.TimingOf{Capture: c, Plan: d.plan, Figures: figures, Signal: signal, Event: e.Name, Cycle: cycle, At: &e.At})
		if err != nil {
			continue // of a signal that the capture does not have
		}
		if i < 0 {
			i = len(d.drawn)
			d.drawn = append(d.drawn, drawn{signal: signal, event: e.Name})
		}
		d.drawn[i].gravity, d.drawn[i].timing = g, t
	}
}

// signals are those worth a diagram at an event: outputs that must be high or low there, that
// moved, or that did not pass; and relays that no output is known to drive.
func (d *drawer) signals(event string, figures []analyze.Measurement) []string {
	var out []string
	add := func(signal string) {
		if !slices.Contains(out, signal) {
			out = append(out, signal)
		}
	}
	for i := range d.plan.Outputs {
		if _, named := d.plan.Outputs[i].Expect[event].Demand.State(); named {
			add(d.plan.Outputs[i].Signal)
		}
	}
	for i := range figures {
		m := &figures[i]
		def, _ := m.Quantity.Definition()
		bad := m.Verdict.Gravity() > analyze.Pass.Gravity()
		switch {
		case def.Of == analyze.OfOutput && (bad || m.Quantity == analyze.SwitchingDelay && !math.IsNaN(m.Value)):
			add(m.Signal)
		case m.Quantity == analyze.TransferTime && len(d.plan.Outputs) == 0 && len(d.capture.Traces) != 1:
			add(m.Signal)
		}
	}
	return out
}

// with reports of a signal whether the diagram of the one named shows it, too.
func (d *drawer) with(name string) func(signal string) bool {
	with := []string{name}
	for _, x := range d.plan.Relays {
		if o := d.plan.Output(name); o != nil && o.Relay == x.Signal {
			with = append(with, x.Signal, x.Make, x.Break)
		}
	}
	return func(signal string) bool { return slices.Contains(with, signal) }
}

func gravityOf(mine func(string) bool, figures []analyze.Measurement) int {
	v := analyze.NoVerdict
	for i := range figures {
		if mine(figures[i].Signal) {
			v = v.Worse(figures[i].Verdict)
		}
	}
	return v.Gravity()
}

// diagrams are the whole capture, and the gravest of the others, in the order of time.
func (d *drawer) diagrams() []*picture.Timing {
	var out []*picture.Timing
	d.outline.Finish()
	if t, err := picture.NewOverview(d.outline, d.capture, "The whole capture"); err == nil {
		out = append(out, t...)
	}
	order := make([]int, len(d.drawn))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(d.drawn[b].gravity, d.drawn[a].gravity) })
	order = order[:min(len(order), mostDrawn)]
	slices.Sort(order)
	for _, i := range order {
		out = append(out, d.drawn[i].timing)
	}
	return out
}
