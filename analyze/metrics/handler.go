package metrics

import (
	"net/http"
	"strconv"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/common/expfmt"
)

// fresh is how long a rendering is served. Rendering takes some milliseconds from those who
// measure, so that however many ask share one.
const fresh = time.Second

// Handler serves the metrics for scraping, as text. What it serves is a second old at most.
func (c *Collector) Handler() http.Handler { return &rendering{from: c.registry, now: c.now} }

// Handler serves metrics of whatever kind likewise; several are put together by
// prometheus.Gatherers.
func Handler(g prometheus.Gatherer) http.Handler { return &rendering{from: g, now: time.Now} }

// A rendering is the metrics as text, of some instant.
type rendering struct {
	from prometheus.Gatherer
	now  func() time.Time
	mu   sync.Mutex
	text []byte // nil: none yet
	made time.Time
}

// ServeHTTP implements http.Handler.
func (r *rendering) ServeHTTP(w http.ResponseWriter, _ *http.Request) {
	text, err := r.latest()
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", string(expfmt.NewFormat(expfmt.TypeTextPlain)))
	w.Header().Set("Content-Length", strconv.Itoa(len(text)))
	_, _ = w.Write(text) // it fails only where the client has gone
}

// latest returns the text, made anew where it is too old. One who makes it has the others wait.
func (r *rendering) latest() ([]byte, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if age := r.now().Sub(r.made); r.text != nil && age >= 0 && age < fresh {
		return r.text, nil
	}
	text, err := exposition(r.from)
	if err != nil {
		return nil, err
	}
	r.text, r.made = text, r.now()
	return text, nil
}
