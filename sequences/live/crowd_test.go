package live_test

import (
	"bufio"
	"context"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"makebreak/rig/web"
	"makebreak/sequences/live"
	"makebreak/sequences/site"
	"makebreak/testdata/logs"
)

// crowdEnv has the test's binary be a crowd that looks at the address in it, in a process of
// its own whose processor time is not the run's.
const crowdEnv = "MAKEBREAK_TEST_CROWD"

func TestMain(m *testing.M) {
	if address := os.Getenv(crowdEnv); address != "" {
		crowd(address)
		return
	}
	os.Exit(m.Run())
}

// crowd looks until standard input ends: 100 open pages, 200 who are slow to ask, two who post
// a gigabyte each time, and four who ask without a pause. It says when all have begun.
func crowd(address string) {
	ctx, end := context.WithCancel(context.Background())
	repeat := func(f func()) {
		go func() {
			for ctx.Err() == nil {
				f()
				time.Sleep(10 * time.Millisecond)
			}
		}()
	}
	answered := make(chan struct{}, 1000)
	read := func(method, path string, body io.Reader) {
		r, err := http.NewRequestWithContext(ctx, method, "http://"+address+path, body)
		if err != nil {
			panic(err)
		}
		a, err := http.DefaultClient.Do(r)
		if err != nil {
			return
		}
		defer a.Body.Close()
		first := true
		for b := bufio.NewReader(a.Body); ; {
			if _, err := b.ReadString('\n'); err != nil {
				return
			}
			if first && path == "/now" {
				answered <- struct{}{}
			}
			first = false
		}
	}
	const pages = 100
	for range pages {
		repeat(func() { read(http.MethodGet, "/now", nil) })
	}
	for range pages {
		<-answered
	}
	go func() {
		for range answered {
		}
	}()
	for range 200 {
		repeat(func() {
			c, err := net.Dial("tcp", address)
			if err != nil {
				return
			}
			defer c.Close()
			for _, b := range []byte("GET / HTTP/1.1\r\nHost: localhost\r\nX: " + strings.Repeat("x", 1000)) {
				if _, err := c.Write([]byte{b}); err != nil {
					return
				}
				time.Sleep(200 * time.Millisecond)
			}
		})
	}
	for range 2 {
		repeat(func() { read(http.MethodPost, "/", io.LimitReader(zeros{}, 1<<30)) })
	}
	for _, path := range []string{"/", "/runs/last", "/runs/last.csv", "/metrics"} {
		repeat(func() { read(http.MethodGet, path, nil) })
	}
	os.Stdout.WriteString("here\n")
	_, _ = io.Copy(io.Discard, os.Stdin)
	end()
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// crowded serves the page of a hub to a crowd until the benchmark ends.
func crowded(b *testing.B, hub *live.Hub) {
	b.Helper()
	path := logs.Unpack(b, filepath.Join("..", "..", "testdata", "logs", "schema-8.db.gz"))
	pages, err := site.New(site.Opts{Log: path, Now: live.NewPage(live.OfHub(hub)), Beside: true, Failed: b.Errorf})
	if err != nil {
		b.Fatal(err)
	}
	server, err := web.Serve(web.Opts{Address: "127.0.0.1:0", Failed: func(err error) { b.Error(err) }}, pages)
	if err != nil {
		b.Fatal(err)
	}
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), crowdEnv+"="+server.Addr.String())
	cmd.Stderr = os.Stderr
	stop, err := cmd.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	if _, err := io.ReadFull(out, make([]byte, len("here\n"))); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		stop.Close()
		_ = cmd.Wait()     // the crowd is not what is tested
		_ = server.Close() // what is still being read is cut off
		_ = pages.Close()
	})
}

// A run of the simulated bench beside a crowd: cpu-ns/op to be held against
// BenchmarkRun_Alone's, in runs of some seconds (-benchtime 20000x).
func BenchmarkRun_Crowd(b *testing.B) {
	r := newRun(b, "relay-only", b.N, true)
	r.begin()
	crowded(b, r.hub)
	b.ResetTimer()
	before := processorTime(b)
	r.run(context.Background(), b)
	b.ReportMetric(float64((processorTime(b)-before).Nanoseconds())/float64(b.N), "cpu-ns/op")
}
