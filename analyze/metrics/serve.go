package metrics

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"makebreak/rig/problem"
	"makebreak/rig/task"
)

// A Server serves a collector's metrics at /metrics.
type Server struct {
	Addr   net.Addr
	server *http.Server
}

// Serve serves the collector's metrics at an address, as in "localhost:9110", until Close.
// Failed is told of a failure later on. The error is of the kind Usage: the address is
// wrong or taken.
func Serve(address string, c *Collector, failed func(error)) (*Server, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, problem.Of(problem.Usage, fmt.Errorf("%s: %w; use a free address, for example localhost:9110", address, cause(err)))
	}
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", c.Handler())
	s := &Server{l.Addr(), &http.Server{Handler: mux, ReadHeaderTimeout: 10 * time.Second}}
	task.Go(func() {
		if err := s.server.Serve(l); err != nil && !errors.Is(err, http.ErrServerClosed) {
			failed(err)
		}
	})
	return s, nil
}

// cause is what is wrong with an address, in few words.
func cause(err error) error {
	var a *net.AddrError
	if errors.As(err, &a) {
		return errors.New(a.Err)
	}
	return problem.Innermost(err)
}

// Close stops serving. What is still being read after a second is cut off.
func (s *Server) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	return s.server.Shutdown(ctx)
}
