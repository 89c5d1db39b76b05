package site

import (
	"context"
	"net/http"
	"slices"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"makebreak/analyze/metrics"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// The log's runs are counted again after so many times the time that counting them took, or
// sooner where a run has begun or ended since. A hundred thousand runs took 0.9 s.
const (
	countShare   = 100
	changedShare = 10
)

// counts are what the log holds, counted now and then.
type counts struct {
	source  Source
	archive bool
	now     func() time.Time
	mu      sync.Mutex  // guards what follows
	of      *journal.DB // that was counted
	last    metrics.LogHolds
	runs    []string // that went on then
	at      time.Time
	took    time.Duration
}

// holds returns what the log holds.
func (c *counts) holds() (h metrics.LogHolds, err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	err = c.source.All(context.Background(), func(db *journal.DB) error {
		under, err := db.UnderWay(nil)
		if err != nil {
			return err
		}
		now := nowOf(under)
		if c.due(db, now) {
			if err := c.count(db, now); err != nil {
				return err
			}
		}
		h = c.last
		h.Size, h.Free = db.Room()
		if c.archive { // its disk is another machine's
			h.Size, h.Free = -1, -1
		}
		h.Now = now
		return nil
	})
	return h, err
}

// due reports whether the log is to be counted again.
func (c *counts) due(db *journal.DB, now []metrics.LogNow) bool {
	share := time.Duration(countShare)
	if !slices.Equal(c.runs, namesOf(now)) {
		share = changedShare
	}
	return db != c.of || c.now().Sub(c.at) >= share*c.took
}

// count counts the log.
func (c *counts) count(db *journal.DB, now []metrics.LogNow) error {
	begun := c.now()
	outcomes, err := db.Outcomes()
	if err != nil {
		return err
	}
	runs := make([]metrics.LogRun, len(outcomes))
	for i, o := range outcomes {
		runs[i] = metrics.LogRun(o)
	}
	c.of, c.last, c.runs = db, metrics.CountLog(runs, begun), namesOf(now)
	c.at, c.took = begun, c.now().Sub(begun)
	return nil
}

func namesOf(now []metrics.LogNow) []string {
	return words.Texts(now, func(r metrics.LogNow) string { return r.Run })
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
	counts := &counts{source: s.source, archive: s.opts.Archive != nil, now: time.Now}
	for _, c := range append([]prometheus.Collector{metrics.NewLog(counts.holds)}, more...) {
		if err := r.Register(c); err != nil {
			return nil, err
		}
	}
	return metrics.Handler(r), nil
}
