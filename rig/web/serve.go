package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"time"

	"golang.org/x/time/rate"

	"makebreak/rig/problem"
	"makebreak/rig/task"
)

// What a client may take. They are so wide that no honest client on a slow network meets them.
const (
	headerTime = 5 * time.Second  // from its connecting, or its last answer's end, to a request's header
	readTime   = 10 * time.Second // for the whole request
	writeTime  = 20 * time.Second // from the header to the answer's end, the wait for a turn included
	idleTime   = 30 * time.Second // between an answer and the next request

	maxHeader      = 8 << 10 // bytes of a request's header; net/http adds 4 kB
	maxConnections = 64      // open at once, besides those of streams

	// At most so many are taken in a second, and before that so many at once. What comes
	// sooner waits, so that clients without a pause do not take the processor: neither this
	// program's share nor, on the same machine, their own. With all connections in use a
	// request waits for 6.4 s at most, less than Prometheus does.
	requestRate, requestBurst       = 10, 50
	connectionRate, connectionBurst = 100, maxConnections

	// A handshake of TLS takes milliseconds of a small board's processor.
	handshakeRate, handshakeBurst = 20, maxConnections
)

// closeTime is how long answers under way have to end when the server is closed.
const closeTime = time.Second

// A Server serves a handler over HTTP.
type Server struct {
	Addr   net.Addr // where it listens
	TLS    bool
	open   bool
	server *http.Server
	cancel context.CancelFunc
}

// Opts say where a handler is served, and for whom.
type Opts struct {
	Address string // as in "localhost:9120"
	Usual   string // an address to try where that one cannot be served; empty: localhost:9110
	Access
	// Acts says of a path whether a request may act there, by a form that is posted; nil: nowhere.
	Acts   func(path string) bool
	Failed func(error) // is told of a failure later on
}

// Serve serves a handler until Close. An address that is wrong, taken or not permitted is an
// error of the kind Usage, a configuration that cannot be used one of the kind Input.
func Serve(o Opts, h http.Handler) (*Server, error) {
	l, err := Listen(o)
	if err != nil {
		return nil, err
	}
	s, err := l.serve(h)
	if err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return s, nil
}

// A Listener listens at an address at which a handler may be served.
type Listener struct {
	net.Listener
	TLS  bool
	Open bool // as Server.Open
	opts Opts
}

// Listen listens at an address, for a handler that is served later or by another process. Its
// errors are as Serve's.
func Listen(o Opts) (*Listener, error) {
	has, err := o.look()
	if err != nil {
		return nil, err
	}
	l, err := net.Listen("tcp", o.Address)
	if err != nil {
		return nil, problem.Of(problem.Usage, fmt.Errorf("%s: %w; use a free address, for example %s", o.Address, cause(err), cmp.Or(o.Usual, "localhost:9110")))
	}
	if err := o.permits(l.Addr(), has, o.Insecure); err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return &Listener{l, has.tls, o.permits(l.Addr(), has, false) != nil, o}, nil
}

// ServeAt serves a handler at what another process listens at and has checked with Listen,
// with the same Opts.
func ServeAt(l net.Listener, o Opts, h http.Handler) (*Server, error) {
	return (&Listener{Listener: l, opts: o}).serve(h)
}

func (l *Listener) serve(h http.Handler) (*Server, error) {
	o := l.opts
	own := ownNames(o.Address, l.Addr().String())
	s, err := serve(l.Listener, o.Access, func(h http.Handler) http.Handler { return guarded(h, own, o.Acts, o.Failed) }, h, o.Failed)
	if err == nil {
		s.open = l.Open
	}
	return s, err
}

// serve serves on a listener, to which the rules apply; it returns at once.
func serve(l net.Listener, a Access, rules func(http.Handler) http.Handler, h http.Handler, failed func(error)) (*Server, error) {
	ctx, cancel := context.WithCancel(context.WithValue(context.Background(), streamsKey{}, &streams{most: maxStreams}))
	s := &Server{Addr: l.Addr(), cancel: cancel, server: &http.Server{
		Protocols:         new(http.Protocols),
		ReadHeaderTimeout: headerTime,
		ReadTimeout:       readTime,
		WriteTimeout:      writeTime,
		IdleTimeout:       idleTime,
		MaxHeaderBytes:    maxHeader,
		BaseContext:       func(net.Listener) context.Context { return ctx },
		ConnContext:       withPlace,
		// What clients do wrong is theirs; a handler's own fault is told by guarded.
		ErrorLog: log.New(io.Discard, "", 0),
	}}
	// One request at a time on a connection: the room counts on it.
	s.server.Protocols.SetHTTP1(true)
	if err := a.secure(s.server, rules, h); err != nil {
		cancel()
		return nil, err
	}
	r := newRoom(l, maxConnections+maxStreams)
	begin := s.server.Serve
	if s.TLS = s.server.TLSConfig != nil; s.TLS {
		r.pace = rate.NewLimiter(handshakeRate, handshakeBurst)
		begin = func(l net.Listener) error { return s.server.ServeTLS(l, "", "") }
	}
	task.Go(func() {
		if err := begin(r); err != nil && !errors.Is(err, http.ErrServerClosed) {
			failed(err)
		}
	})
	return s, nil
}

// URL is the address of a page, by its path.
func (s *Server) URL(path string) string { return urlOf(s.Addr, s.TLS, path) }

// URL is the address of a page once it is served, by its path.
func (l *Listener) URL(path string) string { return urlOf(l.Addr(), l.TLS, path) }

func urlOf(at net.Addr, tls bool, path string) string {
	scheme := "http"
	if tls {
		scheme = "https"
	}
	return scheme + "://" + at.String() + path
}

// Port is the port that it listens at.
func (s *Server) Port() int { return s.Addr.(*net.TCPAddr).Port }

// Open reports whether other machines reach the server without TLS or without a login.
func (s *Server) Open() bool { return s.open }

// Close stops serving. Answers under way have a second to end and are cut off then.
func (s *Server) Close() error {
	s.cancel() // those that wait for their turn
	ctx, cancel := context.WithTimeout(context.Background(), closeTime)
	defer cancel()
	if err := s.server.Shutdown(ctx); err != nil {
		return s.server.Close()
	}
	return nil
}

// cause is what is wrong with an address, in few words.
func cause(err error) error {
	var a *net.AddrError
	if errors.As(err, &a) {
		return errors.New(a.Err)
	}
	return problem.Innermost(err)
}
