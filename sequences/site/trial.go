package site

import (
	"context"

	"makebreak/rig/problem"
	"makebreak/sequences/exercise"
)

// try runs a sequence on a trainee's simulated bench and logs it.
func (p *practice) try(ctx context.Context, t *exercise.Trial) error {
	if !t.Rig.Simulated { // it acts on nothing else, whatever it is given
		return problem.New(problem.Internal, "an exercise acts on a simulated bench only")
	}
	p.mu.Lock()
	db := p.db
	p.mu.Unlock()
	return exercise.Logged(db, p.opts.Now, p.site.opts.Program)(ctx, t)
}
