package metrics

import (
	"maps"
	"slices"

	"github.com/prometheus/client_golang/prometheus"

	"makebreak/rig/capture"
)

// The metrics' names.
const (
	cyclesTotal        = "makebreak_cycles_total"
	measurementsTotal  = "makebreak_measurements_total"
	missingTotal       = "makebreak_missing_measurements_total"
	switchingDelay     = "makebreak_switching_delay_seconds"
	operateTime        = "makebreak_operate_time_seconds"
	releaseTime        = "makebreak_release_time_seconds"
	bounceTime         = "makebreak_bounce_time_seconds"
	outputLevel        = "makebreak_output_level_volts"
	delayLimit         = "makebreak_switching_delay_limit_seconds"
	operateLimit       = "makebreak_operate_time_limit_seconds"
	releaseLimit       = "makebreak_release_time_limit_seconds"
	bounceLimit        = "makebreak_bounce_time_limit_seconds"
	levelLimit         = "makebreak_output_level_limit_volts"
	symptomsTotal      = "makebreak_symptoms_total"
	calibrationInfo    = "makebreak_calibration_info"
	calibrationDue     = "makebreak_calibration_due_timestamp_seconds"
	rigLost            = "makebreak_rig_lost"
	interruptionsTotal = "makebreak_interruptions_total"
	missedConversions  = "makebreak_missed_conversions_total"
	doubledConversions = "makebreak_doubled_conversions_total"
	lostEdges          = "makebreak_lost_edges_total"
	lostReadyEdges     = "makebreak_lost_ready_edges_total"
	busErrors          = "makebreak_bus_errors_total"
	chipResets         = "makebreak_chip_resets_total"
	lastCycleTimestamp = "makebreak_last_cycle_timestamp_seconds"
	lastCycleNumber    = "makebreak_last_cycle_number"
	plannedCycles      = "makebreak_planned_cycles"
	runInProgress      = "makebreak_run_in_progress"
	runVerdict         = "makebreak_run_verdict"
	runInfo            = "makebreak_run_info"
)

type kind string

const (
	counter   kind = "counter"
	gauge     kind = "gauge"
	histogram kind = "histogram"
)

// spec is one metric. Everything else about metrics is made from these.
type spec struct {
	name    string
	kind    kind
	labels  []string
	help    string
	buckets []float64 // upper bounds; of a histogram only
}

// Bounds of the buckets, in seconds. The relays' times and bounces span what small
// power relays and signal relays do when new (a few milliseconds) and a margin
// for worn ones; delays reach from a bare output to an exit delay (common practice,
// no source).
var (
	delayBounds  = []float64{0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 45, 60}
	relayBounds  = []float64{0.001, 0.002, 0.003, 0.004, 0.005, 0.006, 0.008, 0.01, 0.012, 0.015, 0.02, 0.03, 0.05}
	bounceBounds = []float64{0.00005, 0.0001, 0.0002, 0.0005, 0.001, 0.0015, 0.002, 0.003, 0.005, 0.007, 0.01, 0.02}
)

var catalogue = []spec{
	{cyclesTotal, counter, []string{"verdict"}, "Cycles, by verdict; incomplete: cut off, and nothing had failed.", nil},
	{measurementsTotal, counter, []string{"verdict"}, "Figures measured or found missing, by verdict; none where no limit was set.", nil},
	{missingTotal, counter, nil, "Figures that could not be measured, or only as a bound; they are in no histogram.", nil},
	{switchingDelay, histogram, []string{"signal", "event"}, "Time from the event to the output's crossing of its mid level.", delayBounds},
	{operateTime, histogram, []string{"signal", "event"}, "Time from the output's crossing to the make contact's first closing, bounce not counted.", relayBounds},
	{releaseTime, histogram, []string{"signal", "event"}, "Time from the output's crossing to the break contact's first closing, bounce not counted.", relayBounds},
	{bounceTime, histogram, []string{"signal", "event"}, "Time from the first to the last edge of one change of a contact.", bounceBounds},
	{outputLevel, gauge, []string{"signal", "level"}, "The output's low or high level when last measured.", nil},
	{delayLimit, gauge, []string{"signal", "event", "bound"}, "Limit by which the last switching delay was judged; bound is min or max.", nil},
	{operateLimit, gauge, []string{"signal", "event", "bound"}, "Limit by which the last operate time was judged; bound is min or max.", nil},
	{releaseLimit, gauge, []string{"signal", "event", "bound"}, "Limit by which the last release time was judged; bound is min or max.", nil},
	{bounceLimit, gauge, []string{"signal", "event", "bound"}, "Limit by which the last bounce time was judged; bound is min or max.", nil},
	{levelLimit, gauge, []string{"signal", "level", "bound"}, "Limit by which the output's level was last judged; bound is min or max.", nil},
	{symptomsTotal, counter, []string{"signal", "kind"}, "Times that something was seen wrong or doubtful, by output, relay or contact. Kinds are those of the findings.", nil},
	{calibrationInfo, gauge, []string{"signal", "state", "meter"}, "1; its labels say what the output's calibration is worth today, and by which meter it was made.", nil},
	{calibrationDue, gauge, []string{"signal"}, "When the output's calibration falls due, in Unix time: the beginning of that day at the rig. Absent where there is none.", nil},
	{rigLost, gauge, nil, "1 where the rig does not answer: while a soak waits for it, and after a run that ended by it. 0 otherwise.", nil},
	{interruptionsTotal, counter, nil, "Times that a soak went on after an interruption: a lost rig, or the end of an earlier program.", nil},
	{missedConversions, counter, nil, "Conversions overwritten before they were read.", nil},
	{doubledConversions, counter, nil, "Conversions read twice.", nil},
	{lostEdges, counter, nil, "Contact edges known to have happened and not recorded.", nil},
	{lostReadyEdges, counter, nil, "Conversions that had ended though no ready edge of the converter came.", nil},
	{busErrors, counter, nil, "Failed transfers on the converters' bus, the retried ones included.", nil},
	{chipResets, counter, nil, "Converters found with another configuration than was written.", nil},
	{lastCycleTimestamp, gauge, nil, "When the last cycle ended, in Unix time; absent before the first.", nil},
	{lastCycleNumber, gauge, nil, "Number of the run's cycle that ended last, over all sittings of a soak; absent before the first.", nil},
	{plannedCycles, gauge, nil, "Cycles planned for the present or last run; absent where no number was set.", nil},
	{runInProgress, gauge, nil, "1 while a run is going on, 0 otherwise.", nil},
	{runVerdict, gauge, []string{"verdict"}, "1 at the verdict of the present or last run, 0 at the others. While the run is going on it is the gravest so far.", nil},
	{runInfo, gauge, []string{"run", "run_id", "unit", "sequence", "rig", "simulated", "faults", "version"}, "1; its labels name the present or last run, the unit, the rig and the program's version. simulated is true or false; faults are those planted on purpose.", nil},
}

// vectors are the metrics made from the catalogue, by name.
type vectors struct {
	counters   map[string]*prometheus.CounterVec
	gauges     map[string]*prometheus.GaugeVec
	histograms map[string]*prometheus.HistogramVec
	all        []prometheus.Collector // in the catalogue's order
}

// rigCounts are the acquisition's counters by their metrics' names.
func rigCounts(n capture.Counts) map[string]uint64 {
	return map[string]uint64{
		missedConversions: n.MissedConversions, doubledConversions: n.DoubledConversions,
		lostEdges: n.LostEdges, lostReadyEdges: n.LostReadyEdges, busErrors: n.BusErrors, chipResets: n.ChipResets,
	}
}

// ofRig are the metrics of what several units at one rig have in common.
var ofRig = slices.Sorted(maps.Keys(rigCounts(capture.Counts{})))

// newVectors makes the metrics that are taken.
func newVectors(taken func(name string) bool) vectors {
	v := vectors{
		counters:   map[string]*prometheus.CounterVec{},
		gauges:     map[string]*prometheus.GaugeVec{},
		histograms: map[string]*prometheus.HistogramVec{},
	}
	for _, s := range catalogue {
		if !taken(s.name) {
			continue
		}
		v.all = append(v.all, v.add(s))
		if s.kind == counter && s.labels == nil {
			v.counters[s.name].WithLabelValues()
		}
	}
	return v
}

// Describe implements prometheus.Collector.
func (v vectors) Describe(ch chan<- *prometheus.Desc) {
	for _, x := range v.all {
		x.Describe(ch)
	}
}

// Collect implements prometheus.Collector.
func (v vectors) Collect(ch chan<- prometheus.Metric) {
	for _, x := range v.all {
		x.Collect(ch)
	}
}

// count adds what the acquisition's counters grew by.
func (v vectors) count(delta capture.Counts) {
	for name, more := range rigCounts(delta) {
		v.counters[name].WithLabelValues().Add(float64(more))
	}
}

func (v vectors) add(s spec) prometheus.Collector {
	switch s.kind {
	case counter:
		x := prometheus.NewCounterVec(prometheus.CounterOpts{Name: s.name, Help: s.help}, s.labels)
		v.counters[s.name] = x
		return x
	case histogram:
		x := prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: s.name, Help: s.help, Buckets: s.buckets}, s.labels)
		v.histograms[s.name] = x
		return x
	default:
		x := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: s.name, Help: s.help}, s.labels)
		v.gauges[s.name] = x
		return x
	}
}
