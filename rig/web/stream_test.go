package web

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// ticking sends a line a second, and why it ends.
var ticking = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
	if r.URL.Path == "/short" {
		hello(w, r)
		return
	}
	Stream(w, r, func(ctx context.Context, more func() error) {
		say := func(text string) error {
			if err := more(); err != nil {
				return err
			}
			if _, err := io.WriteString(w, text+"\n"); err != nil {
				return err
			}
			return http.NewResponseController(w).Flush()
		}
		for say("tick") == nil {
			select {
			case <-ctx.Done():
				if errors.Is(context.Cause(ctx), ErrGaveWay) {
					_ = say("gave way")
				}
				return
			case <-time.After(time.Second):
			}
		}
	})
})

// listened opens a stream and returns the lines that come.
func listened(t *testing.T, p *pipes) (net.Conn, *bufio.Scanner) {
	t.Helper()
	c := p.dial()
	if _, err := io.WriteString(c, "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n"); err != nil {
		t.Error(err)
	}
	r, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		t.Fatal(err)
	}
	return c, bufio.NewScanner(r.Body)
}

// A stream goes on for longer than any other answer, until the client goes.
func TestStream(t *testing.T) {
	t.Parallel()
	onPipes(t, ticking, func(t *testing.T, p *pipes) {
		c, lines := listened(t, p)
		for n := range 600 {
			if !lines.Scan() || lines.Text() != "tick" {
				t.Fatalf("after %d s: %q, %v", n, lines.Text(), lines.Err())
			}
		}
		c.Close()
	})
}

// A hundred streams go on beside other requests. Who opens one more takes the oldest's place,
// and that is told.
func TestStream_GivesWay(t *testing.T) {
	t.Parallel()
	onPipes(t, ticking, func(t *testing.T, p *pipes) {
		ended := make(chan int, maxStreams+3)
		for n := range maxStreams + 3 {
			c, lines := listened(t, p)
			go func() {
				defer c.Close()
				last := ""
				for lines.Scan() {
					last = lines.Text()
				}
				if last != "gave way" && n < 3 {
					t.Errorf("stream %d was not told why it ended: %q", n, last)
				}
				ended <- n
			}()
			time.Sleep(time.Second)
		}
		synctest.Wait()
		for n := range 3 {
			if got := <-ended; got != n {
				t.Errorf("stream %d ended, want %d", got, n)
			}
		}
		c := p.dial()
		defer c.Close()
		io.WriteString(c, "GET /short HTTP/1.1\r\nHost: localhost\r\n\r\n")
		if r, err := http.ReadResponse(bufio.NewReader(c), nil); err != nil || r.StatusCode != http.StatusOK {
			t.Errorf("another request beside the streams: %v", err)
		}
		if len(ended) > 0 {
			t.Errorf("stream %d ended as well", <-ended)
		}
	})
}

// One who does not take what is sent is not waited for, and one who takes it slowly is.
func TestStream_Slow(t *testing.T) {
	t.Parallel()
	long := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		Stream(w, r, func(_ context.Context, more func() error) {
			for more() == nil {
				if _, err := io.WriteString(w, strings.Repeat("x", 1000)); err != nil || http.NewResponseController(w).Flush() != nil {
					return
				}
			}
		})
	})
	onPipes(t, long, func(t *testing.T, p *pipes) {
		c, lines := listened(t, p)
		lines.Buffer(nil, 1<<20)
		begun := time.Now()
		for b := make([]byte, 100); time.Since(begun) < time.Minute; time.Sleep(time.Second) {
			if _, err := c.Read(b); err != nil {
				t.Fatalf("after %v: %v", time.Since(begun), err)
			}
		}
		synctest.Wait()
		time.Sleep(writeTime + time.Second)
		synctest.Wait()
		if n := p.open.Load(); n != 0 {
			t.Error("the stream of one who reads no more goes on")
		}
		c.Close()
	})
}

// An answer that took long to make comes whole, and who does not take it is not waited for.
func TestReady(t *testing.T) {
	t.Parallel()
	late := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		select {
		case <-r.Context().Done():
			return
		case <-time.After(writeTime + readTime + time.Second):
		}
		Ready(w)
		hello(w, r)
	})
	onPipes(t, late, func(t *testing.T, p *pipes) {
		if r, err := ask(p.dial()); err != nil || r.StatusCode != http.StatusOK || r.ContentLength != int64(len("hello")) {
			t.Errorf("%+v, %v", r, err)
		}
		c := p.dial()
		defer c.Close()
		if _, err := io.WriteString(c, "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n"); err != nil {
			t.Error(err)
		}
		time.Sleep(2 * (writeTime + readTime + time.Second))
		synctest.Wait()
		if n := p.open.Load(); n != 0 {
			t.Errorf("%d connections are kept for one who reads nothing", n)
		}
	})
}

// However many streams are open, together they get so many messages a second.
func TestPause(t *testing.T) {
	t.Parallel()
	for _, n := range []int{1, 7, maxStreams} {
		var messages atomic.Int64
		h := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			Stream(w, r, func(ctx context.Context, more func() error) {
				for ; more() == nil && ctx.Err() == nil; Pause(ctx) {
					messages.Add(1)
					if _, err := io.WriteString(w, "tick\n"); err != nil || http.NewResponseController(w).Flush() != nil {
						return
					}
				}
			})
		})
		onPipes(t, h, func(t *testing.T, p *pipes) {
			for range n {
				c, lines := listened(t, p)
				defer c.Close()
				go func() {
					for lines.Scan() {
					}
				}()
			}
			time.Sleep(2 * streamPace * maxStreams) // all have paused with all others there
			before := messages.Load()
			const long = time.Minute
			time.Sleep(long)
			if got, want := messages.Load()-before, int64(long/streamPace); got < want*9/10 || got > want*11/10 {
				t.Errorf("%d streams: %d messages in %v, want %d", n, got, long, want)
			}
		})
	}
}
