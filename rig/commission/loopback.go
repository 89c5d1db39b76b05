package commission

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/stat"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/problem"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/rig/words"
)

// A LoopBack is a drive that is wired into a line and, where named, into an output's
// divider, to compare the clocks of drives, edges and samples.
type LoopBack struct {
	Drive, Line string
	Output      string // empty: none
}

// Pulses of a loop-back: how many without an output and how many with one, and how long each
// is on at least.
const (
	LinePulses = 20
	StepPulses = 120
	LoopTime   = 100 * time.Millisecond
)

const (
	// clockMost is how far samples and edges may lie apart.
	clockMost = 200 * time.Microsecond
	// earliest is how long before the drive's own instant, the middle of the kernel's call,
	// an edge may be stamped: calls take some microseconds, and a busy machine's longer.
	earliest = time.Millisecond
	// leastWay is how far an output must go, in volts, for its steps to say something.
	leastWay = 0.2
)

// ParseLoopBack reads DRIVE,LINE[,OUTPUT] and looks the names up in the rig. The error is
// of the kind Usage.
func ParseLoopBack(text string, rig *wiring.Rig) (*LoopBack, error) {
	parts := strings.Split(text, ",")
	if len(parts) < 2 || len(parts) > 3 {
		return nil, problem.Of(problem.Usage, fmt.Errorf("%q: must be DRIVE,LINE or DRIVE,LINE,OUTPUT", text))
	}
	l := &LoopBack{Drive: parts[0], Line: parts[1]}
	drives := words.Texts(rig.Drives, func(d wiring.Drive) string { return d.Name })
	outputs := words.Texts(rig.Outputs, func(o wiring.Output) string { return o.Name })
	known := func(what, name string, names []string) error {
		if slices.Contains(names, name) {
			return nil
		}
		return fmt.Errorf("rig %s has no %s %s; %s", rig.Name, what, name, words.UseOneOf(name, names))
	}
	err := errors.Join(known("drive", l.Drive, drives), known("contact or reference", l.Line, lineNames(rig)))
	if len(parts) == 3 {
		l.Output = parts[2]
		err = errors.Join(err, known("output", l.Output, outputs))
	}
	if err != nil {
		return nil, problem.Of(problem.Usage, err)
	}
	return l, nil
}

// Pulses returns how often the drive is switched, and for how long each time; all is how long
// the loop-back takes.
func (l *LoopBack) Pulses(rig *wiring.Rig) (n int, on, all time.Duration) {
	n, on = LinePulses, LoopTime
	if o := rig.Output(l.Output); o != nil {
		const conversions = 10 // before and after each step
		n = StepPulses
		if rate := rig.Chip(o.Chip).Rate; rate > 0 {
			on = max(on, conversions*time.Second/time.Duration(rate))
		}
	}
	return n, on, time.Duration(n) * 2 * on
}

// loopTimes are what a loop-back measured.
type loopTimes struct {
	edges []float64       // of the line after the drive, seconds
	steps [][]shown       // of the output, by the line's edges
	span  time.Duration   // of a conversion
	on    time.Duration   // that the drive is on
	tr    *capture.Trace  // of the output, the latest; nil: none
	last  capture.Instant // when its latest conversion ended
}

// measure pulses the drive and times its line's edges against the drive, and the output's
// conversions against the line's edges.
func (l *LoopBack) measure(ctx context.Context, b *bench.Bench, n int, on time.Duration) (x loopTimes, err error) {
	c, err := b.NewCapture()
	if err != nil {
		return x, err
	}
	if err := b.Record(ctx, c, b.Now().Add(time.Second)); err != nil { // conversions must be timed first
		return x, err
	}
	x.on = on
	for i := range n {
		x.tr = l.trace(c)
		if c = c.Continue(); x.tr != nil {
			x.last, _, _ = x.tr.Last()
			x.span = x.tr.Converter.Span
		}
		if err := b.Record(ctx, c, x.next(b.Now(), i)); err != nil {
			return x, err
		}
		at, err := b.Pulse(ctx, c, l.Drive, on)
		if err != nil {
			return x, err
		}
		if edge, ok := l.edge(c, at); ok {
			x.edges = append(x.edges, edge.Sub(at).Seconds())
			x.step(l.trace(c), edge)
		}
	}
	return x, nil
}

// trace is the output's, nil where there is none.
func (l *LoopBack) trace(c *capture.Capture) *capture.Trace {
	if l.Output == "" {
		return nil
	}
	return c.Trace(l.Output)
}

// next is when pulse i is to be: at phases of the conversions that fill them evenly (by the
// golden ratio, textbook), wherever the drive's own delay shifts them.
func (x *loopTimes) next(now capture.Instant, i int) capture.Instant {
	at := now.Add(x.on)
	if x.tr == nil || x.span <= 0 {
		return at
	}
	_, phase := math.Modf(float64(i) / math.Phi)
	whole := math.Ceil(float64(at.Sub(x.last)) / float64(x.span))
	return x.last.Add(time.Duration((whole + phase) * float64(x.span)))
}

// step adds what conversions show of the step at an edge: those next to it, by the levels that
// the others show before and after it. An output that does not step adds nothing.
func (x *loopTimes) step(tr *capture.Trace, edge capture.Instant) {
	if tr == nil || x.span <= 0 {
		return
	}
	const before, after = -1.5, 2.5 // conversions beyond which a level is settled
	var low, high []float64
	var near []shown
	for ts, vs := range tr.Blocks(edge.Add(-x.on/2), edge.Add(x.on)) {
		for i, v := range vs {
			age := float64(capture.Instant(ts[i]).Sub(edge)) / float64(x.span)
			switch {
			case age < before:
				low = append(low, float64(v))
			case age > after && ts[i] < int64(edge.Add(x.on-x.span/2)):
				high = append(high, float64(v))
			case age <= after:
				near = append(near, shown{age, float64(v)})
			}
		}
	}
	if len(low) < 2 || len(high) < 2 || len(near) < 3 {
		return
	}
	from := stat.Mean(low, nil)
	way := stat.Mean(high, nil) - from
	if math.Abs(way) < leastWay {
		return
	}
	for i := range near {
		near[i].share = (near[i].share - from) / way
	}
	x.steps = append(x.steps, near)
}

// edge finds the line's edge of a pulse. What the drive makes of the line depends on the
// wire: a contact that is pulled up opens. The kernel may stamp the edge a little before
// the drive's own instant.
func (l *LoopBack) edge(c *capture.Capture, at capture.Instant) (capture.Instant, bool) {
	edges := c.Track(l.Line).Edges
	i := slices.IndexFunc(edges, func(e capture.Edge) bool {
		d := e.At.Sub(at)
		return -LoopTime/2 < d && d < LoopTime/2
	})
	if i < 0 {
		return 0, false
	}
	return edges[i].At, true
}

// Run measures the loop-back on a bench and stores what it found at the path; an empty path
// stores nothing. The rig must be opened without a latency that an earlier loop-back found.
func (l *LoopBack) Run(ctx context.Context, rig *wiring.Rig, b *bench.Bench, path string) ([]Step, error) {
	n, on, _ := l.Pulses(rig)
	x, err := l.measure(ctx, b, n, on)
	if err != nil {
		return nil, err
	}
	what := fmt.Sprintf("loop-back of %s into %s", l.Drive, l.Line)
	if len(x.edges) < n/2 {
		return []Step{{what, Wrong, fmt.Sprintf("%d of %d pulses arrived; check the wire", len(x.edges), n)}}, nil
	}
	mean, scatter := stat.MeanStdDev(x.edges, nil)
	steps := []Step{{what, OK, fmt.Sprintf("edges come %.1f µs after the drive, ± %.1f µs (standard deviation of %d)", 1e6*mean, 1e6*scatter, len(x.edges))}}
	latency := wiring.Latency{Drive: l.Drive, Line: l.Line, Pulses: len(x.edges), Date: time.Now().Format(time.DateOnly)}
	if l.Output != "" {
		steps = append(steps, l.response(x, n, rig, &latency)...)
	}
	return append(steps, storeLatency(path, latency, mean, scatter)), nil
}

// response finds the converter's filter and whether samples and edges are on one clock.
func (l *LoopBack) response(x loopTimes, n int, rig *wiring.Rig, latency *wiring.Latency) []Step {
	chip := rig.Chip(rig.Output(l.Output).Chip)
	what := fmt.Sprintf("filter of %s at %d /s", chip.Name, chip.Rate)
	if len(x.steps) < n/2 {
		return []Step{{what, Wrong, fmt.Sprintf("%s stepped in %d of %d pulses; check the wire", l.Output, len(x.steps), n)}}
	}
	f, err := fitResponse(x.steps, math.Sqrt2*bench.EdgeLatency.Seconds()/x.span.Seconds()) // the line's and the ready line's
	if err != nil {
		return []Step{{what, Wrong, "not measured: " + err.Error()}}
	}
	clock := l.compare(f, x, latency)
	if clock.Outcome != OK {
		return []Step{clock, {what, NotDone, "samples and edges do not tell the same time"}}
	}
	f.From -= float64(latency.Samples) / float64(x.span)
	latency.Filter = &wiring.Filter{Filter: *f, Output: l.Output, Chip: chip.Name, Rate: chip.Rate, Steps: len(x.steps)}
	return []Step{clock, {what, OK, fmt.Sprintf("%d steps; a plain mean would misplace them by up to %.0f µs; by what was measured a step is placed to ± %.0f µs, where %s follows an output behind such a divider",
		len(x.steps), 1e6*offMean(f)*x.span.Seconds(), 1e6*coverage95*f.Standard*x.span.Seconds(), chip.Name)}}
}

// offMean is by how much of a conversion, at most, a plain mean misplaces a step of which at
// least leastShown is shown and missing.
func offMean(f *capture.Filter) float64 {
	most := 0.0
	for share := leastShown; share <= 1-leastShown; share += leastShown {
		most = math.Max(most, math.Abs(f.Age(share)-share))
	}
	return most
}

// compare says whether samples and edges are on one clock: what a conversion shows of a steady
// change lies half a conversion before its end in a plain mean. How far off that is is taken
// over into the latency, where it is more than its expanded uncertainty.
func (l *LoopBack) compare(f *capture.Filter, x loopTimes, latency *wiring.Latency) Step {
	what := fmt.Sprintf("clock of %s against %s", l.Output, l.Line)
	span := x.span.Seconds()
	late := (f.Middle() - 0.5) * span
	// The lines' own stamps may differ by as much in the mean as they do from edge to edge.
	standard := math.Hypot(bench.EdgeLatency.Seconds(), f.Standard*span)
	seen := fmt.Sprintf("samples lie %+.1f µs from the edges", 1e6*late)
	half := fmt.Sprintf("± %.0f µs", 1e6*coverage95*standard)
	switch {
	case math.Abs(late) > clockMost.Seconds():
		return Step{what, Wrong, fmt.Sprintf("%s; %d µs are allowed: samples and edges do not tell the same time", seen, clockMost.Microseconds())}
	case math.Abs(late) <= coverage95*standard:
		return Step{what, OK, seen + "; " + half + " of that is uncertain, so nothing is corrected"}
	}
	latency.Output, latency.Samples, latency.SamplesStandard = l.Output, time.Duration(late*1e9), time.Duration(standard*1e9)
	return Step{what, OK, seen + "; samples behind such a divider are corrected by that, " + half}
}

// storeLatency writes the latency to the path, its mean and scatter in seconds.
func storeLatency(path string, latency wiring.Latency, mean, scatter float64) Step {
	const what = "latency of the lines"
	switch {
	case mean < -earliest.Seconds():
		return Step{what, Wrong, "not stored: edges come before the drive"}
	case path == "":
		return Step{what, Needless, "the built-in bench has no rig file to store it beside"}
	case mean < 0:
		mean, scatter = 0, math.Hypot(mean, scatter)
	}
	latency.Mean, latency.Standard = time.Duration(mean*1e9), time.Duration(scatter*1e9)
	if err := rigfile.SaveLatency(path, &latency); err != nil {
		return Step{what, Wrong, err.Error()}
	}
	return Step{what, OK, "stored in " + path + "; runs correct events without a reference by it"}
}

// clockCheck is the step that a loop-back stands for.
const clockCheck = "clock check"

// noLoopBack says what only a loop-back shows, where the rig has the parts for one: that an
// earlier one has, or that none was done.
func noLoopBack(rig *wiring.Rig) []Step {
	if len(rig.Drives) == 0 || len(rig.Contacts)+len(rig.References) == 0 {
		return nil
	}
	if l := rig.Latency; l != nil {
		return []Step{{clockCheck, OK, fmt.Sprintf("by the loop-back of %s into %s on %s", l.Drive, l.Line, l.Date)}}
	}
	return []Step{{clockCheck, NotDone, "wire a drive into a line and an output, then use --loop-back DRIVE,LINE,OUTPUT"}}
}
