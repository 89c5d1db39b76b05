package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"

	"makebreak/rig/bench"
	"makebreak/rig/problem"
	"makebreak/rig/prompt"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/sequences/setup"
)

// loadRig reads the rig file asked for, or picks the simulated bench that suits
// the sequence.
func (a *app) loadRig(seq *sequences.Sequence) (*wiring.Rig, error) {
	rig, err := a.rigFile()
	if err != nil {
		return nil, err
	}
	if rig == nil {
		rig = setup.BenchFor(seq)
	}
	cautions, err := seq.Fits(rig)
	if err != nil {
		return nil, problem.Of(problem.Input, err)
	}
	seq.Cautions = append(seq.Cautions, cautions...)
	for _, p := range rig.Check() {
		seq.Cautions = append(seq.Cautions, p.String())
	}
	return rig, nil
}

// rigFile reads the rig file asked for, with the latency measured beside it; nil
// where none was asked for.
func (a *app) rigFile() (*wiring.Rig, error) {
	if a.rig == "" {
		return nil, nil
	}
	rig, err := rigfile.Load(a.rig)
	if err != nil {
		return nil, otherFile(a.rig, sequences.RigFile, inputError(err))
	}
	if !a.ownRig() {
		return rig, nil
	}
	if rig.Latency, err = rigfile.LoadLatency(rigfile.LatencyPath(a.rig)); err != nil {
		return nil, inputError(err)
	}
	return rig, nil
}

// ownRig reports whether the rig is of a file, beside which stands what was measured of
// it, and not a built-in one.
func (a *app) ownRig() bool {
	return a.rig != "" && !slices.ContainsFunc(rigfile.Builtin(), func(r *wiring.Rig) bool { return r.Name == a.rig })
}

// rigSource is the text of the rig file, for the log.
func (a *app) rigSource() string {
	if !a.ownRig() {
		return "" // the program's version says which
	}
	b, err := os.ReadFile(a.rig)
	if err != nil {
		return "" // it was read before and has gone since
	}
	return string(b)
}

// inputError is an error of reading a file that the user named.
func inputError(err error) error {
	if errors.Is(err, context.Canceled) {
		return problem.New(problem.Interrupted, "interrupted")
	}
	return problem.Of(problem.Input, err)
}

// otherFile says what a file is that could not be read as the kind wanted, where it is one
// of another kind; else it returns the error as it is.
func otherFile(path string, want sequences.FileKind, err error) error {
	const most = 1 << 20 // bytes
	f, openErr := os.Open(path)
	if openErr != nil {
		return err
	}
	defer f.Close()
	text, readErr := io.ReadAll(io.LimitReader(f, most))
	kind := sequences.FileKindOf(text)
	if readErr != nil || kind == "" || kind == want {
		return err
	}
	use := map[sequences.FileKind]string{
		sequences.SequenceFile: "makebreak run takes it",
		sequences.RigFile:      "name it with --rig",
		sequences.CaptureFile:  "makebreak analyze takes it",
	}
	return problem.Of(problem.Input, fmt.Errorf("%s is %s, not %s; %s", path, kind, want, use[kind]))
}

// openBench opens the bench, simulated or real, for a sequence.
func (a *app) openBench(rig *wiring.Rig, seq *sequences.Sequence, s setup.Simulation) (*bench.Bench, error) {
	return a.openWith(rig, seq, s, bench.Opts{})
}

// openAtRest opens the bench to look at all outputs in turn, also of a chip that follows
// one output in a run. Nothing is switched on: the supply stays at its rest.
func (a *app) openAtRest(rig *wiring.Rig) (*bench.Bench, error) {
	return a.openWith(rig, setup.Rest(), setup.Simulation{RealTime: true}, bench.Opts{SupplyAtRest: true})
}

// openWith opens the bench for a sequence and with options.
func (a *app) openWith(rig *wiring.Rig, seq *sequences.Sequence, s setup.Simulation, opts bench.Opts) (*bench.Bench, error) {
	if setup.Prompts(rig, seq) {
		opts.Prompter = prompt.NewKeys(a.in, a.err)
	}
	return setup.Open(rig, seq, s, opts)
}

// loadSequence reads the sequence named.
func loadSequence(name string) (*sequences.Sequence, error) {
	if name == "" {
		return nil, badUsage("name a sequence: a built-in one or a file, not an empty name")
	}
	seq, err := sequences.Load(name)
	if errors.Is(err, fs.ErrNotExist) && !strings.ContainsAny(name, "./") {
		return nil, problem.Of(problem.Usage, err) // a mistyped name, not a file
	}
	if err != nil {
		return nil, otherFile(name, sequences.SequenceFile, inputError(err))
	}
	return seq, nil
}
