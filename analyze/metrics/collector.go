package metrics

import (
	"math"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/rig/words"
)

// Opts are what a collector needs from outside.
type Opts struct {
	// Now is the wall clock for the time stamp of the last cycle; nil: time.Now.
	Now func() time.Time
}

// Collector holds the metrics of this process. Counters and histograms go on over
// several runs, as is the custom of Prometheus; only makebreak_run_info and
// the gauges follow the present run. It is safe for concurrent use.
type Collector struct {
	vectors
	now      func() time.Time
	registry *prometheus.Registry
	ofUnit   bool         // one of several units at a rig, of which the rig's counts are another's
	naming   sync.RWMutex // held while one run, or one calibration, takes another's place
	// observing is held while a cycle is taken in, or a run takes another's place.
	observing sync.Mutex
	limits    map[point]analyze.Limit // that the gauges show
}

// point is what a limit's gauge is of.
type point struct {
	gauge, signal, other string // other is the event, or the level
}

// NewCollector returns a collector whose counters stand at zero.
func NewCollector(opts Opts) *Collector {
	c := newCollector(opts, newVectors(func(string) bool { return true }))
	c.registry = prometheus.NewRegistry()
	c.registry.MustRegister(c) // the catalogue is fixed and tested: it cannot clash with itself
	return c
}

func newCollector(opts Opts, v vectors) *Collector {
	c := &Collector{vectors: v, now: opts.Now, limits: map[point]analyze.Limit{}}
	if c.now == nil {
		c.now = time.Now
	}
	for _, name := range figureVerdicts() {
		c.counters[measurementsTotal].WithLabelValues(name)
	}
	for _, name := range verdictLabels() {
		c.counters[cyclesTotal].WithLabelValues(name)
	}
	c.SetRunning(false)
	c.SetRigLost(false)
	c.SetVerdict(analyze.NoVerdict)
	return c
}

// Collect implements prometheus.Collector.
func (c *Collector) Collect(ch chan<- prometheus.Metric) {
	c.naming.RLock()
	defer c.naming.RUnlock()
	c.vectors.Collect(ch)
}

// Gatherer returns what WriteFile writes and Handler serves.
func (c *Collector) Gatherer() prometheus.Gatherer { return c.registry }

// Run says what the present run is. A text that is not known is empty.
type Run struct {
	Name, ID                string // ID is unique over all rigs
	Unit, Sequence, Program string
	Rig                     string
	Simulated               bool     // on the simulated bench
	Faults                  []string // planted there on purpose, without blanks
	Planned                 int      // cycles; 0: no number was set
}

// SetRun names the present run. Levels, limits and calibrations of the run before are forgotten.
func (c *Collector) SetRun(r Run) {
	c.observing.Lock()
	defer c.observing.Unlock()
	c.naming.Lock()
	defer c.naming.Unlock()
	for _, name := range []string{outputLevel, runInfo, lastCycleNumber, plannedCycles,
		delayLimit, operateLimit, releaseLimit, bounceLimit, levelLimit, calibrationInfo, calibrationDue} {
		c.gauges[name].Reset()
	}
	clear(c.limits)
	c.gauges[runInfo].WithLabelValues(label(r.Name), label(r.ID), label(r.Unit), label(r.Sequence), label(r.Rig),
		strconv.FormatBool(r.Simulated), label(strings.Join(r.Faults, " ")), label(r.Program)).Set(1)
	if r.Planned > 0 {
		c.gauges[plannedCycles].WithLabelValues().Set(float64(r.Planned))
	}
}

// SetRunning says whether a run is going on.
func (c *Collector) SetRunning(running bool) {
	c.gauges[runInProgress].WithLabelValues().Set(oneIf(running))
}

// SetVerdict says what the run's verdict is so far, or at its end.
func (c *Collector) SetVerdict(v analyze.Verdict) {
	c.naming.Lock()
	defer c.naming.Unlock()
	for _, name := range verdictLabels() {
		c.gauges[runVerdict].WithLabelValues(name).Set(oneIf(name == verdictLabel(v)))
	}
}

// SetRigLost says whether the rig does not answer.
func (c *Collector) SetRigLost(lost bool) {
	c.gauges[rigLost].WithLabelValues().Set(oneIf(lost))
}

// Interrupted counts an interruption after which the run goes on.
func (c *Collector) Interrupted() { c.counters[interruptionsTotal].WithLabelValues().Inc() }

// SetCalibrations says what the outputs' calibrations are worth today.
func (c *Collector) SetCalibrations(all []capture.Calibration) {
	c.naming.Lock()
	defer c.naming.Unlock()
	info, due := c.gauges[calibrationInfo], c.gauges[calibrationDue]
	info.Reset()
	due.Reset()
	for i := range all {
		x := &all[i]
		info.WithLabelValues(label(x.Output), label(string(x.State)), label(x.Meter)).Set(1)
		day, err := time.ParseInLocation(time.DateOnly, x.Due, c.now().Location())
		if x.Applied() && err == nil {
			due.WithLabelValues(label(x.Output)).Set(float64(day.Unix()))
		}
	}
}

// oneIf is how Prometheus writes a truth.
func oneIf(x bool) float64 {
	if x {
		return 1
	}
	return 0
}

// ObserveCycle takes in one cycle: its number in the run, its verdict by analyze.RunVerdict, its figures in base
// units and what was seen wrong, and what the acquisition's counters grew by since the cycle before.
func (c *Collector) ObserveCycle(n int, v analyze.Verdict, found analyze.Result, delta capture.Counts) {
	c.observing.Lock()
	defer c.observing.Unlock()
	c.counters[cyclesTotal].WithLabelValues(verdictLabel(v)).Inc()
	for i := range found.Measurements {
		c.observe(&found.Measurements[i])
	}
	for i := range found.Symptoms {
		x := &found.Symptoms[i]
		c.counters[symptomsTotal].WithLabelValues(label(x.Signal), label(string(x.Kind))).Inc()
	}
	if !c.ofUnit {
		c.count(delta)
	}
	c.gauges[lastCycleNumber].WithLabelValues().Set(float64(n))
	c.gauges[lastCycleTimestamp].WithLabelValues().Set(float64(c.now().UnixMilli()) / 1e3)
}

// timed are the quantities that have a histogram.
var timed = map[analyze.Quantity]string{
	analyze.SwitchingDelay: switchingDelay,
	analyze.OperateTime:    operateTime,
	analyze.ReleaseTime:    releaseTime,
	analyze.BounceTime:     bounceTime,
}

// limitOf are the gauges of the limits of quantities.
var limitOf = map[analyze.Quantity]string{
	analyze.SwitchingDelay: delayLimit,
	analyze.OperateTime:    operateLimit,
	analyze.ReleaseTime:    releaseLimit,
	analyze.BounceTime:     bounceLimit,
	analyze.LowLevel:       levelLimit,
	analyze.HighLevel:      levelLimit,
}

// levels are the quantities that have a gauge.
var levels = map[analyze.Quantity]string{analyze.LowLevel: "low", analyze.HighLevel: "high"}

func (c *Collector) observe(m *analyze.Measurement) {
	c.counters[measurementsTotal].WithLabelValues(verdictLabel(m.Verdict)).Inc()
	c.limit(m)
	if math.IsNaN(m.Value) || math.IsInf(m.Value, 0) || !m.Followed() {
		c.counters[missingTotal].WithLabelValues().Inc()
		return
	}
	if name, ok := timed[m.Quantity]; ok {
		c.histograms[name].WithLabelValues(label(m.Signal), label(m.Event)).Observe(m.Value)
	}
	if level, ok := levels[m.Quantity]; ok {
		c.gauges[outputLevel].WithLabelValues(label(m.Signal), level).Set(m.Value)
	}
}

// limit notes by what a figure was judged. The gauges are set anew only where that has changed.
func (c *Collector) limit(m *analyze.Measurement) {
	at := point{gauge: limitOf[m.Quantity], signal: m.Signal, other: m.Event}
	if at.gauge == "" {
		return
	}
	if level, ok := levels[m.Quantity]; ok {
		at.other = level
	}
	before, known := c.limits[at]
	if !known {
		before = analyze.NoLimit()
	}
	for _, b := range [...]struct {
		bound    string
		was, now float64
	}{{"min", before.Lower, m.Limit.Lower}, {"max", before.Upper, m.Limit.Upper}} {
		switch {
		case b.was == b.now, math.IsNaN(b.now) && math.IsNaN(b.was):
		case math.IsNaN(b.now):
			c.gauges[at.gauge].DeleteLabelValues(label(at.signal), label(at.other), b.bound)
		default:
			c.gauges[at.gauge].WithLabelValues(label(at.signal), label(at.other), b.bound).Set(b.now)
		}
	}
	c.limits[at] = m.Limit
}

// figureVerdicts are all that the verdict's label of a figure can be, verdictLabels that of a
// cycle or a run.
func figureVerdicts() []string {
	names := make([]string, len(analyze.Verdicts))
	for i, v := range analyze.Verdicts {
		names[i] = v.Name()
	}
	return names
}

func verdictLabels() []string { return append(figureVerdicts(), analyze.Incomplete.Name()) }

// verdictLabel is one of five words, whatever the verdict says.
func verdictLabel(v analyze.Verdict) string {
	if v == analyze.Incomplete {
		return v.Name()
	}
	return analyze.Verdicts[v.Gravity()].Name()
}

// label makes a text fit for a label's value, which must be valid UTF-8 and is shown by what
// collects it.
func label(s string) string { return words.Short(s, mostLabel) }

// mostLabel is how many characters a label's value has at most.
const mostLabel = 500
