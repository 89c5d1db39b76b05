// Package progress shows a run under way: a line on a terminal that says how far it is, and metrics to be scraped or
// read from a file.
package progress

import (
	"fmt"
	"io"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/schollz/progressbar/v3"

	"makebreak/analyze"
	"makebreak/analyze/metrics"
	"makebreak/rig/capture"
	"makebreak/rig/outfile"
	"makebreak/rig/problem"
	"makebreak/rig/web"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
)

// Opts say where a run's progress is shown. The zero value shows nothing.
type Opts struct {
	Terminal io.Writer                        // that a bar is drawn on; nil: none
	Serve    string                           // address at which the metrics are served; empty: nowhere
	Access   web.Access                       // TLS and logins there; without them, other machines may ask as well
	File     string                           // that the metrics are written to; empty: none
	Program  string                           // version that runs now; a run that goes on may have begun with another
	Units    []string                         // by their names in the rig file, that are tested at the same time; nil: there is one
	Note     func(format string, args ...any) // takes what a person should know
}

// Shown is the progress of one run, or of those of several units. It is used from one goroutine;
// Close ends it.
type Shown struct {
	opts    Opts
	bar     *progressbar.ProgressBar // nil: no terminal
	status  status                   // that is drawn before it
	metrics exposed                  // nil: none asked for
	rig     func(capture.Counts)     // takes in what the units have in common; nil: there is one unit
	units   []Unit
	server  *web.Server
	written time.Time
}

// exposed are metrics, of one unit or several.
type exposed interface {
	Gatherer() prometheus.Gatherer
	Handler() http.Handler
}

// barWidth is how many columns the bar itself has; statusWidth those of the words before it, so
// that both, with a percentage between them, fit the usual 80.
const (
	barWidth    = 10
	statusWidth = 80 - barWidth - len(" 100%   ") - 1
)

// fileEvery is how often the metrics file is written while a run lasts.
const fileEvery = 5 * time.Second

// New begins to show a run of so many cycles. An address that cannot be served or a file that
// cannot be written is an error.
func New(seq *sequences.Sequence, cycles int, opts Opts) (*Shown, error) {
	s := &Shown{opts: opts, units: make([]Unit, max(1, len(opts.Units)))}
	for i := range s.units {
		s.units[i].shown = s
	}
	if opts.Terminal != nil {
		s.bar = bar(opts.Terminal, int64(cycles)*int64(len(seq.Steps)), seq.Name)
	}
	if opts.Serve == "" && opts.File == "" {
		return s, nil
	}
	if opts.File != "" {
		if outfile.Special(opts.File) {
			return nil, problem.New(problem.Usage, "--metrics-file "+words.Safe(opts.File)+": must be an ordinary file")
		}
		if err := outfile.Check(opts.File); err != nil {
			return nil, err
		}
	}
	s.collect()
	if opts.Serve == "" {
		return s, nil
	}
	return s, s.serve()
}

// collect makes the metrics that were asked for.
func (s *Shown) collect() {
	if s.opts.Units == nil {
		c := metrics.NewCollector(metrics.Opts{})
		s.metrics, s.units[0].metrics = c, c
		return
	}
	all := metrics.NewUnits(metrics.Opts{}, s.opts.Units)
	s.metrics, s.rig = all, all.ObserveRig
	for i := range s.units {
		s.units[i].metrics = all.At(i)
	}
}

// Unit returns what is shown of a unit, by its place among those of Opts.
func (s *Shown) Unit(i int) *Unit { return &s.units[i] }

// Drawn reports whether a bar is drawn.
func (s *Shown) Drawn() bool { return s.bar != nil }

// serve serves the metrics until Close.
func (s *Shown) serve() (err error) {
	pages := http.NewServeMux()
	pages.Handle("/metrics", s.metrics.Handler())
	access := web.Access{Config: s.opts.Access.Config, Insecure: true} // they are few, and were always open
	if s.server, err = web.Serve(web.Opts{Address: s.opts.Serve, Access: access, Failed: func(err error) { s.opts.Note("metrics: %v", err) }}, pages); err != nil {
		return fmt.Errorf("--metrics %w", err)
	}
	s.opts.Note("Metrics at %s", s.server.URL("/metrics"))
	if s.server.Open() {
		s.opts.Note("Other machines can read the metrics, without TLS and a login. To serve this machine only, give --metrics localhost:%d", s.server.Port())
	}
	return nil
}

// Begin says which run it is, and what its verdict is so far.
func (s *Shown) Begin(run journal.RunInfo, so analyze.Verdict) {
	s.Started(run.Planned)
	s.units[0].Begin(run, so)
}

// Started says that so many cycles are to be done from now on.
func (s *Shown) Started(planned int) { s.status.begin(planned, time.Now()) }

// RigLost says whether the rig does not answer.
func (s *Shown) RigLost(lost bool) { s.units[0].RigLost(lost) }

// Interrupted counts an interruption after which the run goes on.
func (s *Shown) Interrupted() { s.units[0].Interrupted() }

// Event counts an event on the progress bar.
func (s *Shown) Event(cycle int, event string) {
	if s.bar != nil {
		s.status.happened(cycle, event)
		s.bar.Describe(fmt.Sprintf("%-*s", statusWidth, s.status.text(statusWidth)))
		_ = s.bar.Add(1) // a progress bar that cannot be drawn is no loss
	}
}

// Cycle takes in a cycle that has been stored.
func (s *Shown) Cycle(c *journal.Cycle) {
	s.status.ended(analyze.RunVerdict(c.Complete, c.Verdict), time.Now())
	s.units[0].Cycle(c)
	s.fileDue()
}

// Ended takes in what the cycle of several units has shown: the gravest of their verdicts, and
// what the rig's counters grew by.
func (s *Shown) Ended(v analyze.Verdict, counts capture.Counts) {
	s.status.ended(v, time.Now())
	if s.rig != nil {
		s.rig(counts)
	}
	s.fileDue()
}

// fileNow writes the metrics file while a run lasts. A failure is told, and the run goes on.
func (s *Shown) fileNow() {
	s.written = time.Now()
	if err := s.WriteFile(); err != nil {
		s.opts.Note("%v", err)
	}
}

// fileDue writes the metrics file where it is old.
func (s *Shown) fileDue() {
	if s.metrics != nil && time.Since(s.written) > fileEvery {
		s.fileNow()
	}
}

// Verdict says what the run's verdict is, once it has ended.
func (s *Shown) Verdict(v analyze.Verdict) { s.units[0].Verdict(v) }

// End says that no more cycles will come.
func (s *Shown) End() {
	if s.bar != nil {
		_ = s.bar.Finish()
	}
	for i := range s.units {
		s.units[i].End()
	}
}

// WriteFile writes the metrics file, where one was asked for.
func (s *Shown) WriteFile() error {
	if s.opts.File == "" {
		return nil
	}
	path, err := outfile.RealPath(s.opts.File) // a link stays one
	if err == nil {
		err = metrics.WriteFile(path, s.metrics.Gatherer())
	}
	if err != nil {
		return problem.Of(problem.Storage, fmt.Errorf("--metrics-file %s cannot be written: %w", words.Safe(s.opts.File), problem.Innermost(err)))
	}
	return nil
}

// Close ends the serving of metrics.
func (s *Shown) Close() {
	if s.server == nil {
		return
	}
	_ = s.server.Close() // what is still being read is cut off
}
