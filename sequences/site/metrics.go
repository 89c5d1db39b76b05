package site

import (
	"net/http"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"makebreak/analyze/metrics"
	"makebreak/sequences/journal"
)

// countShare is how small a part of a processor's time counting the log's runs takes: it is
// done again after so many times the time that it took. A hundred thousand runs took 0.9 s.
const countShare = 100

// counts are what the log holds, counted now and then.
type counts struct {
	log  *logFile
	now  func() time.Time
	mu   sync.Mutex
	of   *journal.DB // that was counted
	last metrics.LogHolds
	next time.Time // before which it is not counted again
}

// holds returns what the log holds.
func (c *counts) holds() (h metrics.LogHolds, err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	err = c.log.read(func(db *journal.DB) error {
		if begun := c.now(); db != c.of || !begun.Before(c.next) {
			outcomes, err := db.Outcomes()
			if err != nil {
				return err
			}
			runs := make([]metrics.LogRun, len(outcomes))
			for i, o := range outcomes {
				runs[i] = metrics.LogRun(o)
			}
			c.of, c.last = db, metrics.CountLog(runs, begun)
			c.next = begun.Add(countShare * c.now().Sub(begun))
		}
		h = c.last
		h.Size, h.Free = db.Room()
		under, err := db.UnderWay(nil)
		h.Now = nowOf(under)
		return err
	})
	return h, err
}

// nowOf are runs that programs are at now.
func nowOf(under []journal.RunSummary) []metrics.LogNow {
	all := make([]metrics.LogNow, len(under))
	for i, r := range under {
		all[i] = metrics.LogNow{Run: r.Run, Unit: r.Unit, Sequence: r.Sequence, Simulated: r.Simulated, Cycles: r.Cycles, Planned: r.Planned}
	}
	return all
}

// metricsPage serves metrics: what the log holds, and more.
func (s *Site) metricsPage(more []prometheus.Collector) (http.Handler, error) {
	r := prometheus.NewRegistry()
	counts := &counts{log: s.log, now: time.Now}
	for _, c := range append([]prometheus.Collector{metrics.NewLog(counts.holds)}, more...) {
		if err := r.Register(c); err != nil {
			return nil, err
		}
	}
	return metrics.Handler(r), nil
}
