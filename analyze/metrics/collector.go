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
	naming   sync.RWMutex // held while one run takes another's place
}

// NewCollector returns a collector whose counters stand at zero.
func NewCollector(opts Opts) *Collector {
	c := &Collector{vectors: newVectors(), now: opts.Now, registry: prometheus.NewRegistry()}
	if c.now == nil {
		c.now = time.Now
	}
	for _, v := range analyze.Verdicts {
		c.counters[cyclesTotal].WithLabelValues(v.Name())
		c.counters[measurementsTotal].WithLabelValues(v.Name())
	}
	c.counters[cyclesTotal].WithLabelValues(analyze.Incomplete.Name())
	for _, s := range catalogue {
		if s.kind == counter && s.labels == nil {
			c.counters[s.name].WithLabelValues()
		}
	}
	c.SetRunning(false)
	c.registry.MustRegister(c) // the catalogue is fixed and tested: it cannot clash with itself
	return c
}

// Describe implements prometheus.Collector.
func (c *Collector) Describe(ch chan<- *prometheus.Desc) {
	for _, x := range c.all {
		x.Describe(ch)
	}
}

// Collect implements prometheus.Collector.
func (c *Collector) Collect(ch chan<- prometheus.Metric) {
	c.naming.RLock()
	defer c.naming.RUnlock()
	for _, x := range c.all {
		x.Collect(ch)
	}
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

// SetRun names the present run. The levels of the unit before are forgotten.
func (c *Collector) SetRun(r Run) {
	c.naming.Lock()
	defer c.naming.Unlock()
	for _, name := range []string{outputLevel, runInfo, lastCycleNumber, plannedCycles} {
		c.gauges[name].Reset()
	}
	c.gauges[runInfo].WithLabelValues(label(r.Name), label(r.ID), label(r.Unit), label(r.Sequence), label(r.Rig),
		strconv.FormatBool(r.Simulated), label(strings.Join(r.Faults, " ")), label(r.Program)).Set(1)
	if r.Planned > 0 {
		c.gauges[plannedCycles].WithLabelValues().Set(float64(r.Planned))
	}
}

// SetRunning says whether a run is going on.
func (c *Collector) SetRunning(running bool) {
	x := 0.0
	if running {
		x = 1
	}
	c.gauges[runInProgress].WithLabelValues().Set(x)
}

// ObserveCycle takes in one cycle: its number in the run, its verdict by analyze.RunVerdict, its figures in base
// units, and what the acquisition's counters grew by since the cycle before.
func (c *Collector) ObserveCycle(n int, v analyze.Verdict, ms []analyze.Measurement, delta capture.Counts) {
	c.counters[cyclesTotal].WithLabelValues(verdictLabel(v)).Inc()
	for i := range ms {
		c.observe(&ms[i])
	}
	for name, more := range map[string]uint64{
		missedConversions: delta.MissedConversions, doubledConversions: delta.DoubledConversions,
		lostEdges: delta.LostEdges, lostReadyEdges: delta.LostReadyEdges, busErrors: delta.BusErrors, chipResets: delta.ChipResets,
	} {
		c.counters[name].WithLabelValues().Add(float64(more))
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

// levels are the quantities that have a gauge.
var levels = map[analyze.Quantity]string{analyze.LowLevel: "low", analyze.HighLevel: "high"}

func (c *Collector) observe(m *analyze.Measurement) {
	c.counters[measurementsTotal].WithLabelValues(verdictLabel(m.Verdict)).Inc()
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
