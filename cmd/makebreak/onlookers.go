package main

import (
	"fmt"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/problem"
	"makebreak/rig/web"
	"makebreak/sequences/journal"
	"makebreak/sequences/live"
	"makebreak/sequences/setup"
)

// onlookers let others look at a run while it lasts, or at those of several units: programs that
// serve its log, and on a page of its own, where one was asked for. The run does not wait for them.
type onlookers struct {
	log  string
	note func(format string, args ...any)
	runs []*looked
	page *pageProcess // nil: no page was asked for
}

// looked is one unit's run that others look at.
type looked struct {
	*onlookers
	hub   *live.Hub
	told  *live.Told // nil: other programs do not hear of the run
	ended bool
}

// lastLook is how long a page that somebody looks at is served after the run has ended, so
// that the verdict gets there.
const lastLook = 300 * time.Millisecond

// onlookers begins to serve what was asked for. An address that cannot be served is an error.
func (a *app) onlookers(j *job, o *runOpts) (*onlookers, error) {
	l := &onlookers{log: a.log, note: a.note}
	for _, h := range j.hubs {
		l.runs = append(l.runs, &looked{onlookers: l, hub: h})
	}
	if o.page == "" {
		return l, nil
	}
	at, err := web.Listen(web.Opts{Address: o.page, Usual: usualPage, Access: o.access})
	if err != nil {
		return nil, problem.Of(problem.KindOf(err), fmt.Errorf("--page %w", err))
	}
	defer at.Close() // it is the other process's
	if l.page, err = a.startPage(at, pageWork{Log: a.log, Address: o.page, Access: o.access, Program: version()}, setup.Measurer(j.rig)); err != nil {
		return nil, problem.Of(problem.Unknown, fmt.Errorf("--page %s: %w", o.page, err))
	}
	a.tellPage(at.URL("/"), at.Open)
	return l, nil
}

// glances are those of all who look at the job.
func (j *job) glances() (all []*bench.Glances) {
	for _, h := range j.hubs {
		all = append(all, h.Glances())
	}
	return all
}

// doneBefore is what the run of one of the hubs has done already.
func (j *job) doneBefore(i int) live.Before {
	if j.before == nil {
		return live.Before{}
	}
	return j.before[i]
}

// begin says which run it is and what it has done already.
func (l *looked) begin(info journal.RunInfo, before live.Before, b *bench.Bench) {
	l.hub.Begin(info, before, b.Sampled())
	var err error
	if l.told, err = live.Tell(l.hub, l.log, info.UUID); err != nil {
		l.note("makebreak serve will not show what happens now in this run: %v", err)
	}
}

// end says how the run ended. Only the first call counts.
func (l *looked) end(at time.Time, err error) {
	if l.ended {
		return
	}
	l.ended = true
	l.hub.End(at, err == nil, whyIncomplete(err))
}

// close ends the looking.
func (l *onlookers) close() {
	watched := false
	for _, r := range l.runs {
		if r.told != nil {
			r.told.Close()
		}
		watched = watched || r.hub.Watched()
	}
	if l.page == nil {
		return
	}
	if watched {
		time.Sleep(lastLook)
	}
	l.page.close()
}
