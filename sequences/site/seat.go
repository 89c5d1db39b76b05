package site

import (
	"cmp"
	"context"
	"errors"
	"html/template"
	"sync"
	"time"

	"makebreak/analyze/look"
	"makebreak/analyze/picture"
	"makebreak/rig/problem"
	"makebreak/rig/task"
	"makebreak/rig/words"
	"makebreak/sequences/exercise"
	"makebreak/sequences/journal"
	benchsheet "makebreak/sequences/sheet"
)

// A seat is one trainee at one bench: an exercise that was begun in a browser, and what the
// trainee has seen of it. One thing is done at a time.
type seat struct {
	of      *practice
	session *exercise.Session // used by whoever has begun to do something
	wiring  *picture.Wiring
	card    template.HTML
	lines   []benchsheet.Line
	told    []string // the wiring in words

	mu     sync.Mutex // guards what follows
	used   time.Time
	doing  exercise.Kind // what is being done; empty: nothing
	done   chan struct{} // closed when what is being done has been done
	wrong  string        // why the last thing could not be done
	seen   []sight       // oldest first
	tries  int
	spent  time.Duration
	may    []exercise.Allowed
	over   bool
	read   bool // the job card and the wiring
	danger int  // how often something dangerous was done
}

// sight is what a trainee has seen of one thing that was done.
type sight struct {
	*exercise.Result
	N    int
	What string // what was done
	Run  runSeen
}

// runSeen is what a run showed.
type runSeen struct{ Link, Verdict string }

// What one seat may do, and how long a page waits for that before it asks again.
const (
	mostActions = 200
	mostTries   = 60
	patience    = 8 * time.Second
	mostTime    = time.Hour // that one action may take, the wait for its turn included
)

// newSeat readies a seat for an exercise that has begun, with what has been done in it.
func newSeat(of *practice, x *exercise.Session, now time.Time) (*seat, error) {
	d := x.Definition()
	b := benchsheet.Bench(d.Rig, benchsheet.Relays(d.Rig, d.Sequence))
	b.Heading = "Wiring of the bench"
	card, err := look.Drawn(benchsheet.Card(d.Sequence).Inline)
	s := &seat{of: of, session: x, wiring: picture.NewWiring(b), card: card, lines: benchsheet.Lines(d.Sequence), told: benchsheet.Sentences(b), used: now}
	for _, r := range x.Past() {
		if r.Action.Kind == exercise.Try {
			s.tries++
		}
		s.saw(r, whatOf(r.Action))
	}
	s.stands()
	return s, err
}

// saw adds what was seen of one thing that was done.
func (s *seat) saw(r *exercise.Result, what string) {
	var run runSeen
	if r.Run != "" {
		run = s.of.runOf(r.Run)
	}
	s.seen = append(s.seen, sight{Result: r, N: len(s.seen) + 1, What: what, Run: run})
}

// stands takes over how the session stands.
func (s *seat) stands() {
	x := s.session
	s.spent, s.may, s.over, s.read, s.danger = x.Spent(), x.Allowed(), x.Answered(), x.Read(), x.Dangers()
}

var errDoing = errors.New("something else is being done at this bench; wait until it is done")

// act begins to do something, and waits for it for some time. The error says why it has not
// begun.
func (s *seat) act(ctx context.Context, a exercise.Action) error {
	s.mu.Lock()
	switch {
	case s.doing != "":
		s.mu.Unlock()
		return errDoing
	case len(s.seen) >= mostActions && a.Kind != exercise.Give:
		s.mu.Unlock()
		return errors.New("so much has been done at this bench that only an answer is left")
	case a.Kind == exercise.Try && s.tries >= mostTries:
		s.mu.Unlock()
		return errors.New("the sequence has been run so often at this bench that it may not be run again")
	case a.Kind == exercise.Try && !s.of.mayTry(cmp.Or(a.Cycles, s.session.Definition().Sequence.Cycles)):
		s.mu.Unlock()
		return errors.New("so many sequences have been run here that the log may not grow further; the trainer can start makebreak serve anew")
	}
	done := make(chan struct{})
	s.doing, s.done, s.wrong = a.Kind, done, ""
	if a.Kind == exercise.Try {
		s.tries++
	}
	s.mu.Unlock()
	task.Go(func() {
		defer close(done)
		s.do(a)
	})
	s.wait(ctx, done)
	return nil
}

// wait waits until something has been done, or the page must be answered.
func (s *seat) wait(ctx context.Context, done chan struct{}) {
	timer := time.NewTimer(patience)
	defer timer.Stop()
	select {
	case <-done:
	case <-timer.C:
	case <-ctx.Done():
	}
}

// do does something, in its turn.
func (s *seat) do(a exercise.Action) {
	ctx, cancel := context.WithTimeout(s.of.ctx, mostTime)
	defer cancel()
	var r *exercise.Result
	share, err := s.of.share, errBusy
	if a.Kind == exercise.Give {
		share = s.of.marking
	}
	if share.Begin(ctx) {
		r, err = s.session.Do(ctx, a, s.of.try)
		share.End()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.doing = ""
	if err != nil {
		s.wrong = s.of.whyNot(err)
	}
	if r == nil || err != nil && r.Run == "" {
		return
	}
	s.saw(r, whatOf(a))
	s.stands()
}

// whatOf says what was done.
func whatOf(a exercise.Action) string {
	if len(a.Answer) > 0 {
		return "Answer: " + answerWords(a.Answer)
	}
	return words.Capital(a.Words())
}

// whyNot says why something could not be done, without what is nobody's business.
func (p *practice) whyNot(err error) string {
	switch kind := problem.KindOf(err); {
	case errors.Is(err, journal.ErrAnswered):
		return "The exercise has been answered and is over."
	case errors.Is(err, errBusy), errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		return "There is too much to do here. Try again in some seconds."
	case kind == problem.Usage:
		return words.Capital(withoutPlace(err)) + "."
	}
	p.failed("exercise: %v", err)
	return "This could not be done. The program that serves this page says why."
}

// CostWords say what something cost at the bench.
func (s *sight) CostWords() string {
	if s.Cost == 0 {
		return ""
	}
	return exercise.BenchTime(s.Cost)
}
