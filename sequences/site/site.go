package site

import (
	"context"
	"errors"
	"io"
	"net/http"
	"sync/atomic"

	"github.com/prometheus/client_golang/prometheus"

	"makebreak/rig/problem"
	"makebreak/rig/web"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// Opts are what a site shows.
type Opts struct {
	Log     string                           // path of the log
	Archive Source                           // is served in place of a log, and closed with the site; nil: the log is
	Program string                           // version, for the foot of each page
	Now     Now                              // what happens now; nil: nothing is said of it
	Metrics []prometheus.Collector           // are served beside those of the log
	Beside  bool                             // a run is under way in this program: records are made slowly
	Failed  func(format string, args ...any) // is told what went wrong with the log
	// Exercises are what trainees may do; nil: nothing. See Site.Acts.
	Exercises *Exercises
}

// Now is what happens now, at the top of the first page.
type Now interface {
	// Show writes all of it as it is now, as HTML that is complete without a script. An element
	// with the attribute sse-swap="NAME" takes the pieces of that name that Changes returns.
	// It may wait for some seconds for what it shows. Of is the key of one of several units that
	// are tested at the same time, as in the addresses that it writes; empty, or not known: all.
	Show(ctx context.Context, w io.Writer, of string) error
	// Changes waits until something differs from what it returned with the number since, and
	// returns what does, with a new number; 0: it returns all at once. A client that is slow
	// gets the newest only. The error is the context's.
	Changes(ctx context.Context, since uint64, of string) (pieces []Piece, number uint64, err error)
	// Style is CSS for it, added to the site's style sheet.
	Style() string
}

// A Piece is the content of an element of what happens now.
type Piece struct {
	Name string // of the element's sse-swap
	HTML string
}

// Records are made one at a time. A long one takes seconds of a processor.
const (
	mostRecords = 16 // that wait to be made; more are refused
	besideShare = 20 // of a processor, making them takes one part in so many beside a run
)

// A Site is the pages. It is safe for concurrent use.
type Site struct {
	opts   Opts
	log    *logFile // nil: an archive is served
	source Source
	away   atomic.Bool // the archive could not be read when it was asked last
	mux    *http.ServeMux
	share  *web.Share // of making records
	parts  parts      // of the long ones
	sheet  string     // style sheet

	practice *practice // nil: no exercises are served
}

// New makes a site. The log need not be there yet.
func New(opts Opts) (*Site, error) {
	s := &Site{opts: opts, mux: http.NewServeMux(), share: web.NewShare(1, mostRecords), parts: usual}
	if opts.Beside {
		s.share = web.NewShare(besideShare, mostRecords)
	}
	if opts.Failed == nil {
		s.opts.Failed = func(string, ...any) {}
	}
	if opts.Archive != nil {
		s.source = &watched{opts.Archive, s}
	} else {
		s.log = &logFile{path: opts.Log}
		s.source = s.log
		if err := s.log.look(); err != nil && !absent(err) {
			return nil, err
		}
	}
	s.sheet = sheet(opts.Now)
	if opts.Exercises != nil {
		s.practice = newPractice(s, opts.Exercises)
	}
	return s, s.routes()
}

func (s *Site) routes() error {
	metrics, err := s.metricsPage(s.opts.Metrics)
	if err != nil {
		return err
	}
	s.mux.HandleFunc("/{$}", s.first)
	s.mux.HandleFunc("/runs/{run}", s.run)
	s.mux.HandleFunc("/units/{unit}", s.unit)
	s.mux.HandleFunc("/assets/{name}", s.asset)
	if s.opts.Now != nil {
		s.mux.HandleFunc("/now", s.stream)
	}
	if s.practice != nil {
		s.practice.routes(s.mux)
	}
	s.mux.Handle("/metrics", metrics)
	s.mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		s.tell(w, http.StatusNotFound, "There is no such page here.")
	})
	return nil
}

// ServeHTTP implements http.Handler.
func (s *Site) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.mux.ServeHTTP(w, r) }

// Read lets a function read the log, where that is served.
func (s *Site) Read(f func(*journal.DB) error) error { return s.log.read(f) }

// Close ends reading the log. No request may be under way.
func (s *Site) Close() error {
	if s.practice == nil {
		return s.source.Close()
	}
	return errors.Join(s.practice.close(), s.source.Close())
}

// failed answers a request for which the log could not be read.
func (s *Site) failed(w http.ResponseWriter, r *http.Request, err error) {
	switch {
	case r.Context().Err() != nil: // the client has gone
	case errors.Is(err, errBusy):
		w.Header().Set("Retry-After", "10")
		s.tell(w, http.StatusServiceUnavailable, "Too many records are being made. Ask again in some seconds.")
	case absent(err):
		s.tell(w, http.StatusNotFound, "There is no log yet: the first run makes it.")
	case problem.KindOf(err) == problem.Usage:
		s.tell(w, http.StatusNotFound, words.Capital(withoutPlace(err)))
	case s.opts.Archive != nil:
		if !s.away.Swap(true) {
			s.opts.Failed("archive: %v", err)
		}
		w.Header().Set("Retry-After", "10")
		w.Header().Set("Refresh", "10")
		s.tell(w, http.StatusServiceUnavailable, "The archive cannot be read now. This page asks again every 10 seconds; the program that serves it says why.")
	default:
		s.opts.Failed("log: %v", err)
		s.tell(w, http.StatusInternalServerError, "The log cannot be read. The program that serves this page says why.")
	}
}

// withoutPlace is an error's text without the path of the log, which is nobody's business on
// other machines.
func withoutPlace(err error) string {
	var e *problem.Error
	if !errors.As(err, &e) {
		return err.Error()
	}
	said := *e
	said.Place = ""
	return said.Error()
}

// absent reports whether an error says that there is no log.
func absent(err error) bool { return errors.Is(err, errAbsent) }
