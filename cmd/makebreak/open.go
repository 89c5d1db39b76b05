package main

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"makebreak/rig/bench"
	"makebreak/rig/infile"
	"makebreak/rig/outfile"
	"makebreak/rig/problem"
	"makebreak/rig/prompt"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/sequences/setup"
)

// loadRig reads the rig file asked for, or picks the simulated bench that suits
// the sequence. Of a rig with several units it is as the one that --only names sees it.
func (a *app) loadRig(seq *sequences.Sequence) (*wiring.Rig, error) {
	rig, units, err := a.loadUnits(seq)
	if err == nil && len(units) > 1 {
		err = severalUnits(rig)
	}
	return rig, err
}

// loadUnits is loadRig where a sequence may run on several units at the same time: the rig is then
// the whole one, and the units are those that are meant.
func (a *app) loadUnits(seq *sequences.Sequence) (*wiring.Rig, []*wiring.Unit, error) {
	rig, err := a.rigFile()
	if err != nil {
		return nil, nil, err
	}
	if rig == nil {
		rig = setup.BenchFor(seq)
	}
	units, err := a.meant(rig)
	if err != nil {
		return nil, nil, err
	}
	cautions, err := fit(seq, rig, units)
	if err != nil {
		return nil, nil, problem.Of(problem.Input, err)
	}
	seq.Cautions = append(seq.Cautions, cautions...)
	for _, p := range rig.Check() {
		seq.Cautions = append(seq.Cautions, p.String())
	}
	if len(units) == 1 {
		rig, err = a.testedAt(rig, units[0])
		return rig, nil, err
	}
	return rig, units, nil
}

// rigFile reads the rig file asked for, with the latency measured beside it; nil
// where none was asked for.
func (a *app) rigFile() (*wiring.Rig, error) {
	if a.rig == "" {
		return nil, nil
	}
	rig, source, err := rigfile.LoadSource(a.ctx, a.rig)
	if err != nil {
		return nil, a.otherFile(a.rig, sequences.RigFile, inputError(err))
	}
	if a.rigSource = string(source); !a.ownRig() {
		return rig, nil
	}
	if rig.Latency, err = rigfile.LoadLatency(a.ctx, rigfile.LatencyPath(a.rig)); err != nil {
		return nil, inputError(err)
	}
	return rig, nil
}

// ownRig reports whether the rig is of a file, beside which stands what was measured of
// it, and not a built-in one.
func (a *app) ownRig() bool {
	return a.rig != "" && !slices.ContainsFunc(rigfile.Builtin(), func(r *wiring.Rig) bool { return r.Name == a.rig })
}

// inputError is an error of reading a file that the user named.
func inputError(err error) error { return problem.Reading(err) }

// otherFile says what a file is that could not be read as the kind wanted, where it is one
// of another kind; else it returns the error as it is.
func (a *app) otherFile(path string, want sequences.FileKind, err error) error {
	const most = 1 << 20 // bytes
	if outfile.Special(path) {
		return err // a pipe cannot be read again
	}
	text, readErr := infile.Read(a.ctx, path, most)
	kind := sequences.FileKindOf(text)
	if readErr != nil && !errors.Is(readErr, infile.ErrTooLong) || kind == "" || kind == want {
		return err
	}
	use := map[sequences.FileKind]string{
		sequences.SequenceFile: "makebreak run takes it",
		sequences.RigFile:      "name it with --rig",
		sequences.CaptureFile:  "makebreak analyze takes it",
	}
	return problem.Of(problem.Input, fmt.Errorf("%s is %s, not %s; %s", path, kind, want, use[kind]))
}

// openAtRest opens the bench to look at all outputs in turn, also of a chip that follows
// one output in a run. Nothing is switched on: the supply stays at its rest.
func (a *app) openAtRest(rig *wiring.Rig) (*bench.Bench, error) {
	return a.openWith(rig, setup.Rest(), setup.Simulation{RealTime: true}, bench.Opts{SupplyAtRest: true})
}

// openWith opens the bench for a sequence and with options.
func (a *app) openWith(rig *wiring.Rig, seq *sequences.Sequence, s setup.Simulation, opts bench.Opts) (*bench.Bench, error) {
	if setup.Prompts(rig, seq) {
		opts.Prompter = a.prompter()
	}
	return setup.Open(rig, seq, s, opts)
}

// prompter asks the person at the bench.
func (a *app) prompter() bench.Prompter {
	if a.keys != nil {
		return a.keys
	}
	_, typed := terminal(a.in)
	return prompt.NewKeys(a.in, a.prompts(), typed)
}

// loadSequence reads the sequence named.
func (a *app) loadSequence(name string) (*sequences.Sequence, error) {
	if name == "" {
		return nil, badUsage("name a sequence: a built-in one or a file, not an empty name")
	}
	seq, err := sequences.Load(a.ctx, name)
	if errors.Is(err, fs.ErrNotExist) && !strings.ContainsAny(name, "./") {
		return nil, problem.Of(problem.Usage, err) // a mistyped name, not a file
	}
	if err != nil {
		return nil, a.otherFile(name, sequences.SequenceFile, inputError(err))
	}
	return seq, nil
}
