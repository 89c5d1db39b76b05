package main

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"makebreak/rig/problem"
	"makebreak/rig/web"
	"makebreak/sequences/site"
)

// serveOpts are the flags of serve.
type serveOpts struct{ listen string }

func (a *app) serveCommand() *cobra.Command {
	var o serveOpts
	c := &cobra.Command{
		Use:   "serve",
		Short: "Serve the local page: what happens now, and the log",
		Long: `Serve a local page until Ctrl-C: what happens now, the log with a search, and the
record of each run. /metrics has what the log holds, for Prometheus.

The page only reads: no request changes the log or acts on a drive.`,
		Example: `  makebreak serve
  makebreak serve --listen localhost:8000 --log bench-2.db`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return a.serve(c.Context(), &o) },
	}
	c.Flags().StringVar(&o.listen, "listen", "localhost:9120", "`address` to serve at")
	a.forms(c, "text")
	return c
}

// serve serves the site until the context ends.
func (a *app) serve(ctx context.Context, o *serveOpts) (err error) {
	s, err := site.New(site.Opts{Log: a.log, Program: version(), Failed: a.note})
	if err != nil {
		return readFailed(err)
	}
	server, err := web.Serve(o.listen, s, func(err error) { a.note("page: %v", err) })
	if err != nil {
		return problem.Of(problem.KindOf(err), errors.Join(err, s.Close()))
	}
	a.note("Page at http://%s/", server.Addr)
	<-ctx.Done()
	return errors.Join(server.Close(), s.Close())
}
