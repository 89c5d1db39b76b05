package web

import (
	"context"
	"crypto/tls"
	"net"
	"net/http"
	"sync"

	"golang.org/x/time/rate"
)

// A room is a listener with room for so many connections. A new one takes the place of the
// one that has been without a request under way for longest; where each has one, it waits
// until one is answered.
type room struct {
	net.Listener
	pace   *rate.Limiter
	ctx    context.Context // ends the waiting
	leave  context.CancelFunc
	most   int
	mu     sync.Mutex
	freed  *sync.Cond // a place is free, or one is without a request, or all ends
	places map[*place]struct{}
	turn   uint64 // counts what happens, so that it is known what was first
}

// A place is a connection in a room.
type place struct {
	net.Conn
	room    *room
	busy    bool   // a request is being answered
	resting uint64 // the turn since when there has been none
}

func newRoom(l net.Listener, most int) *room {
	r := &room{Listener: l, most: most, places: map[*place]struct{}{}, pace: rate.NewLimiter(connectionRate, connectionBurst)}
	r.freed = sync.NewCond(&r.mu)
	ctx, cancel := context.WithCancel(context.Background())
	r.ctx, r.leave = ctx, func() {
		cancel()
		r.mu.Lock()
		defer r.mu.Unlock()
		r.freed.Broadcast()
	}
	return r
}

// Accept implements net.Listener.
func (r *room) Accept() (net.Conn, error) {
	if r.pace.Wait(r.ctx) != nil {
		return nil, net.ErrClosed
	}
	c, err := r.Listener.Accept()
	if err != nil {
		return nil, err
	}
	p := &place{Conn: c, room: r}
	if !r.admit(p) {
		c.Close()
		return nil, net.ErrClosed
	}
	return p, nil
}

// Close implements net.Listener.
func (r *room) Close() error {
	r.leave()
	return r.Listener.Close()
}

// admit gives a connection its place; false: the room is closed.
func (r *room) admit(p *place) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	for len(r.places) >= r.most {
		if longest := r.longestResting(); longest != nil {
			delete(r.places, longest)
			longest.Conn.Close()
			continue
		}
		if r.ctx.Err() != nil {
			return false
		}
		r.freed.Wait()
	}
	r.places[p] = struct{}{}
	r.rest(p)
	return r.ctx.Err() == nil
}

// longestResting is who has been without a request for longest; nil: each has one.
func (r *room) longestResting() (longest *place) {
	for p := range r.places {
		if !p.busy && (longest == nil || p.resting < longest.resting) {
			longest = p
		}
	}
	return longest
}

func (r *room) rest(p *place) {
	r.turn++
	p.busy, p.resting = false, r.turn
	r.freed.Signal()
}

// Close implements net.Conn.
func (p *place) Close() error {
	p.room.mu.Lock()
	delete(p.room.places, p)
	p.room.freed.Signal()
	p.room.mu.Unlock()
	return p.Conn.Close()
}

func (p *place) serving(busy bool) {
	p.room.mu.Lock()
	defer p.room.mu.Unlock()
	if busy {
		p.busy = true
		return
	}
	p.room.rest(p)
}

type placeKey struct{}

// withPlace keeps a request's connection in its context.
func withPlace(ctx context.Context, c net.Conn) context.Context {
	if t, ok := c.(*tls.Conn); ok {
		c = t.NetConn()
	}
	return context.WithValue(ctx, placeKey{}, c)
}

// seated has a connection keep its place while a request of it is answered.
func seated(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if p, ok := r.Context().Value(placeKey{}).(*place); ok {
			p.serving(true)
			defer p.serving(false)
		}
		h.ServeHTTP(w, r)
	})
}
