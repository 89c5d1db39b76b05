package main

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/line"
	"makebreak/rig/sim"
	"makebreak/sequences/journal"
	"makebreak/sequences/live"
	"makebreak/sequences/setup"
	"makebreak/sequences/soak"
)

// stuck is a rig's lines that cannot be released.
type stuck struct{ line.Set }

func (s stuck) Close() error {
	return errors.Join(s.Set.Close(), errors.New("line 17: input/output error"))
}

// stuckJob is a job on the simulated bench with lines that cannot be released.
func stuckJob(t *testing.T, a *app, faults ...string) job {
	t.Helper()
	seq, err := a.loadSequence("relay-only")
	if err != nil {
		t.Fatal(err)
	}
	rig, err := a.loadRig(seq)
	if err != nil {
		t.Fatal(err)
	}
	j := job{seq: seq, rig: rig, cycles: 3, hubs: []*live.Hub{live.New(live.Of{Sequence: seq, Rig: rig, Now: a.now})}}
	if err := j.sim.Plant(faults); err != nil {
		t.Fatal(err)
	}
	j.open = func() (*bench.Bench, error) {
		unit := setup.Unit(rig, seq)
		unit.Seed, unit.Faults = 1, j.sim.Faults
		world, err := sim.NewWorld(rig, unit)
		if err != nil {
			return nil, err
		}
		lines, err := world.Lines(bench.Requests(rig))
		if err != nil {
			return nil, err
		}
		return bench.Open(rig, world.Bus(), stuck{lines}, bench.Opts{Outputs: seq.Sampled(rig), Act: world.Act})
	}
	return j
}

// Whatever a run or a soak comes to: where the rig cannot be closed a drive may be on, and
// the person is told so, with the status of a rig that is not in order.
func TestDrivesMayBeOn(t *testing.T) {
	interrupted, cancel := context.WithCancel(t.Context())
	cancel()
	for _, c := range []struct {
		name   string
		ctx    context.Context
		stop   bool
		faults []string
	}{
		{"passed", t.Context(), false, nil},
		{"failed", t.Context(), false, []string{"welded"}},
		{"stopped at a failure", t.Context(), true, []string{"welded"}},
		{"interrupted", interrupted, false, nil},
	} {
		for what, do := range map[string]func(a *app, j job, o *soakOpts) error{
			"run": func(a *app, j job, o *soakOpts) error { return a.runLogged(c.ctx, &j, &o.runOpts) },
			"soak": func(a *app, j job, o *soakOpts) error {
				db, err := journal.Open(a.log)
				if err != nil {
					return err
				}
				defer db.Close()
				return a.soak(c.ctx, db, j, o, j.cycles, func(w soak.Work, b *bench.Bench) (*soak.Soak, error) {
					info := a.runInfo(&j, b)
					info.Soak = &o.keep
					return soak.Begin(db, info, w)
				})
			},
		} {
			t.Run(what+" "+c.name, func(t *testing.T) {
				var out, errs strings.Builder
				a := &app{ctx: t.Context(), streams: streams{strings.NewReader(""), &out, &errs}, now: time.Now, log: filepath.Join(t.TempDir(), "log.db"), as: "text"}
				o := &soakOpts{runOpts: runOpts{stopOnFail: c.stop}}
				err := do(a, stuckJob(t, a, c.faults...), o)
				if got := exitStatus(a.verdict, err); got != exitRig {
					t.Errorf("exit status %d, want %d", got, exitRig)
				}
				for _, want := range []string{"see that its drives are off", "line 17: input/output error"} {
					if err == nil || !strings.Contains(err.Error(), want) {
						t.Errorf("not told: %q\n%v", want, err)
					}
				}
				if out.Len() == 0 {
					t.Error("the results were not written")
				}
			})
		}
	}
}
