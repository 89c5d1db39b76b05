package main

import (
	"errors"
	"fmt"
	"net/http"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/problem"
	"makebreak/rig/web"
	"makebreak/sequences/journal"
	"makebreak/sequences/live"
	"makebreak/sequences/setup"
	"makebreak/sequences/site"
)

// onlookers let others look at a run while it lasts: programs that serve its log, and on a page
// of its own, where one was asked for. The run does not wait for them.
type onlookers struct {
	hub    *live.Hub
	log    string
	note   func(format string, args ...any)
	told   *live.Told // nil: other programs do not hear of the run
	site   *site.Site // nil: no page was asked for
	server *web.Server
}

// lastLook is how long a page that somebody looks at is served after the run has ended, so
// that the verdict gets there.
const lastLook = 300 * time.Millisecond

// onlookers begins to serve what was asked for. An address that cannot be served is an error.
func (a *app) onlookers(j *job, o *runOpts) (*onlookers, error) {
	l := &onlookers{hub: j.hub, log: a.log, note: a.note}
	if o.page == "" {
		return l, nil
	}
	record := func(s *live.State) string { return site.RecordAt(s.Run) }
	var err error
	if l.site, err = site.New(site.Opts{Log: a.log, Now: live.NewPage(live.OfHub(j.hub, record)), Beside: true, Program: version(), Failed: a.note}); err != nil {
		return nil, readFailed(err)
	}
	l.server, err = web.Serve(web.Opts{Address: o.page, Access: o.access, Failed: func(err error) { a.note("page: %v", err) }}, yielding(l.site, setup.Measurer(j.rig)))
	if err != nil {
		return nil, problem.Of(problem.KindOf(err), errors.Join(fmt.Errorf("--page %w", err), l.site.Close()))
	}
	a.tellPage(l.server)
	return l, nil
}

// yielding answers requests on threads that run when no other one wants to: an answer takes
// milliseconds, in which the measuring of cycles would stand still, and with it, where the
// program collects garbage, the sampling.
func yielding(h http.Handler, lower func()) http.Handler {
	if lower == nil {
		return h
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		lower()
		h.ServeHTTP(w, r)
	})
}

// begin says which run it is and what it has done already.
func (l *onlookers) begin(info journal.RunInfo, before live.Before, b *bench.Bench) {
	l.hub.Begin(info, before, b.Sampled())
	var err error
	if l.told, err = live.Tell(l.hub, l.log, info.UUID); err != nil {
		l.note("makebreak serve will not show what happens now in this run: %v", err)
	}
}

// end says how the run ended.
func (l *onlookers) end(at time.Time, err error) {
	l.hub.End(at, err == nil, whyIncomplete(err))
}

// close ends the looking.
func (l *onlookers) close() {
	if l.told != nil {
		l.told.Close()
	}
	if l.server == nil {
		return
	}
	if l.hub.Watched() {
		time.Sleep(lastLook)
	}
	_ = l.server.Close() // what is still being read is cut off
	_ = l.site.Close()   // which was only read
}
