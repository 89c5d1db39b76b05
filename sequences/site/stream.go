package site

import (
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/tmaxmax/go-sse"

	"makebreak/rig/web"
)

// alive is after how long without news a stream says that it is still there, so that both
// ends notice when the other has gone.
const alive = 15 * time.Second

// The pieces that the site sends itself: a word to the reader, and the end of the stream,
// after which a browser does not ask again.
const (
	noticePiece = "notice"
	closePiece  = "close"
)

// gaveWay is what a page says that is not kept up to date any more.
const gaveWay = "Too many pages are open: this one, the oldest, is no longer kept up to date. Reload it to go on."

// stream sends what happens now for as long as the client listens.
func (s *Site) stream(w http.ResponseWriter, r *http.Request) {
	web.Stream(w, r, func(ctx context.Context, more func() error) {
		session, err := sse.Upgrade(w, r)
		if err != nil {
			s.tell(w, http.StatusInternalServerError, "This server cannot keep the page up to date.")
			return
		}
		send := func(pieces ...Piece) error { return sendPieces(session, more, pieces) }
		for number := uint64(0); ; {
			pieces, next, err := s.changes(ctx, number, unitAt(r))
			switch {
			case errors.Is(context.Cause(ctx), web.ErrGaveWay):
				_ = send(Piece{noticePiece, gaveWay}, Piece{closePiece, ""}) // the client may have gone as well
				return
			case err != nil || send(pieces...) != nil:
				return
			}
			number = next
			web.Pause(ctx)
		}
	})
}

// changes waits for what has changed, for some time.
func (s *Site) changes(ctx context.Context, since uint64, of string) ([]Piece, uint64, error) {
	wait, cancel := context.WithTimeout(ctx, alive)
	defer cancel()
	pieces, number, err := s.opts.Now.Changes(wait, since, of)
	if err != nil && ctx.Err() == nil && wait.Err() != nil {
		return nil, since, nil
	}
	return pieces, number, err
}

// sendPieces sends pieces, or a sign of life where there are none.
func sendPieces(session *sse.Session, more func() error, pieces []Piece) error {
	if err := more(); err != nil {
		return err
	}
	if len(pieces) == 0 {
		m := &sse.Message{}
		m.AppendComment("")
		if err := session.Send(m); err != nil {
			return err
		}
	}
	for _, p := range pieces {
		m := &sse.Message{Type: sse.Type(p.Name)}
		m.AppendData(p.HTML)
		if err := session.Send(m); err != nil {
			return err
		}
	}
	return session.Flush()
}
