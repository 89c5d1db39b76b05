package main

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"makebreak/rig/problem"
	"makebreak/rig/web"
	"makebreak/sequences/archive"
	"makebreak/sequences/exercise"
	"makebreak/sequences/journal"
	"makebreak/sequences/live"
	"makebreak/sequences/site"
)

// usualPage is where the page is served where no other address is asked for.
const usualPage = "localhost:9120"

// serveOpts are the flags of serve.
type serveOpts struct {
	listen    string
	exercises []string // files, besides the built-in ones
	access    web.Access
}

// accessFlags are those that say who may reach what is served.
func accessFlags(f *pflag.FlagSet, a *web.Access) {
	f.StringVar(&a.Config, "web-config", "", "`file` with TLS and logins for what is served, in the form of Prometheus' exporters")
	f.BoolVar(&a.Insecure, "insecure", false, "let other machines read what is served without TLS and a login")
}

func (a *app) serveCommand() *cobra.Command {
	var o serveOpts
	c := &cobra.Command{
		Use:   "serve",
		Short: "Serve the local page: what happens now, and the log",
		Long: `Serve a local page until Ctrl-C: what happens now, the log with a search, and the
record of each run. /metrics has what the log holds, for Prometheus.

The page only reads: no request changes the log or acts on a drive. Exercises are the
exception: each trainee's has a simulated bench of its own, and what is done there is in
the log. With --rig FILE of a real rig there are none.

With --log postgres: it serves the workshop's archive: the runs of all rigs, and neither
what happens now nor exercises.

Any address but a loopback one needs TLS and logins (--web-config) or --insecure.`,
		Example: `  makebreak serve
  makebreak serve --listen localhost:8000 --log bench-2.db
  makebreak serve --listen :9120 --web-config web.yaml
  PGSERVICE=workshop makebreak serve --log postgres:`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return a.serve(c.Context(), &o) },
	}
	c.Flags().StringVar(&o.listen, "listen", usualPage, "`address` to serve at, as in localhost:8000 or :9120")
	c.Flags().StringArrayVar(&o.exercises, "exercises", nil, "offer the exercise of a `file` besides the built-in ones (repeatable)")
	accessFlags(c.Flags(), &o.access)
	a.forms(c, "text")
	return c
}

// serve serves the site until the context ends.
func (a *app) serve(ctx context.Context, o *serveOpts) (err error) {
	s, err := a.servedSite(ctx, o)
	if err != nil {
		return err
	}
	server, err := web.Serve(web.Opts{Address: o.listen, Usual: usualPage, Access: o.access, Acts: s.Acts, Failed: func(err error) { a.note("page: %v", err) }}, s)
	if err != nil {
		return problem.Of(problem.KindOf(err), errors.Join(fmt.Errorf("--listen %w", err), s.Close()))
	}
	a.tellPage(server.URL("/"), server.Open())
	<-ctx.Done()
	return errors.Join(server.Close(), s.Close())
}

// servedSite is the site of the log, or of an archive: there nothing happens now, and nobody
// practises.
func (a *app) servedSite(ctx context.Context, o *serveOpts) (s *site.Site, err error) {
	opts := site.Opts{Program: version(), Failed: a.note}
	if connection, is := archiveNamed(a.log); is {
		if len(o.exercises) > 0 {
			return nil, badUsage("--exercises needs a log, which what is done there goes into; an archive is only read")
		}
		db, err := archive.Serve(ctx, connection)
		if err != nil {
			return nil, endedOr(ctx, err)
		}
		a.note("Runs come from the %s", db.Place())
		opts.Archive = db
		return site.New(opts)
	}
	if opts.Exercises, err = a.servedExercises(o); err != nil {
		return nil, err
	}
	board := live.NewBoard(a.log, func(f func(*journal.DB) error) error { return s.Read(f) })
	opts.Log, opts.Now = a.log, live.NewPage(board)
	if s, err = site.New(opts); err != nil {
		return nil, readFailed(err)
	}
	return s, nil
}

// servedExercises are what trainees may do at the page; nil beside a real rig.
func (a *app) servedExercises(o *serveOpts) (*site.Exercises, error) {
	rig, err := a.namedRig()
	if err != nil || !rig.Simulated {
		return nil, err
	}
	all := exercise.Builtin()
	for _, path := range o.exercises {
		d, err := a.loadExercise(path)
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(all, func(other *exercise.Definition) bool { return other.Name == d.Name }) {
			return nil, badUsage("--exercises %s: there is an exercise %q already; name it otherwise", path, d.Name)
		}
		all = append(all, d)
	}
	return &site.Exercises{Definitions: all, Open: func() (*journal.DB, error) { return journal.Open(a.log) }, Now: a.now}, nil
}

// tellPage says where the page is, and who else can read it.
func (a *app) tellPage(url string, open bool) {
	a.note("Page at %s", url)
	if open {
		a.note("Other machines can read it, without a login (--insecure)")
	}
}
