package journal

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"math"
	"strconv"
	"strings"
	"time"

	"makebreak/rig/capture"
)

// Manifest says what a run in the log holds by sums of its parts, so that two copies of a run
// can be compared, and what was signed with what there is. It is made of what the run says,
// not of how a log keeps it: a run that is moved, or whose log is brought up to date, keeps
// its manifest. What may change with any program is left out: budgets' parts, marks of
// references, and the name, which another log may change.
type Manifest struct {
	Run   string // UUID
	Parts []Part // in a fixed order, captures by their cycles at the end
}

// Part is one part of a run and the SHA-256 of what it says.
type Part struct {
	Name string
	Sum  [sha256.Size]byte
}

// The parts of a manifest. A capture is capturePart and the number of its cycle.
const (
	runPart           = "run"
	sequencePart      = "sequence file"
	rigPart           = "rig file"
	cyclesPart        = "cycles"
	figuresPart       = "figures"
	symptomsPart      = "symptoms"
	calibrationsPart  = "calibrations"
	machinePart       = "computer"
	interruptionsPart = "interruptions"
	fieldsPart        = "fields"
	capturePart       = "capture "
)

// manifestHead begins a manifest's text and says by which rules its sums are made.
const manifestHead = "makebreak run 1 "

// String writes a manifest as it is signed: a line of the run, then one for each part.
func (m Manifest) String() string {
	var b strings.Builder
	b.WriteString(manifestHead + m.Run + "\n")
	for _, p := range m.Parts {
		b.WriteString(hex.EncodeToString(p.Sum[:]) + " " + p.Name + "\n")
	}
	return b.String()
}

// ParseManifest reads what String has written, and nothing else.
func ParseManifest(text string) (m Manifest, err error) {
	bad := func(line string) (Manifest, error) {
		return Manifest{}, fmt.Errorf("%w: %q is no line of a run's manifest", ErrCorrupt, line)
	}
	lines := strings.Split(text, "\n")
	run, ok := strings.CutPrefix(lines[0], manifestHead)
	if !ok || run == "" || lines[len(lines)-1] != "" {
		return bad(lines[0])
	}
	m.Run = run
	for _, line := range lines[1 : len(lines)-1] {
		sum, name, ok := strings.Cut(line, " ")
		b, err := hex.DecodeString(sum)
		if !ok || err != nil || len(b) != sha256.Size || name == "" {
			return bad(line)
		}
		m.Parts = append(m.Parts, Part{name, [sha256.Size]byte(b)})
	}
	if m.String() != text {
		return bad(lines[0])
	}
	return m, nil
}

// Differences are what differs between a manifest and that of the run as it is now.
type Differences struct {
	Parts    []string // that say something else, or are not there
	Captures int      // captures that say something else, or were not there
	Dropped  int      // captures that are not kept any more: pruning may take them
}

// Any reports whether something differs that nothing but a change of the log explains.
func (d Differences) Any() bool { return len(d.Parts) > 0 || d.Captures > 0 }

// Against compares a manifest with a later one of the same run.
func (m Manifest) Against(now Manifest) (d Differences) {
	if m.Run != now.Run {
		d.Parts = append(d.Parts, runPart)
	}
	sums := make(map[string][sha256.Size]byte, len(now.Parts))
	for _, p := range now.Parts {
		sums[p.Name] = p.Sum
	}
	for _, p := range m.Parts {
		sum, there := sums[p.Name]
		isCapture := strings.HasPrefix(p.Name, capturePart)
		switch {
		case there && sum == p.Sum:
		case isCapture && there:
			d.Captures++
		case isCapture:
			d.Dropped++
		default:
			d.Parts = append(d.Parts, p.Name)
		}
		delete(sums, p.Name)
	}
	for _, p := range now.Parts {
		if _, extra := sums[p.Name]; extra {
			d.Captures++ // parts of other kinds are the same ones in all manifests
		}
	}
	return d
}

// summing writes what a part says, an array of JSON a line.
type summing struct {
	hash hash.Hash
	out  *bufio.Writer
	json *json.Encoder
}

func newSumming() *summing {
	s := &summing{hash: sha256.New()}
	s.out = bufio.NewWriterSize(s.hash, 64<<10)
	s.json = json.NewEncoder(s.out)
	return s
}

// add adds a line. Numbers with a point are written by all of their bits, so that none is
// rounded; "not a number" is null.
func (s *summing) add(values ...any) error {
	for i, v := range values {
		switch x := v.(type) {
		case float64:
			values[i] = bitsOf(x)
		case time.Time:
			values[i] = nil
			if !x.IsZero() {
				values[i] = x.UnixNano()
			}
		}
	}
	return s.json.Encode(values)
}

func bitsOf(x float64) any {
	if math.IsNaN(x) {
		return nil
	}
	return strconv.FormatFloat(x, 'x', -1, 64)
}

func (s *summing) part(name string) Part {
	_ = s.out.Flush() // a hash takes everything
	return Part{name, [sha256.Size]byte(s.hash.Sum(nil))}
}

// Manifest reads the whole run and sums it up. A run of which only a part is here has none.
func (rec *RunRecord) Manifest(ctx context.Context) (Manifest, error) {
	m := Manifest{Run: rec.UUID}
	if rec.State.Partial() {
		return m, rec.fail("sum up", ErrPart)
	}
	for _, p := range []struct {
		name string
		fill func(context.Context, *summing) error
	}{
		{runPart, rec.sumRun}, {sequencePart, sumText(rec.SequenceSource)}, {rigPart, sumText(rec.RigSource)},
		{cyclesPart, rec.sumCycles}, {figuresPart, rec.sumFigures}, {symptomsPart, rec.sumSymptoms},
		{calibrationsPart, rec.sumCalibrations}, {machinePart, rec.sumMachine}, {interruptionsPart, rec.sumInterruptions}, {fieldsPart, rec.sumFields},
	} {
		s := newSumming()
		if err := errors.Join(p.fill(ctx, s), ctx.Err()); err != nil {
			return m, rec.fail("sum up", err)
		}
		m.Parts = append(m.Parts, s.part(p.name))
	}
	err := rec.sumCaptures(ctx, &m)
	return m, rec.fail("sum up", err)
}

func (rec *RunRecord) sumRun(_ context.Context, s *summing) error {
	var seed any
	if rec.Seed != nil {
		seed = *rec.Seed
	}
	return s.add(rec.UUID, rec.Unit, rec.By, rec.Sequence, rec.Rig, rec.Started, rec.Planned, seed, rec.Faults,
		rec.Program, rec.Notes, rec.Ended, rec.Gravest.Gravity(), rec.Complete, rec.Reason)
}

func sumText(text string) func(context.Context, *summing) error {
	return func(_ context.Context, s *summing) error { return s.add(text) }
}

func (rec *RunRecord) sumCycles(ctx context.Context, s *summing) error {
	for c, err := range rec.CycleInfos() {
		n := c.Counts
		if err = errors.Join(err, ctx.Err()); err == nil {
			err = s.add(c.N, c.Started, c.Verdict.Gravity(), c.Complete, n.MissedConversions, n.DoubledConversions, n.BusErrors, n.LostEdges, n.ChipResets, n.LostReadyEdges)
		}
		if err != nil {
			return err
		}
	}
	for _, c := range rec.Converters { // of a run from before this was kept there are none
		n := c.Counts
		if err := s.add(c.Converter, n.MissedConversions, n.DoubledConversions, n.BusErrors, n.ChipResets, n.LostReadyEdges); err != nil {
			return err
		}
	}
	return nil
}

func (rec *RunRecord) sumFigures(ctx context.Context, s *summing) error {
	for m, err := range rec.Measurements() {
		if err = errors.Join(err, ctx.Err()); err == nil {
			err = s.add(m.Cycle, m.Event, m.Signal, m.Quantity, m.Value, m.Expanded, m.Limit.Lower, m.Limit.Upper, m.Verdict.Gravity(), len(m.Doubts))
		}
		for _, d := range m.Doubts {
			err = errors.Join(err, s.add(d.Code, d.Value, d.Signal, d.Other, d.Text))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (rec *RunRecord) sumSymptoms(ctx context.Context, s *summing) error {
	for x, err := range rec.Symptoms() {
		if err = errors.Join(err, ctx.Err()); err == nil {
			err = s.add(x.Cycle, x.Event, x.Signal, x.Kind, x.Other, x.Value, x.Limit)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// each adds a line for each of some things that were read.
func each[T any](s *summing, read func() ([]T, error), line func(T) []any) error {
	all, err := read()
	for _, x := range all {
		err = errors.Join(err, s.add(line(x)...))
	}
	return err
}

func (rec *RunRecord) sumCalibrations(_ context.Context, s *summing) error {
	return each(s, rec.Calibrations, func(c capture.Calibration) []any {
		var seed any
		if c.Seed != nil {
			seed = *c.Seed
		}
		return []any{c.Since, c.Output, c.State, c.Judged, c.Meter, c.By, c.Made, c.Due, c.Rig, seed, c.Gain, c.Offset}
	})
}

func (rec *RunRecord) sumMachine(_ context.Context, s *summing) error {
	return each(s, rec.Machine, func(f capture.MachineFact) []any { return []any{f.After, f.At, f.Fact, f.Number, f.Text} })
}

func (rec *RunRecord) sumInterruptions(_ context.Context, s *summing) error {
	err := each(s, rec.Interruptions, func(i Interruption) []any { return []any{i.After, i.Stopped, i.Resumed, i.Reason, i.Program} })
	if err != nil {
		return err
	}
	return each(s, rec.endingRows, func(e endingRow) []any { return []any{e.seq, e.Code, e.Place, e.Other, e.Value} }) // older runs have none
}

func (rec *RunRecord) sumFields(_ context.Context, s *summing) error {
	return each(s, func() ([]Field, error) { return rec.Fields, nil }, func(f Field) []any { return []any{f.Name, f.Value} })
}

// sumCaptures adds a part for each capture that is kept, as its bytes are.
func (rec *RunRecord) sumCaptures(ctx context.Context, m *Manifest) error {
	spans, err := rec.Captured()
	if err != nil {
		return err
	}
	for _, s := range spans {
		for n := s.First; n <= s.Last; n++ {
			b, err := rec.Capture(n)
			if err = errors.Join(err, ctx.Err()); err != nil {
				return err
			}
			if b != nil { // a soak may have dropped it meanwhile
				m.Parts = append(m.Parts, Part{capturePart + strconv.Itoa(n), sha256.Sum256(b)})
			}
		}
	}
	return nil
}
