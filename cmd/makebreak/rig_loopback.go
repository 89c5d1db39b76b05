package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/stat"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/sequences/setup"
)

// loopBack is a drive that is wired into a line and, where named, into an output's
// divider, to compare the clocks of drives, edges and samples.
type loopBack struct{ drive, line, output string }

// Loop-back pulses: how many, and how long each is on.
const (
	loopPulses = 20
	loopTime   = 100 * time.Millisecond
)

// parseLoopBack reads DRIVE,LINE[,OUTPUT] and looks the names up.
func parseLoopBack(text string, rig *wiring.Rig) (*loopBack, error) {
	if text == "" {
		return nil, nil
	}
	parts := strings.Split(text, ",")
	if len(parts) < 2 || len(parts) > 3 {
		return nil, failed(exitUsage, fmt.Errorf("--loop-back %q: DRIVE,LINE or DRIVE,LINE,OUTPUT may stand there", text))
	}
	l := &loopBack{drive: parts[0], line: parts[1]}
	isLine := func(w line.Line) bool { return w.Name == l.line }
	var err error
	if rig.Drive(l.drive) == nil {
		err = fmt.Errorf("rig %s has no drive %s", rig.Name, l.drive)
	}
	if !slices.ContainsFunc(rig.Contacts, isLine) && !slices.ContainsFunc(rig.References, isLine) {
		err = errors.Join(err, fmt.Errorf("rig %s has no contact or reference %s", rig.Name, l.line))
	}
	if len(parts) == 3 {
		if l.output = parts[2]; rig.Output(l.output) == nil {
			err = errors.Join(err, fmt.Errorf("rig %s has no output %s", rig.Name, l.output))
		}
	}
	if err != nil {
		return nil, failed(exitUsage, fmt.Errorf("--loop-back: %w", err))
	}
	return l, nil
}

// measure pulses the drive and times its line's edges against the drive, in seconds, and the
// output's crossings against the line's edges.
func (l *loopBack) measure(ctx context.Context, b *bench.Bench) (edges []float64, x crossings, err error) {
	c, err := b.NewCapture()
	if err != nil {
		return nil, x, err
	}
	if err := b.Record(ctx, c, b.Now().Add(time.Second)); err != nil { // conversions must be timed first
		return nil, x, err
	}
	for range loopPulses {
		c = c.Continue()
		if err := b.Record(ctx, c, b.Now().Add(loopTime)); err != nil {
			return nil, x, err
		}
		at, err := b.Pulse(ctx, c, l.drive, loopTime)
		if err != nil {
			return nil, x, err
		}
		// What the drive makes of the line depends on the wire: a contact that is pulled up
		// opens. The kernel may stamp the edge a little before the drive's own instant.
		i := slices.IndexFunc(c.Track(l.line).Edges, func(e capture.Edge) bool {
			d := e.At.Sub(at)
			return -loopTime/2 < d && d < loopTime/2
		})
		if i < 0 {
			continue
		}
		edge := c.Track(l.line).Edges[i].At
		edges = append(edges, edge.Sub(at).Seconds())
		l.cross(c, edge, &x)
	}
	return edges, x, nil
}

// crossings are an output's crossings after its line's edges, in seconds, with the standard
// uncertainty of each.
type crossings struct{ at, standard []float64 }

// cross adds the output's crossing after the line's edge, where there is one.
func (l *loopBack) cross(c *capture.Capture, edge capture.Instant, x *crossings) {
	if l.output == "" {
		return
	}
	seen := *c
	// The output may cross a little before the line's edge is stamped.
	begin := edge.Add(-loopTime / 2)
	seen.End = edge.Add(loopTime / 2) // before the drive goes off again
	seen.Events = []capture.Event{{Name: "loop-back", At: begin}}
	got, err := diagnose.Examine(nil, &seen)
	if err != nil {
		return
	}
	for _, m := range got.Measurements {
		if m.Signal == l.output && m.Quantity == analyze.SwitchingDelay && !math.IsNaN(m.Value) {
			x.at = append(x.at, m.Value-edge.Sub(begin).Seconds())
			x.standard = append(x.standard, m.Standard)
		}
	}
}

// lateness is how much later than the edges the crossings came in the mean, and its standard
// uncertainty: what makes one crossing uncertain may be the same for all.
func (x crossings) lateness() (mean, scatter, standard float64) {
	mean, scatter = stat.MeanStdDev(x.at, nil)
	return mean, scatter, math.Hypot(stat.Mean(x.standard, nil), scatter/math.Sqrt(float64(len(x.at))))
}

// rigLoopBack measures the loop-back and stores the latency beside the rig file.
func (a *app) rigLoopBack(ctx context.Context, rig *wiring.Rig, l *loopBack) ([]stepResult, error) {
	seq := &sequences.Sequence{Sample: wiring.Follow}
	seq.Plan.Outputs = []analyze.OutputPlan{{Signal: l.output}}
	if l.output == "" {
		seq.Plan = analyze.Plan{OthersUnmoved: true}
	}
	rig.Latency = nil // what an earlier loop-back found must not correct this one
	b, err := a.openWith(rig, seq, setup.Simulation{RealTime: true}, bench.Opts{SupplyAtRest: true})
	if err != nil {
		return nil, err
	}
	defer b.Close()
	edges, x, err := l.measure(ctx, b)
	if err != nil {
		return nil, err
	}
	what := fmt.Sprintf("loop-back of %s into %s", l.drive, l.line)
	if len(edges) < loopPulses/2 {
		return []stepResult{{what, stepWrong, fmt.Sprintf("%d of %d pulses arrived; check the wire", len(edges), loopPulses)}}, nil
	}
	mean, scatter := stat.MeanStdDev(edges, nil)
	results := []stepResult{{what, stepOK, fmt.Sprintf("edges come %.1f µs after the drive, ± %.1f µs (standard deviation of %d)", 1e6*mean, 1e6*scatter, len(edges))}}
	latency := wiring.Latency{Drive: l.drive, Line: l.line, Pulses: len(edges), Date: time.Now().Format(time.DateOnly)}
	if l.output != "" {
		results = append(results, l.compare(x, &latency))
	}
	return append(results, a.storeLatency(latency, mean, scatter)), nil
}

// compare says whether samples and edges are on one clock. How far apart they are is taken
// over into the latency, where it is more than its expanded uncertainty.
func (l *loopBack) compare(x crossings, latency *wiring.Latency) stepResult {
	what := fmt.Sprintf("clock of %s against %s", l.output, l.line)
	if len(x.at) < loopPulses/2 {
		return stepResult{what, stepWrong, fmt.Sprintf("%s crossed in %d of %d pulses; check the wire", l.output, len(x.at), loopPulses)}
	}
	mean, scatter, standard := x.lateness()
	seen := fmt.Sprintf("crossings lie %+.1f µs from the edges, ± %.1f µs", 1e6*mean, 1e6*scatter)
	switch {
	case math.Abs(mean) > clockMost:
		return stepResult{what, stepWrong, seen + fmt.Sprintf("; %.0f µs are allowed: samples and edges do not tell the same time", 1e6*clockMost)}
	case math.Abs(mean) <= coverage95*standard:
		return stepResult{what, stepOK, seen + fmt.Sprintf("; ± %.0f µs of that is uncertain, so nothing is corrected", 1e6*coverage95*standard)}
	}
	latency.Output, latency.Samples, latency.SamplesStandard = l.output, time.Duration(mean*1e9), time.Duration(standard*1e9)
	return stepResult{what, stepOK, seen + fmt.Sprintf("; samples behind such a divider are corrected by that, ± %.0f µs", 1e6*coverage95*standard)}
}

// clockMost is how far samples and edges may lie apart, in seconds.
const clockMost = 0.2e-3

// earliest is how long before the drive's own instant, the middle of the kernel's call, an
// edge may be stamped, in seconds: calls take some microseconds, and a busy machine's longer.
const earliest = 1e-3

// storeLatency writes the latency beside the rig file, where there is one.
func (a *app) storeLatency(latency wiring.Latency, mean, scatter float64) stepResult {
	const what = "latency of the lines"
	if mean < -earliest {
		return stepResult{what, stepWrong, "it is none: edges come before the drive"}
	}
	if mean < 0 {
		mean, scatter = 0, math.Hypot(mean, scatter)
	}
	if !a.ownRig() {
		return stepResult{what, stepSkipped, "the built-in bench has no rig file to store it beside"}
	}
	latency.Mean, latency.Standard = time.Duration(mean*1e9), time.Duration(scatter*1e9)
	path := rigfile.LatencyPath(a.rig)
	if err := rigfile.SaveLatency(path, &latency); err != nil {
		return stepResult{what, stepWrong, err.Error()}
	}
	return stepResult{what, stepOK, "stored in " + path + "; runs correct events without a reference by it"}
}
