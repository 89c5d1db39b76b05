package web

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"net/http"
	"sync"
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
	share *Share
	mu    sync.Mutex
	known map[[sha256.Size]byte]struct{}
}

func newLogins() *logins {
	l := &logins{key: make([]byte, 32), share: NewShare(loginShare, maxLogins), known: map[[sha256.Size]byte]struct{}{}}
	_, _ = rand.Read(l.key) // it never fails
	return l
}

// A checking is a request whose credentials are being checked.
type checking struct {
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
		c := &checking{sum: sum}
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
// client has gone. Credentials that were accepted meanwhile do not rest: their check is done.
func (l *logins) begin(ctx context.Context, sum [sha256.Size]byte) bool {
	return !l.share.full() && l.share.take(ctx, func() bool { return l.isKnown(sum) })
}

// end gives the turn to the next.
func (l *logins) end(c *checking, accepted bool) {
	c.ended.Do(func() {
		if accepted {
			l.remember(c.sum)
		}
		l.share.End()
	})
}

// remember keeps credentials, in the place of any others where there is no room.
func (l *logins) remember(sum [sha256.Size]byte) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.known) >= maxKnown {
		for other := range l.known {
			delete(l.known, other)
			break
		}
	}
	l.known[sum] = struct{}{}
}
