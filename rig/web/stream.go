package web

import (
	"context"
	"errors"
	"net/http"
	"sync"
	"time"
)

// maxStreams is how many streams are open at once. Connections for other requests come on top.
const maxStreams = 100

// ErrGaveWay ends the oldest stream where a new one has no place: who opens a page now looks
// at it, and a page that was left open somewhere may not be looked at any more.
var ErrGaveWay = errors.New("too many pages are open: the oldest gave way")

// streams are the answers that go on, the oldest first.
type streams struct {
	most int
	mu   sync.Mutex
	open []*streaming
}

type streaming struct{ end context.CancelCauseFunc }

type streamsKey struct{}

// Stream lets an answer go on for as long as the client takes what is sent to it. Send writes
// it and ends with its context, whose cause may be ErrGaveWay. Before each message it calls
// more, which gives the client time to take that message; its error says that it cannot.
func Stream(w http.ResponseWriter, r *http.Request, send func(ctx context.Context, more func() error)) {
	ctx, end := context.WithCancelCause(r.Context())
	defer end(nil)
	if all, ok := ctx.Value(streamsKey{}).(*streams); ok {
		defer all.begin(end)()
	}
	control := http.NewResponseController(w)
	_ = control.SetReadDeadline(time.Time{}) // where it fails, so does more
	send(ctx, func() error {
		if err := control.SetWriteDeadline(time.Now().Add(writeTime)); !errors.Is(err, http.ErrNotSupported) {
			return err
		}
		return nil
	})
}

// streamPace is how long a stream pauses after a message for each one that is open: together
// they get 50 messages a second.
const streamPace = 20 * time.Millisecond

// Pause waits for as long as a stream does after a message, or until the context ends that
// Stream gave.
func Pause(ctx context.Context) {
	all, ok := ctx.Value(streamsKey{}).(*streams)
	if !ok {
		return
	}
	all.mu.Lock()
	wait := time.NewTimer(streamPace * time.Duration(len(all.open)))
	all.mu.Unlock()
	defer wait.Stop()
	select {
	case <-wait.C:
	case <-ctx.Done():
	}
}

// Ready gives the client the time to take an answer that it would have had if making it had
// taken none.
func Ready(w http.ResponseWriter) {
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(writeTime)) // where it fails, so does writing
}

// begin gives a stream a place, which the oldest gives up where there is none.
func (s *streams) begin(end context.CancelCauseFunc) (leave func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.open) >= s.most {
		s.open[0].end(ErrGaveWay)
		s.open = s.open[1:]
	}
	own := &streaming{end}
	s.open = append(s.open, own)
	return func() { s.leave(own) }
}

func (s *streams) leave(own *streaming) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i, x := range s.open {
		if x == own {
			s.open = append(s.open[:i:i], s.open[i+1:]...)
			return
		}
	}
}
