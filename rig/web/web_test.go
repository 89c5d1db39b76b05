package web

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"makebreak/rig/problem"
)

// pipes is a network without a kernel, so that its time is the test's own.
type pipes struct {
	ends  chan net.Conn
	done  chan struct{}
	close sync.Once
	open  atomic.Int64 // connections that the server holds
	most  atomic.Int64 // it has held at once
}

// held is a connection that the server holds.
type held struct {
	net.Conn
	of   *pipes
	once sync.Once
}

func (h *held) Close() error {
	h.once.Do(func() { h.of.open.Add(-1) })
	return h.Conn.Close()
}

func newPipes() *pipes { return &pipes{ends: make(chan net.Conn), done: make(chan struct{})} }

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-p.ends:
		n := p.open.Add(1)
		p.most.Store(max(n, p.most.Load()))
		return &held{Conn: c, of: p}, nil
	case <-p.done:
		return nil, net.ErrClosed
	}
}

func (p *pipes) Close() error   { p.close.Do(func() { close(p.done) }); return nil }
func (p *pipes) Addr() net.Addr { return &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 9110} }

// dial connects to the server; to one that has ended it gives a connection that is closed.
func (p *pipes) dial() net.Conn {
	ours, theirs := net.Pipe()
	select {
	case p.ends <- theirs:
	case <-p.done:
		theirs.Close()
	}
	return ours
}

// ask writes a request and reads the answer.
func ask(c net.Conn) (*http.Response, error) {
	if _, err := io.WriteString(c, "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n"); err != nil {
		return nil, err
	}
	r, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		return nil, err
	}
	_, err = io.Copy(io.Discard, r.Body)
	return r, errors.Join(err, r.Body.Close())
}

// maxPlaces is how many connections there are at most.
const maxPlaces = maxConnections + maxStreams

// ended reads until the server has ended a connection.
func ended(c net.Conn) { _, _ = io.Copy(io.Discard, c) }

var hello = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "hello") })

// started serves a handler on pipes, without a name that must be asked for.
func started(t *testing.T, p *pipes, h http.Handler, failed func(error)) *Server {
	t.Helper()
	s, err := serve(p, Access{}, func(h http.Handler) http.Handler { return guarded(h, nil, nil, failed) }, h, failed)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// onPipes serves a handler on pipes in a bubble of its own time.
func onPipes(t *testing.T, h http.Handler, test func(t *testing.T, p *pipes)) {
	synctest.Test(t, func(t *testing.T) {
		p := newPipes()
		failed := func(err error) { t.Error(err) }
		s := started(t, p, h, failed)
		test(t, p)
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		synctest.Wait()
		if n := p.open.Load(); n != 0 {
			t.Errorf("%d connections are left", n)
		}
	})
}

// Of thousands that rest a few are kept; who comes new is answered, and rests until the time is up.
func TestServe_Idle(t *testing.T) {
	t.Parallel()
	for name, asks := range map[string]bool{"after an answer": true, "before a request": false} {
		t.Run(name, func(t *testing.T) {
			onPipes(t, hello, func(t *testing.T, p *pipes) {
				var all []net.Conn
				for range 3000 {
					c := p.dial()
					if all = append(all, c); asks {
						if _, err := ask(c); err != nil {
							t.Fatal(err)
						}
					}
				}
				synctest.Wait()
				if n := p.open.Load(); n != maxPlaces {
					t.Errorf("%d connections are open, want %d", n, maxPlaces)
				}
				if n := p.most.Load(); n > maxPlaces+1 { // the one that has come and has no place yet
					t.Errorf("%d connections were open at once", n)
				}
				c := p.dial()
				if r, err := ask(c); err != nil || r.StatusCode != http.StatusOK {
					t.Errorf("one who comes new: %v", err)
				}
				for _, c := range append(all, c) {
					ended(c)
				}
				if n := p.open.Load(); n != 0 {
					t.Errorf("%d connections are open after the idle time", n)
				}
			})
		})
	}
}

// One that is being answered keeps its place; one who comes new waits for the first that is.
func TestServe_Busy(t *testing.T) {
	t.Parallel()
	answer := make(chan struct{})
	var begun atomic.Int64
	wait := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if begun.Add(1) <= maxPlaces {
			<-answer
		}
		hello(w, r)
	})
	synctest.Test(t, func(t *testing.T) {
		answer = make(chan struct{}) // of this bubble
		p := newPipes()
		s := started(t, p, wait, nil)
		results := make(chan error)
		one := func() {
			_, err := ask(p.dial())
			results <- err
		}
		for range maxPlaces {
			go one()
		}
		synctest.Wait()
		time.Sleep(maxPlaces * time.Second / requestRate) // all have had their turn
		go one()
		synctest.Wait()
		if n := begun.Load(); n != maxPlaces {
			t.Errorf("%d answers have begun, want %d", n, maxPlaces)
		}
		close(answer)
		for range maxPlaces + 1 {
			if err := <-results; err != nil {
				t.Error(err)
			}
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
}

// Twenty clients without a pause are answered as often as one should be, each alike.
func TestServe_Pace(t *testing.T) {
	t.Parallel()
	const clients, seconds = 20, 60
	var answers [clients]int
	onPipes(t, hello, func(t *testing.T, p *pipes) {
		end := time.Now().Add(seconds * time.Second)
		var wg sync.WaitGroup
		for i := range clients {
			wg.Go(func() {
				for c := p.dial(); time.Now().Before(end); answers[i]++ {
					if _, err := ask(c); err != nil {
						t.Error(err)
						return
					}
				}
			})
		}
		wg.Wait()
	})
	sum := 0
	for _, n := range answers {
		if sum += n; n < seconds*requestRate/clients/2 {
			t.Errorf("a client had %d answers", n)
		}
	}
	if most := requestBurst + seconds*requestRate + clients; sum > most {
		t.Errorf("%d answers, want at most %d", sum, most)
	}
}

// However slow a client is, and whatever it sends, its connection ends.
func TestServe_Slow(t *testing.T) {
	t.Parallel()
	long := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, strings.Repeat("x", 1<<20)) })
	slowly := func(c net.Conn, text string) {
		for i := range text {
			if _, err := io.WriteString(c, text[i:i+1]); err != nil {
				return
			}
			time.Sleep(time.Second)
		}
	}
	for name, client := range map[string]func(c net.Conn){
		"writes the header slowly": func(c net.Conn) { slowly(c, "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n") },
		"writes the body slowly": func(c net.Conn) {
			io.WriteString(c, "GET / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100\r\n\r\n")
			slowly(c, strings.Repeat("x", 100))
		},
		"never reads": func(c net.Conn) {
			io.WriteString(c, "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
			time.Sleep(time.Hour)
		},
		"reads slowly": func(c net.Conn) {
			io.WriteString(c, "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
			for b := make([]byte, 1); ; time.Sleep(time.Second) {
				if _, err := c.Read(b); err != nil {
					return
				}
			}
		},
		"sends a huge header": func(c net.Conn) {
			go ended(c)
			io.WriteString(c, "GET / HTTP/1.1\r\nHost: localhost\r\nX: "+strings.Repeat("x", 1<<20))
		},
		"sends a huge body": func(c net.Conn) {
			go ended(c)
			fmt.Fprintf(c, "POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: %d\r\n\r\n", 1<<30)
			for err := error(nil); err == nil; {
				_, err = c.Write(make([]byte, 1<<16))
			}
		},
		"says nothing": func(net.Conn) { time.Sleep(time.Hour) },
	} {
		t.Run(name, func(t *testing.T) {
			onPipes(t, long, func(t *testing.T, p *pipes) {
				c := p.dial()
				client(c)
				ended(c)
				if n := p.open.Load(); n != 0 {
					t.Error("the connection is still open")
				}
			})
		})
	}
}

// Close ends what waits for its turn and what will not end by itself.
func TestServe_CloseBusy(t *testing.T) {
	t.Parallel()
	long := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, strings.Repeat("x", 1<<20)) })
	synctest.Test(t, func(t *testing.T) {
		p := newPipes()
		s := started(t, p, long, func(err error) { t.Error(err) })
		for range maxPlaces + 3 { // more than have a place, more than have a turn at once
			go func() {
				io.WriteString(p.dial(), "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
			}()
		}
		synctest.Wait()
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		synctest.Wait()
		if n := p.open.Load(); n != 0 {
			t.Errorf("%d connections are left", n)
		}
	})
}

// A handler's panic is told and ends nothing else.
func TestServe_Panic(t *testing.T) {
	t.Parallel()
	var told error
	h := guarded(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic("odd") }), nil, nil, func(err error) { told = err })
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", "http://localhost/", nil))
	if w.Code != http.StatusInternalServerError || told == nil || !strings.Contains(told.Error(), "odd") {
		t.Errorf("status %d, told %v", w.Code, told)
	}
}

// Requests only read, and say to whom they speak; each answer forbids a browser what it need not do.
func TestGuarded(t *testing.T) {
	t.Parallel()
	h := guarded(hello, nil, nil, nil)
	for _, c := range []struct {
		method, url string
		want        int
	}{
		{"GET", "http://localhost/", 200}, {"HEAD", "http://localhost:1/", 200},
		{"POST", "http://localhost/", 405}, {"PUT", "http://localhost/", 405}, {"DELETE", "http://localhost/none", 405},
		{"OPTIONS", "http://localhost/", 405}, {"TRACE", "http://localhost/", 405}, {"get", "http://localhost/", 405},
		{"GET", "http://elsewhere.example/", 421}, {"POST", "http://elsewhere.example/", 421},
	} {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(c.method, c.url, nil))
		if w.Code != c.want {
			t.Errorf("%s %s: %d, want %d", c.method, c.url, w.Code, c.want)
		}
		if w.Code == 405 && w.Header().Get("Allow") != "GET, HEAD" {
			t.Errorf("%s: allowed is %q", c.method, w.Header().Get("Allow"))
		}
		for name, value := range headers {
			if got := w.Header().Get(name); got != value {
				t.Errorf("%s %s: %s is %q, want %q", c.method, c.url, name, got, value)
			}
		}
	}
}

// A browser that was led here under a name of elsewhere says so.
func TestHosts(t *testing.T) {
	t.Parallel()
	own := append(ownNames("192.0.2.7:9110", "[::]:9110"), withDomains("Bench-2.workshop.example", []string{"lan"})...)
	local := &net.TCPAddr{IP: net.ParseIP("198.51.100.4"), Port: 9110}
	for host, want := range map[string]bool{
		"localhost": true, "LOCALHOST:80": true, "localhost.:9110": true, "a.localhost": true, "127.0.0.1": true, "127.8.9.1:1": true,
		"[::1]:9110": true, "[::1]": true, "[::ffff:127.0.0.1]:80": true, "[::]:9110": true, "192.0.2.7": true, "192.0.2.7:1": true,
		"198.51.100.4:9110": true, "[::ffff:198.51.100.4]:1": true, "bench-2": true, "BENCH-2.local:80": true, "bench-2.workshop.example": true, "bench-2.lan": true,
		"": false, ":9110": false, "elsewhere.example": false, "localhost.elsewhere.example": false, "bench-2.elsewhere.example": false, "bench-20": false,
		"192.0.2.8": false, "127.0.0.1.elsewhere.example:9110": false, "198.51.100.5": false, "[2001:db8::1]": false, "mylocalhost": false, "0x7f000001": false,
	} {
		r := httptest.NewRequest("GET", "/", nil)
		r.Host = host
		if got := own.has(r.WithContext(context.WithValue(r.Context(), http.LocalAddrContextKey, local))); got != want {
			t.Errorf("%q: own %t, want %t", host, got, want)
		}
	}
}

// The domains that a resolver searches.
func TestSearched(t *testing.T) {
	t.Parallel()
	text := "# search no.example\nnameserver 192.0.2.1\nsearch lan Workshop.Example.\ndomain home.arpa\nsearch\n"
	if got := strings.Join(searched(bufio.NewScanner(strings.NewReader(text))), " "); got != "lan workshop.example home.arpa" {
		t.Errorf("%q", got)
	}
}

// A handler is served until the server is closed; an address that is wrong or taken is told.
func TestServe(t *testing.T) {
	t.Parallel()
	s, err := Serve(Opts{Address: "localhost:0", Failed: func(err error) { t.Error(err) }}, hello)
	if err != nil {
		t.Fatal(err)
	}
	if s.Open() {
		t.Error("localhost is said to be open to other machines")
	}
	r, err := http.Get("http://" + s.Addr.String())
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(r.Body)
	r.Body.Close()
	if err != nil || r.StatusCode != http.StatusOK || string(text) != "hello" {
		t.Errorf("%v, %s: %s", err, r.Status, text)
	}
	for address, want := range map[string]string{s.Addr.String(): "address already in use", "localhost": "missing port in address", "localhost:x": "unknown port"} {
		if _, err := Serve(Opts{Address: address}, hello); problem.KindOf(err) != problem.Usage || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "use a free address") {
			t.Errorf("%s: %v, want %q", address, err, want)
		}
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if _, err := http.Get("http://" + s.Addr.String()); err == nil {
		t.Error("it still serves after Close")
	}
	for _, all := range []string{":0", "0.0.0.0:0", "[::]:0"} {
		s, err := Serve(Opts{Address: all, Access: Access{Insecure: true}, Failed: func(err error) { t.Error(err) }}, hello)
		if err != nil {
			t.Fatal(err)
		}
		if !s.Open() {
			t.Errorf("%s is not said to be open to other machines", all)
		}
		s.Close()
	}
}

// What an answer costs the machine that samples.
func BenchmarkServe(b *testing.B) {
	s := httptest.NewServer(seated(hello))
	defer s.Close()
	for b.Loop() {
		r, err := http.Get(s.URL)
		if err != nil {
			b.Fatal(err)
		}
		io.Copy(io.Discard, r.Body)
		r.Body.Close()
	}
}

// Nothing else in the project serves over HTTP.
func TestOneServer(t *testing.T) {
	t.Parallel()
	servers := 0
	err := filepath.WalkDir(filepath.Join("..", ".."), func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		if serves.Match(text) {
			if servers++; filepath.Base(filepath.Dir(path)) != "web" {
				t.Errorf("%s serves over HTTP by itself; rig/web has the rules for that", path)
			}
		}
		return err
	})
	if err != nil || servers != 1 {
		t.Errorf("%d files serve over HTTP: %v", servers, err)
	}
}

var serves = regexp.MustCompile(`\bhttp\.(Server\{|ListenAndServe|Serve(TLS)?\(|NewServer)`)
