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
	"makebreak/rig/unit"
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

// Pulses of a loop-back: how many, and how long each is on.
const (
	LoopPulses = 20
	LoopTime   = 100 * time.Millisecond
)

const (
	// clockMost is how far samples and edges may lie apart.
	clockMost = 200 * time.Microsecond
	// earliest is how long before the drive's own instant, the middle of the kernel's call,
	// an edge may be stamped: calls take some microseconds, and a busy machine's longer.
	earliest = time.Millisecond
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

// A DelayFunc measures when an output crosses between its levels after the capture's only
// event, with the standard uncertainty, where it does. Rooms below rig know no analysis.
type DelayFunc func(c *capture.Capture, output string) (delay, standard unit.Seconds, found bool)

// loopTimes are what a loop-back measured, in seconds.
type loopTimes struct {
	edges     []float64 // of the line after the drive
	crossings []float64 // of the output after the line's edge
	standard  []float64 // uncertainty of each crossing
}

// measure pulses the drive and times its line's edges against the drive, and the output's
// crossings against the line's edges.
func (l *LoopBack) measure(ctx context.Context, b *bench.Bench, delay DelayFunc) (x loopTimes, err error) {
	c, err := b.NewCapture()
	if err != nil {
		return x, err
	}
	if err := b.Record(ctx, c, b.Now().Add(time.Second)); err != nil { // conversions must be timed first
		return x, err
	}
	for range LoopPulses {
		c = c.Continue()
		if err := b.Record(ctx, c, b.Now().Add(LoopTime)); err != nil {
			return x, err
		}
		at, err := b.Pulse(ctx, c, l.Drive, LoopTime)
		if err != nil {
			return x, err
		}
		if edge, ok := l.edge(c, at); ok {
			x.edges = append(x.edges, edge.Sub(at).Seconds())
			l.cross(c, edge, delay, &x)
		}
	}
	return x, nil
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

// cross adds the output's crossing after the line's edge, where there is one.
func (l *LoopBack) cross(c *capture.Capture, edge capture.Instant, delay DelayFunc, x *loopTimes) {
	if l.Output == "" {
		return
	}
	seen := *c
	begin := edge.Add(-LoopTime / 2) // the output may cross a little before the edge is stamped
	seen.End = edge.Add(LoopTime / 2)
	seen.Events = []capture.Event{{Name: "loop-back", At: begin}}
	if value, standard, found := delay(&seen, l.Output); found {
		x.crossings = append(x.crossings, float64(value)-edge.Sub(begin).Seconds())
		x.standard = append(x.standard, float64(standard))
	}
}

// lateness is how much later than the edges the crossings came in the mean, and its standard
// uncertainty, in seconds: what makes one crossing uncertain may be the same for all.
func (x loopTimes) lateness() (mean, scatter, standard float64) {
	mean, scatter = stat.MeanStdDev(x.crossings, nil)
	return mean, scatter, math.Hypot(stat.Mean(x.standard, nil), scatter/math.Sqrt(float64(len(x.crossings))))
}

// Run measures the loop-back on a bench and stores the latency at the path; an empty path
// stores nothing. The rig must be opened without a latency that an earlier loop-back found.
func (l *LoopBack) Run(ctx context.Context, b *bench.Bench, delay DelayFunc, path string) ([]Step, error) {
	x, err := l.measure(ctx, b, delay)
	if err != nil {
		return nil, err
	}
	what := fmt.Sprintf("loop-back of %s into %s", l.Drive, l.Line)
	if len(x.edges) < LoopPulses/2 {
		return []Step{{what, Wrong, fmt.Sprintf("%d of %d pulses arrived; check the wire", len(x.edges), LoopPulses)}}, nil
	}
	mean, scatter := stat.MeanStdDev(x.edges, nil)
	steps := []Step{{what, OK, fmt.Sprintf("edges come %.1f µs after the drive, ± %.1f µs (standard deviation of %d)", 1e6*mean, 1e6*scatter, len(x.edges))}}
	latency := wiring.Latency{Drive: l.Drive, Line: l.Line, Pulses: len(x.edges), Date: time.Now().Format(time.DateOnly)}
	if l.Output != "" {
		steps = append(steps, l.compare(x, &latency))
	}
	return append(steps, storeLatency(path, latency, mean, scatter)), nil
}

// compare says whether samples and edges are on one clock. How far apart they are is taken
// over into the latency, where it is more than its expanded uncertainty.
func (l *LoopBack) compare(x loopTimes, latency *wiring.Latency) Step {
	what := fmt.Sprintf("clock of %s against %s", l.Output, l.Line)
	if len(x.crossings) < LoopPulses/2 {
		return Step{what, Wrong, fmt.Sprintf("%s crossed in %d of %d pulses; check the wire", l.Output, len(x.crossings), LoopPulses)}
	}
	mean, scatter, standard := x.lateness()
	seen := fmt.Sprintf("crossings lie %+.1f µs from the edges, ± %.1f µs", 1e6*mean, 1e6*scatter)
	half := fmt.Sprintf("± %.0f µs", 1e6*coverage95*standard)
	switch {
	case math.Abs(mean) > clockMost.Seconds():
		return Step{what, Wrong, fmt.Sprintf("%s; %d µs are allowed: samples and edges do not tell the same time", seen, clockMost.Microseconds())}
	case math.Abs(mean) <= coverage95*standard:
		return Step{what, OK, seen + "; " + half + " of that is uncertain, so nothing is corrected"}
	}
	latency.Output, latency.Samples, latency.SamplesStandard = l.Output, time.Duration(mean*1e9), time.Duration(standard*1e9)
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
