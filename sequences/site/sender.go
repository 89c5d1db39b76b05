package site

import (
	"context"
	"errors"
	"io"
	"iter"

	"makebreak/analyze"
	"makebreak/rig/web"
	"makebreak/sequences/journal"
)

// parts are how much of a long record is done at a time.
type parts struct {
	cycles int // whose figures are read
	bytes  int // that are made before they are sent
}

var usual = parts{cycles: 50, bytes: 64 << 10}

var errClient = errors.New("the client does not take the answer")

// A sender sends what is made in pieces. While one is sent, which takes as long as the client
// likes, others have their turn.
type sender struct {
	w     io.Writer
	ctx   context.Context
	more  func() error
	turn  *turn
	most  int // bytes in a piece
	piece []byte
}

// A turn is one's of a share, or has ended.
type turn struct {
	share *web.Share
	has   bool
}

// end ends it where that has not been done.
func (t *turn) end() {
	if t.has {
		t.share.End()
	}
	t.has = false
}

// goOn waits for another; false: the client has gone.
func (t *turn) goOn(ctx context.Context) bool {
	t.has = t.share.GoOn(ctx)
	return t.has
}

// Write implements io.Writer.
func (s *sender) Write(p []byte) (int, error) {
	s.piece = append(s.piece, p...)
	if len(s.piece) < s.most {
		return len(p), nil
	}
	if err := s.flush(); err != nil {
		return 0, err
	}
	if !s.turn.goOn(s.ctx) {
		return 0, errClient
	}
	return len(p), nil
}

// flush sends what has been made, without a turn from then on.
func (s *sender) flush() error {
	s.turn.end()
	if s.more() != nil {
		return errClient
	}
	if _, err := s.w.Write(s.piece); err != nil {
		return errClient
	}
	s.piece = s.piece[:0]
	return nil
}

// inParts streams a run's figures and reads those of so many cycles at a time. The log is not
// read while they are taken: a client may be slow, and a reader keeps what was written ahead
// from being brought into the log.
func inParts(rec *journal.RunRecord, cycles int) iter.Seq2[analyze.Measurement, error] {
	return func(yield func(analyze.Measurement, error) bool) {
		last, err := rec.Last()
		if err != nil {
			yield(analyze.Measurement{}, err)
			return
		}
		var part []analyze.Measurement
		for first := 1; first <= last; first += cycles {
			part = part[:0]
			for m, err := range rec.MeasurementsIn(analyze.Cycles{First: first, Last: first + cycles - 1}) {
				if err != nil {
					yield(m, err)
					return
				}
				part = append(part, m)
			}
			for _, m := range part {
				if !yield(m, nil) {
					return
				}
			}
		}
	}
}
