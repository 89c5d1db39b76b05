package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"testing"

	"makebreak/analyze"
	"makebreak/rig/bench"
	"makebreak/rig/problem"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
)

// Every outcome has its exit status, and what nobody foresaw is the program's own fault.
func TestExitStatus(t *testing.T) {
	unforeseen := errors.New("something else")
	for _, c := range []struct {
		name    string
		verdict analyze.Verdict
		err     error
		want    int
	}{
		{"nothing judged", analyze.NoVerdict, nil, 0},
		{"pass", analyze.Pass, nil, 0},
		{"fail", analyze.Fail, nil, 1},
		{"undecided", analyze.Undecided, nil, 2},
		{"usage", analyze.NoVerdict, problem.New(problem.Usage, "x"), 64},
		{"input", analyze.NoVerdict, problem.New(problem.Input, "x"), 65},
		{"rig", analyze.NoVerdict, problem.New(problem.Rig, "x"), 69},
		{"internal", analyze.NoVerdict, problem.New(problem.Internal, "x"), 70},
		{"unforeseen", analyze.NoVerdict, unforeseen, 70},
		{"storage", analyze.NoVerdict, problem.New(problem.Storage, "x"), 74},
		{"interrupted", analyze.NoVerdict, fmt.Errorf("run: %w", context.Canceled), 130},
		{"an error before a verdict", analyze.Fail, problem.New(problem.Rig, "x"), 69},
		{"an unforeseen one too", analyze.Undecided, unforeseen, 70},
		{"the gravest of several", analyze.Pass, errors.Join(problem.New(problem.Rig, "x"), problem.New(problem.Storage, "y")), 74},
		{"a lost rig", analyze.NoVerdict, fmt.Errorf("cycle 3: %w", bench.ErrLost), 69},
		{"nobody at the rig", analyze.NoVerdict, bench.ErrNobody, 69},
		{"a rig that cannot be so", analyze.NoVerdict, bench.ErrSetup, 65},
		{"a full log", analyze.NoVerdict, journal.ErrFull, 74},
		{"the measuring at fault", analyze.NoVerdict, fmt.Errorf("%w: x", runner.ErrInternal), 70},
	} {
		if got := exitStatus(c.verdict, c.err); got != c.want {
			t.Errorf("%s: exit status %d, want %d", c.name, got, c.want)
		}
	}
}

// What is typed wrongly is bad usage, also where the library for commands says so.
func TestExitStatus_Usage(t *testing.T) {
	log := filepath.Join(t.TempDir(), "log.db")
	for _, args := range [][]string{
		{"jump"},
		{"run"},
		{"run", "armed-high", "--jump"},
		{"run", "armed-high", "--cycles"},
		{"run", "armed-high", "--cycles", "many"},
		{"run", "armed-high", "--fault", "wrong-address=OUT99"},
		{"help", "jump"},
		{"completion", "bash", "more"},
		{"completion", "jump"},
		{"soak", "plan"},
		{"--help", "jump"},
	} {
		if status, _, errs := run(t, append([]string{"--log", log}, args...)...); status != exitUsage {
			t.Errorf("%q: exit status %d, want %d: %s", args, status, exitUsage, errs)
		}
	}
}
