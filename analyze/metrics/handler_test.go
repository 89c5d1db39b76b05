package metrics

import (
	"errors"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
)

// However many ask, a second's metrics are rendered once.
func TestHandler_Shared(t *testing.T) {
	t.Parallel()
	c := fed()
	var made atomic.Int64
	now := time.UnixMilli(1_933_000_000_250)
	h := &rendering{now: func() time.Time { return now }, from: prometheus.GathererFunc(func() ([]*dto.MetricFamily, error) {
		made.Add(1)
		return c.Gatherer().Gather()
	})}
	want := string(scrape(t, c))
	for i, step := range []time.Duration{0, fresh - 1, 1, fresh, -time.Hour} { // the clock may be set back
		now = now.Add(step)
		var all sync.WaitGroup
		for range 20 {
			all.Go(func() {
				for range 20 {
					w := httptest.NewRecorder()
					h.ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
					if w.Code != 200 || w.Body.String() != want {
						t.Errorf("status %d: %s", w.Code, w.Body)
					}
				}
			})
		}
		all.Wait()
		if got, want := made.Load(), []int64{1, 1, 2, 3, 4}[i]; got != want {
			t.Errorf("after %v: rendered %d times, want %d", step, got, want)
		}
	}
}

// An answer that is at hand is not made anew, nor copied.
func TestHandler_Allocations(t *testing.T) {
	h := fed().Handler()
	w, r := httptest.NewRecorder(), httptest.NewRequest("GET", "/metrics", nil)
	w.Body = nil
	if n := testing.AllocsPerRun(100, func() { h.ServeHTTP(w, r) }); n > 8 {
		t.Errorf("%g allocations an answer", n)
	}
}

// What cannot be rendered is told, and tried again.
func TestHandler_Fails(t *testing.T) {
	t.Parallel()
	fails := true
	h := &rendering{now: time.Now, from: prometheus.GathererFunc(func() ([]*dto.MetricFamily, error) {
		if fails {
			return nil, errors.New("no figures")
		}
		return nil, nil
	})}
	for _, want := range []int{500, 200} {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
		if w.Code != want || fails != strings.Contains(w.Body.String(), "no figures") {
			t.Errorf("status %d, want %d: %s", w.Code, want, w.Body)
		}
		fails = false
	}
}

func BenchmarkHandler(b *testing.B) {
	h := fed().Handler()
	r := httptest.NewRequest("GET", "/metrics", nil)
	for b.Loop() {
		h.ServeHTTP(httptest.NewRecorder(), r)
	}
}
