package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/picture"
	"makebreak/rig/capture"
	"makebreak/rig/words"
)

// DiagramForm is how a diagram is named.
const DiagramForm = "SIGNAL[@EVENT][#CYCLE], as in OUT3@arm-away#5"

// wantedDiagram names one diagram. An empty event and a cycle of 0 leave it open.
type wantedDiagram struct {
	signal, event string
	cycle         int
}

func parseDiagram(s string) (wantedDiagram, error) {
	var w wantedDiagram
	if i := strings.LastIndexByte(s, '#'); i >= 0 {
		n, err := strconv.Atoi(s[i+1:])
		if err != nil || n < 1 {
			return w, fmt.Errorf("%q is not a cycle: write a whole number, 1 or more, after the #", s[i+1:])
		}
		w.cycle, s = n, s[:i]
	}
	var named bool
	if w.signal, w.event, named = strings.Cut(s, "@"); w.signal == "" || named && w.event == "" {
		return w, fmt.Errorf("write it as %s", DiagramForm)
	}
	return w, nil
}

// mostBehind is how many other cycles lie behind a diagram at most, spread over the run.
const mostBehind = 20

// FindDiagram makes the diagram named by SIGNAL[@EVENT][#CYCLE]: without an event or a cycle
// the one with the gravest verdict, the first of those, of which a capture is kept. An error
// says what there is instead.
func FindDiagram(r *Record, name string) (*picture.Timing, error) {
	w, err := parseDiagram(name)
	if err != nil {
		return nil, err
	}
	if len(r.Captures) == 0 || r.CaptureOf == nil {
		return nil, fmt.Errorf("the run keeps no captures")
	}
	if err := w.choose(r); err != nil {
		return nil, err
	}
	return DiagramOf(r, w.signal, w.event, w.cycle)
}

// choose finds what was left open.
func (w *wantedDiagram) choose(r *Record) error {
	if w.cycle != 0 && !captured(r, w.cycle) {
		return fmt.Errorf("no capture is kept of cycle %d; captures are kept of cycles %s", w.cycle, cyclesKept(r))
	}
	mine := drawnWith(r.Plan, w.signal)
	var worst *analyze.Measurement
	var events, signals []string
	for m, err := range r.measurements() {
		if err != nil {
			return readingFailed(err)
		}
		signals = appendNew(signals, m.Signal)
		if !mine(m.Signal) || m.Event == "" {
			continue
		}
		events = appendNew(events, m.Event)
		if w.event != "" && m.Event != w.event || w.cycle != 0 && m.Cycle != w.cycle || !captured(r, m.Cycle) {
			continue
		}
		if worst == nil || m.Verdict.Gravity() > worst.Verdict.Gravity() {
			worst = &m
		}
	}
	switch {
	case len(events) == 0:
		return fmt.Errorf("the run has no signal %s; use one of: %s", words.Safe(w.signal), words.List(signals))
	case worst == nil && w.event != "" && !slices.Contains(events, w.event):
		return fmt.Errorf("%s has no figures at %s; use one of: %s", words.Safe(w.signal), words.Safe(w.event), words.List(events))
	case worst == nil:
		return fmt.Errorf("no capture is kept with figures of %s; captures are kept of cycles %s", words.Safe(w.signal), cyclesKept(r))
	}
	w.event, w.cycle = worst.Event, worst.Cycle
	return nil
}

// drawnWith reports of a signal whether the diagram of the one named shows it, too.
func drawnWith(p *analyze.Plan, name string) func(signal string) bool {
	with := []string{name}
	if p != nil {
		for _, x := range p.Relays {
			all := []string{x.Signal, x.Make, x.Break}
			for _, o := range p.Outputs {
				if o.Relay == x.Signal {
					all = append(all, o.Signal)
				}
			}
			if slices.Contains(all, name) {
				with = append(with, all...)
			}
		}
	}
	return func(signal string) bool { return signal != "" && slices.Contains(with, signal) }
}

func captured(r *Record, n int) bool {
	return slices.ContainsFunc(r.Captures, func(c analyze.Cycles) bool { return n >= c.First && n <= c.Last })
}

func cyclesKept(r *Record) string {
	return words.First(words.Texts(r.Captures, func(c analyze.Cycles) string {
		if c.First == c.Last {
			return strconv.Itoa(c.First)
		}
		return fmt.Sprintf("%d to %d", c.First, c.Last)
	}), 8)
}

// DiagramOf makes the timing diagram of a signal at an event of a cycle, other cycles behind it
// in grey. A capture of the cycle must be kept.
func DiagramOf(r *Record, signal, event string, cycle int) (*picture.Timing, error) {
	of := picture.TimingOf{Plan: r.Plan, Signal: signal, Event: event, Cycle: cycle}
	var err error
	if of.Capture, err = r.CaptureOf(cycle); err != nil {
		return nil, err
	}
	if of.Capture == nil {
		return nil, fmt.Errorf("no capture is kept of cycle %d", cycle)
	}
	if of.Figures, err = figuresOf(r, cycle); err != nil {
		return nil, err
	}
	if of.Behind, err = behind(r, cycle); err != nil {
		return nil, err
	}
	return picture.NewTiming(of)
}

func figuresOf(r *Record, cycle int) ([]analyze.Measurement, error) {
	figures := r.measurements()
	if r.Cycle != nil {
		figures = r.Cycle(cycle)
	}
	var all []analyze.Measurement
	for m, err := range figures {
		if err != nil {
			return nil, readingFailed(err)
		}
		if m.Cycle == cycle {
			all = append(all, m)
		}
	}
	return all, nil
}

// behind reads captures of cycles other than the one named, spread evenly over those kept.
func behind(r *Record, cycle int) ([]*capture.Capture, error) {
	var out []*capture.Capture
	for _, n := range spreadOver(r.Captures, mostBehind) {
		if n == cycle {
			continue
		}
		c, err := r.CaptureOf(n)
		if err != nil {
			return nil, err
		}
		if c != nil {
			out = append(out, c)
		}
	}
	return out, nil
}

// spreadOver returns cycles of the spans, evenly spread, so many at most.
func spreadOver(spans []analyze.Cycles, most int) []int {
	every := max(1, (analyze.CountCycles(spans)+most-1)/most)
	var out []int
	i := 0
	for _, span := range spans {
		for n := span.First; n <= span.Last; n++ {
			if i%every == 0 {
				out = append(out, n)
			}
			i++
		}
	}
	return out
}
