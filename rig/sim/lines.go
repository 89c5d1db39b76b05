package sim

import (
	"context"
	"fmt"
	"os"
	"strings"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/problem"
)

// Request is one line wanted and what for.
type Request = line.Request

// lineSet is the rig's lines as the program holds them.
type lineSet struct {
	w      *World
	lines  []heldLine
	edges  []line.Edge // waiting to be read
	closed bool
}

type heldLine struct {
	name  string
	role  line.Role
	index int32 // of the contact, reference, drive or chip
	seq   uint32
}

var _ line.Set = (*lineSet)(nil)

// driveTakes is how long it takes to set a drive, between the two readings of
// the clock that tell the instant.
const driveTakes = int64(4 * time.Microsecond)

// Lines asks for lines; a line's index in the requests is its index everywhere
// in the set. Lines are held by one set at a time: Close gives them back.
func (w *World) Lines(reqs []Request) (line.Set, error) {
	if w.lines != nil && !w.lines.closed {
		return nil, problem.New(problem.Internal, "the lines are in use: close the set that holds them first")
	}
	s := &lineSet{w: w}
	for i, r := range reqs {
		index, err := w.find(r)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", i, err)
		}
		s.lines = append(s.lines, heldLine{name: r.Line.Name, role: r.Role, index: index})
	}
	w.lines = s
	for i, l := range s.lines {
		w.attach(l, i)
	}
	w.schedule()
	return s, nil
}

// attach tells whatever stands behind a line where it reports to.
func (w *World) attach(l heldLine, at int) {
	switch l.role {
	case line.Contact:
		w.contacts[l.index].line = at
	case line.Reference:
		w.references[l.index].line = at
	case line.Ready:
		w.chips[l.index].line = at
		w.refresh(w.chips[l.index])
	}
}

// find returns the index of what stands behind a line: by its name, or by where
// it is wired, as a converter's ready line has no name.
func (w *World) find(r Request) (int32, error) {
	var all []line.Line
	switch r.Role {
	case line.Contact:
		all = w.rig.Contacts
	case line.Reference:
		all = w.rig.References
	case line.Drive:
		for _, d := range w.rig.Drives {
			all = append(all, d.Line)
		}
	case line.Ready:
		for i, c := range w.chips {
			if c.ready != nil && sameLine(*c.ready, r.Line) {
				return int32(i), nil
			}
		}
		return 0, fmt.Errorf("no chip of the rig has its ready pin on %s", place(r.Line))
	default:
		return 0, fmt.Errorf("role %d is not known", r.Role)
	}
	var names []string
	for i, l := range all {
		if sameLine(l, r.Line) {
			return int32(i), nil
		}
		names = append(names, l.Name)
	}
	return 0, fmt.Errorf("the rig has no %s %s; it has: %s", r.Role, place(r.Line), strings.Join(names, ", "))
}

func sameLine(a, b line.Line) bool {
	if a.Name != "" || b.Name != "" {
		return a.Name == b.Name
	}
	return a.Chip == b.Chip && a.Number == b.Number && a.LineName == b.LineName
}

func place(l line.Line) string {
	switch {
	case l.Name != "":
		return l.Name
	case l.LineName != "":
		return l.LineName
	}
	return fmt.Sprintf("%s line %d", l.Chip, l.Number)
}

// queue puts an edge where Edges finds it.
func (s *lineSet) queue(index int, at int64, active bool) {
	l := &s.lines[index]
	l.seq++
	s.edges = append(s.edges, line.Edge{Line: index, At: capture.Instant(at), Active: active, Seq: l.seq})
}

// skip loses an edge: its number is used up.
func (s *lineSet) skip(index int) { s.lines[index].seq++ }

func (s *lineSet) Now() capture.Instant { return s.w.Now() }

func (s *lineSet) Wait(ctx context.Context, deadline capture.Instant) error {
	if s.closed {
		return s.gone()
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if s.w.real != nil {
		return s.waitReal(ctx, int64(deadline))
	}
	w := s.w
	w.listen()
	for n := 1; len(s.edges) == 0 && w.now < int64(deadline); n++ {
		if w.due > int64(deadline) || w.due == never {
			w.now = int64(deadline)
			break
		}
		w.run(w.due)
		if n%lookEvery == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
	}
	return nil
}

// lookEvery is after how many happenings that bring no edge a wait looks at its context again.
const lookEvery = 1000

// Edges takes an empty buffer in exchange for the one in which the edges wait: nearly always
// there is one edge, and copying it takes longer.
func (s *lineSet) Edges(buf []line.Edge) ([]line.Edge, error) {
	if s.closed {
		return buf, s.gone()
	}
	if len(buf) == 0 && cap(buf) > 0 {
		s.edges, buf = buf, s.edges
		return buf, nil
	}
	buf = append(buf, s.edges...)
	s.edges = s.edges[:0]
	return buf, nil
}

func (s *lineSet) Active(index int) (bool, error) {
	l, err := s.line(index)
	if err != nil {
		return false, err
	}
	w := s.w
	w.listen()
	switch l.role {
	case line.Contact:
		return w.contacts[l.index].closed, nil
	case line.Reference:
		r := w.references[l.index]
		return r.active != r.inverted, nil
	case line.Drive:
		return w.drives[l.index].active, nil
	}
	return w.chips[l.index].asserted(w.now), nil
}

func (s *lineSet) Drive(index int, active bool) (at capture.Instant, within int64, err error) {
	l, err := s.line(index)
	if err != nil {
		return 0, 0, err
	}
	if l.role != line.Drive {
		return 0, 0, fmt.Errorf("line %s is a %s and cannot be driven", l.name, l.role)
	}
	w := s.w
	w.listen()
	begin := w.now
	w.AdvanceTo(capture.Instant(begin + w.bench.Int64N(driveTakes+1)))
	w.setDrive(w.drives[l.index], active)
	w.AdvanceTo(capture.Instant(begin + driveTakes))
	return capture.Instant(begin + driveTakes/2), driveTakes / 2, nil
}

// Release is applied by the world as soon as it takes its next step, and by Close at the
// latest, because it may be called from any goroutine. Real lines are released when it
// returns. A lock over the world would do that here too, but the program comes in some
// eight times a sample, and locking each time made a sample take some 40 % longer
// (rig/bench.BenchmarkLimit). Nothing can be hurt meanwhile: the world's time stands still.
func (s *lineSet) Release() error {
	s.w.ask(request{release: true})
	return nil
}

func (s *lineSet) Close() error {
	if s.closed {
		return nil
	}
	w := s.w
	w.releaseDrives()
	w.restSupply()
	w.AdvanceTo(capture.Instant(w.now + referenceLag))
	s.closed = true
	for _, c := range w.contacts {
		c.line = -1
	}
	for _, r := range w.references {
		r.line = -1
	}
	for _, c := range w.chips {
		c.line = -1
		w.refresh(c)
	}
	w.schedule()
	w.truth.begin("", w.now)
	return nil
}

func (s *lineSet) line(index int) (*heldLine, error) {
	if s.closed {
		return nil, s.gone()
	}
	if index < 0 || index >= len(s.lines) {
		return nil, fmt.Errorf("line %d: the set has %d", index, len(s.lines))
	}
	return &s.lines[index], nil
}

func (s *lineSet) gone() error { return fmt.Errorf("lines: %w", os.ErrClosed) }
