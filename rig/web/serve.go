package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"time"

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
	connectionRate, connectionBurst = 1000, maxConnections
)

// closeTime is how long answers under way have to end when the server is closed.
const closeTime = time.Second

// A Server serves a handler over HTTP.
type Server struct {
	Addr   net.Addr // where it listens
	server *http.Server
	cancel context.CancelFunc
}

// Serve serves a handler at an address, as in "localhost:9110", until Close. Failed is told
// of a failure later on. The error is of the kind Usage: the address is wrong or taken.
func Serve(address string, h http.Handler, failed func(error)) (*Server, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, problem.Of(problem.Usage, fmt.Errorf("%s: %w; use a free address, for example localhost:9110", address, cause(err)))
	}
	return serve(l, guarded(h, ownNames(address, l.Addr().String()), failed), failed), nil
}

// serve serves on a listener; it returns at once.
func serve(l net.Listener, h http.Handler, failed func(error)) *Server {
	ctx, cancel := context.WithCancel(context.WithValue(context.Background(), streamsKey{}, &streams{most: maxStreams}))
	r := newRoom(l, maxConnections+maxStreams)
	s := &Server{Addr: l.Addr(), cancel: cancel, server: &http.Server{
		Handler:           h,
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
	task.Go(func() {
		if err := s.server.Serve(r); err != nil && !errors.Is(err, http.ErrServerClosed) {
			failed(err)
		}
	})
	return s
}

// Exposed reports whether other machines may reach the server.
func (s *Server) Exposed() bool { return !address(s.Addr).IsLoopback() }

// Port is the port that it listens at.
func (s *Server) Port() int { return s.Addr.(*net.TCPAddr).Port }

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
