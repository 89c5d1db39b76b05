package main

import (
	"fmt"
	"time"

	"github.com/schollz/progressbar/v3"

	"makebreak/analyze/metrics"
	"makebreak/rig/outfile"
	"makebreak/rig/problem"
	"makebreak/sequences"
	"makebreak/sequences/journal"
)

// watch shows a run under way: a progress bar on a terminal and the metrics.
type watch struct {
	app     *app
	bar     *progressbar.ProgressBar // nil: no terminal
	steps   int
	metrics *metrics.Collector // nil: none asked for
	file    string
	server  *metrics.Server
	written time.Time
}

// fileEvery is how often the metrics file is written while a run lasts.
const fileEvery = 5 * time.Second

func (a *app) newWatch(seq *sequences.Sequence, cycles int, o *runOpts) (*watch, error) {
	w := &watch{app: a, steps: len(seq.Steps), file: o.metricsFile}
	if drawable(a.err) && !a.quiet {
		w.bar = progressbar.NewOptions(cycles*len(seq.Steps),
			progressbar.OptionSetWriter(a.err),
			progressbar.OptionSetDescription(seq.Name),
			progressbar.OptionSetWidth(30),
			progressbar.OptionSetTheme(progressbar.Theme{Saucer: "━", SaucerHead: "━", SaucerPadding: "·", BarStart: " ", BarEnd: " "}),
			progressbar.OptionThrottle(100*time.Millisecond),
			progressbar.OptionClearOnFinish(),
		)
	}
	if o.metrics == "" && o.metricsFile == "" {
		return w, nil
	}
	if o.metricsFile != "" {
		if outfile.Special(o.metricsFile) {
			return nil, badUsage("--metrics-file %s: must be an ordinary file", o.metricsFile)
		}
		if err := outfile.Check(o.metricsFile); err != nil {
			return nil, err
		}
	}
	w.metrics = metrics.NewCollector(metrics.Opts{})
	if o.metrics == "" {
		return w, nil
	}
	return w, w.serve(o.metrics)
}

// serve serves the metrics until the watch is closed.
func (w *watch) serve(address string) (err error) {
	if w.server, err = metrics.Serve(address, w.metrics, func(err error) { w.app.note("metrics: %v", err) }); err != nil {
		return fmt.Errorf("--metrics %w", err)
	}
	w.app.note("Metrics at http://%s/metrics", w.server.Addr)
	return nil
}

func (w *watch) begin(run, unit, sequence string) {
	if w.metrics != nil {
		w.metrics.SetRun(run, unit, sequence, version())
		w.metrics.SetRunning(true)
	}
}

// event counts an event on the progress bar.
func (w *watch) event(cycle int, event string) {
	if w.bar != nil {
		w.bar.Describe(fmt.Sprintf("cycle %d  %-12s", cycle, event))
		_ = w.bar.Add(1) // a progress bar that cannot be drawn is no loss
	}
}

// cycle takes in a cycle that has been stored.
func (w *watch) cycle(c *journal.Cycle) {
	if w.metrics == nil {
		return
	}
	w.metrics.ObserveCycle(c.Verdict, c.Measurements, c.Counts)
	if now := time.Now(); w.file != "" && now.Sub(w.written) > fileEvery {
		w.written = now
		if err := w.writeFile(); err != nil {
			w.app.note("%v", err)
		}
	}
}

// end says that no more cycles will come.
func (w *watch) end() {
	if w.bar != nil {
		_ = w.bar.Finish()
	}
	if w.metrics != nil {
		w.metrics.SetRunning(false)
	}
}

// writeFile writes the metrics file, where one was asked for.
func (w *watch) writeFile() error {
	if w.file == "" {
		return nil
	}
	if err := metrics.WriteFile(w.file, w.metrics.Gatherer()); err != nil {
		return problem.Of(problem.Storage, fmt.Errorf("--metrics-file %s cannot be written: %w", w.file, innermost(err)))
	}
	return nil
}

func (w *watch) close() {
	if w.server == nil {
		return
	}
	_ = w.server.Close() // what is still being read is cut off
}
