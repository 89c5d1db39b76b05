package metrics

import (
	"strconv"

	"github.com/prometheus/client_golang/prometheus"
)

// The names of a log's metrics.
const (
	logReadable   = "makebreak_log_readable"
	logRuns       = "makebreak_log_runs"
	logUnits      = "makebreak_log_units"
	logDayUnits   = "makebreak_log_day_units"
	logLastRun    = "makebreak_log_last_run_timestamp_seconds"
	logRunning    = "makebreak_log_runs_in_progress"
	logRunInfo    = "makebreak_log_run_info"
	logRunCycles  = "makebreak_log_run_cycles"
	logRunPlanned = "makebreak_log_run_planned_cycles"
	logSize       = "makebreak_log_size_bytes"
	logFree       = "makebreak_log_free_bytes"
)

// logCatalogue are the metrics of a log; all are gauges, as runs may be removed from it.
var logCatalogue = []spec{
	{logReadable, gauge, nil, "1 where the log could be read, 0 otherwise; the other metrics of the log are absent then.", nil},
	{logRuns, gauge, []string{"sequence", "simulated", "verdict"}, "Runs in the log that have ended, by sequence and verdict.", nil},
	{logUnits, gauge, []string{"sequence", "simulated", "verdict"}, "Units in the log, by the verdict of their first run of the sequence. Runs that were cut off, and units without a name, are not counted.", nil},
	{logDayUnits, gauge, []string{"day", "sequence", "simulated", "verdict"}, "Units tested on one of the last 14 days, by the verdict of their last run of the sequence on that day. Else as makebreak_log_units.", nil},
	{logLastRun, gauge, nil, "When the newest run in the log began, in Unix time; absent where there is none.", nil},
	{logRunning, gauge, nil, "Runs in the log that a program is at now.", nil},
	{logRunInfo, gauge, []string{"run", "unit", "sequence", "simulated"}, "1; its labels name a run that a program is at now.", nil},
	{logRunCycles, gauge, []string{"run"}, "Cycles done of a run that a program is at now.", nil},
	{logRunPlanned, gauge, []string{"run"}, "Cycles planned for a run that a program is at now; absent where no number was set.", nil},
	{logSize, gauge, nil, "Size of the log on its disk, in bytes.", nil},
	{logFree, gauge, nil, "Room left on the log's disk, in bytes.", nil},
}

// Log makes metrics of what a log holds, whenever they are asked for. It is a
// prometheus.Collector, safe for concurrent use where its reader is.
type Log struct {
	read  func() (LogHolds, error)
	descs map[string]*prometheus.Desc
}

// NewLog returns the metrics of a log that read reads. Where that fails, makebreak_log_readable
// is 0 and the rest is absent.
func NewLog(read func() (LogHolds, error)) *Log {
	l := &Log{read, map[string]*prometheus.Desc{}}
	for _, s := range logCatalogue {
		l.descs[s.name] = prometheus.NewDesc(s.name, s.help, s.labels, nil)
	}
	return l
}

// Describe implements prometheus.Collector.
func (l *Log) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range l.descs {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (l *Log) Collect(ch chan<- prometheus.Metric) {
	send := func(name string, value float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(l.descs[name], prometheus.GaugeValue, value, labels...)
	}
	holds, err := l.read()
	send(logReadable, oneIf(err == nil))
	if err != nil {
		return
	}
	for kind, by := range holds.Runs {
		eachVerdict(by, verdictLabels(), func(v string, n float64) { send(logRuns, n, kind.labels(v)...) })
	}
	for kind, by := range holds.Units {
		eachVerdict(by, figureVerdicts(), func(v string, n float64) { send(logUnits, n, kind.labels(v)...) })
	}
	for day, by := range holds.Days {
		eachVerdict(by, figureVerdicts(), func(v string, n float64) { send(logDayUnits, n, append([]string{label(day.Day)}, day.labels(v)...)...) })
	}
	send(logRunning, float64(len(holds.Now)))
	for _, r := range holds.Now[max(0, len(holds.Now)-mostRuns):] {
		run := label(r.Run)
		send(logRunInfo, 1, run, label(r.Unit), label(r.Sequence), strconv.FormatBool(r.Simulated))
		send(logRunCycles, float64(r.Cycles), run)
		if r.Planned > 0 {
			send(logRunPlanned, float64(r.Planned), run)
		}
	}
	if !holds.LastRun.IsZero() {
		send(logLastRun, float64(holds.LastRun.UnixMilli())/1e3)
	}
	if holds.Size >= 0 {
		send(logSize, float64(holds.Size))
	}
	if holds.Free >= 0 {
		send(logFree, float64(holds.Free))
	}
}

// labels are the values of a kind's labels, the verdict last.
func (k LogKind) labels(verdict string) []string {
	return []string{label(k.Sequence), strconv.FormatBool(k.Simulated), verdict}
}

// eachVerdict goes through all verdicts named, so that none is absent: a share of what is not
// there would be nothing instead of 0.
func eachVerdict(by Tallied, names []string, f func(verdict string, n float64)) {
	for _, name := range names {
		f(name, float64(by[name]))
	}
}
