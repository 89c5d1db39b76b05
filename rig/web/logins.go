package web

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"net/http"
	"sync"
	"time"
)

// What checks of passwords may cost. They are slow on purpose, and whoever guesses must not
// take the processor from sampling.
const (
	loginShare = 10  // of a processor's time, checks take one part in so many
	maxLogins  = 16  // that wait for their check; more are refused
	maxKnown   = 256 // credentials that are remembered as accepted
)

// logins let credentials that were accepted before pass, and others one at a time.
type logins struct {
	key   []byte // of the sums by which credentials are remembered
	turn  chan struct{}
	mu    sync.Mutex
	known map[[sha256.Size]byte]struct{}
	wait  int       // that wait
	rest  time.Time // before which no check begins
}

func newLogins() *logins {
	l := &logins{key: make([]byte, 32), turn: make(chan struct{}, 1), known: map[[sha256.Size]byte]struct{}{}}
	_, _ = rand.Read(l.key) // it never fails
	return l
}

// A checking is a request whose credentials are being checked.
type checking struct {
	begun time.Time
	sum   [sha256.Size]byte
	ended sync.Once
}

type checkingKey struct{}

// gate lets requests come to a handler that checks their credentials.
func (l *logins) gate(check http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		credentials := r.Header.Get("Authorization")
		if credentials == "" {
			check.ServeHTTP(w, r) // which refuses it without a check, or needs none
			return
		}
		sum := l.sum(credentials)
		if l.isKnown(sum) {
			check.ServeHTTP(w, r)
			return
		}
		if !l.begin(r.Context(), sum) {
			w.Header().Set("Retry-After", "10")
			refuse(w, http.StatusTooManyRequests, "too many logins are being checked")
			return
		}
		c := &checking{begun: time.Now(), sum: sum}
		defer l.end(c, false)
		check.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), checkingKey{}, c)))
	})
}

// accepted is what requests come to whose credentials were accepted.
func (l *logins) accepted(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if c, ok := r.Context().Value(checkingKey{}).(*checking); ok {
			l.end(c, true)
		}
		h.ServeHTTP(w, r)
	})
}

func (l *logins) sum(credentials string) (sum [sha256.Size]byte) {
	m := hmac.New(sha256.New, l.key)
	m.Write([]byte(credentials))
	return [sha256.Size]byte(m.Sum(nil))
}

func (l *logins) isKnown(sum [sha256.Size]byte) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	_, known := l.known[sum]
	return known
}

// begin waits for the turn of credentials that are not known. False: too many wait, or the
// client has gone. One that waited while the same credentials were accepted has no check left.
func (l *logins) begin(ctx context.Context, sum [sha256.Size]byte) bool {
	l.mu.Lock()
	full := l.wait >= maxLogins
	if !full {
		l.wait++
	}
	l.mu.Unlock()
	if full {
		return false
	}
	defer func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		l.wait--
	}()
	select {
	case l.turn <- struct{}{}:
	case <-ctx.Done():
		return false
	}
	if l.isKnown(sum) || l.rested(ctx) {
		return true
	}
	<-l.turn
	return false
}

// rested waits until a check may begin; false: the client has gone.
func (l *logins) rested(ctx context.Context) bool {
	l.mu.Lock()
	rest := time.Until(l.rest)
	l.mu.Unlock()
	if rest <= 0 {
		return true
	}
	wait := time.NewTimer(rest)
	defer wait.Stop()
	select {
	case <-wait.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// end gives the turn to the next.
func (l *logins) end(c *checking, accepted bool) {
	c.ended.Do(func() {
		took := time.Since(c.begun)
		l.mu.Lock()
		defer l.mu.Unlock()
		l.rest = time.Now().Add((loginShare - 1) * took)
		if accepted {
			l.remember(c.sum)
		}
		<-l.turn
	})
}

// remember keeps credentials, in the place of any others where there is no room.
func (l *logins) remember(sum [sha256.Size]byte) {
	if len(l.known) >= maxKnown {
		for other := range l.known {
			delete(l.known, other)
			break
		}
	}
	l.known[sum] = struct{}{}
}
