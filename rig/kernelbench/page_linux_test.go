package kernelbench_test

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

const pageAddress = "127.0.0.1:9120"

// lookers are the clients of a page of one kind, and how often they got what they wanted.
type lookers struct {
	ctx context.Context
	all sync.WaitGroup
	got atomic.Int64
}

// repeat does something until the context ends. Where it fails, as before the page is there
// and where its turn does not come, it is done again a little later.
func (l *lookers) repeat(f func() error) {
	l.all.Go(func() {
		for l.ctx.Err() == nil {
			if f() != nil {
				select {
				case <-l.ctx.Done():
				case <-time.After(200 * time.Millisecond):
				}
			}
		}
	})
}

// get asks for a page and gives its answer to be read.
func (l *lookers) get(path string, read func(io.Reader) error) error {
	r, err := http.NewRequestWithContext(l.ctx, http.MethodGet, "http://"+pageAddress+path, nil)
	if err != nil {
		return err
	}
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		return err
	}
	defer a.Body.Close()
	if a.StatusCode != http.StatusOK {
		return fmt.Errorf("%s: %s", path, a.Status)
	}
	return read(a.Body)
}

// follow reads what happens as a browser does.
func (l *lookers) follow() error {
	return l.get("/now", func(b io.Reader) error {
		lines := bufio.NewScanner(b)
		for lines.Buffer(nil, 1<<20); lines.Scan(); {
			if strings.HasPrefix(lines.Text(), "event: ") {
				l.got.Add(1)
			}
		}
		return lines.Err()
	})
}

// ask reads an answer whole.
func (l *lookers) ask(path string) error {
	return l.get(path, func(b io.Reader) error {
		_, err := io.Copy(io.Discard, b)
		if err == nil {
			l.got.Add(1)
		}
		return err
	})
}

// dawdle asks for a record and reads nothing of it.
func (l *lookers) dawdle() error {
	c, err := (&net.Dialer{}).DialContext(l.ctx, "tcp", pageAddress)
	if err != nil {
		return err
	}
	defer c.Close()
	if _, err := io.WriteString(c, "GET /runs/last.json HTTP/1.1\r\nHost: localhost\r\n\r\n"); err != nil {
		return err
	}
	l.got.Add(1)
	<-l.ctx.Done()
	return nil
}

// post sends as much as it can get away with.
func (l *lookers) post() error {
	r, err := http.NewRequestWithContext(l.ctx, http.MethodPost, "http://"+pageAddress+"/", io.LimitReader(zeros{}, 1<<30))
	if err != nil {
		return err
	}
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		return err
	}
	defer a.Body.Close()
	if a.StatusCode == http.StatusMethodNotAllowed {
		l.got.Add(1)
	}
	return fmt.Errorf("post: %s", a.Status)
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// begin begins with what clients of a kind do: a word, or the addresses that they ask for.
func (l *lookers) begin(kind string) {
	const many = 20
	switch kind {
	case "follow":
		for range many {
			l.repeat(l.follow)
		}
	case "dawdle":
		for range many {
			l.repeat(l.dawdle)
		}
	case "post":
		l.repeat(l.post)
	default:
		for _, path := range strings.Fields(kind) {
			l.repeat(func() error { return l.ask(path) })
		}
	}
}

// look is who looks at the page, by their kinds, until standard input ends. It then says how
// often those of each kind got what they wanted.
func look(kinds string) error {
	if err := unpressed(); err != nil {
		return err
	}
	ctx, end := context.WithCancel(context.Background())
	var all []*lookers
	for _, kind := range strings.Split(kinds, ";") {
		l := &lookers{ctx: ctx}
		l.begin(kind)
		all = append(all, l)
	}
	_, err := io.Copy(io.Discard, os.Stdin)
	end()
	for _, l := range all {
		l.all.Wait()
		fmt.Println(l.got.Load())
	}
	return err
}

// unpressed lets all threads of this process run when no other one wants to: who looks at a
// page has a processor elsewhere.
func unpressed() error {
	threads, err := os.ReadDir("/proc/self/task")
	if err != nil {
		return err
	}
	for _, t := range threads { // those to come are as the ones that begin them
		id, err := strconv.Atoi(t.Name())
		if err != nil {
			return err
		}
		attr := unix.SchedAttr{Size: unix.SizeofSchedAttr, Policy: unix.SCHED_IDLE}
		if err := unix.SchedSetAttr(id, &attr, 0); err != nil && !errors.Is(err, unix.ESRCH) {
			return err
		}
	}
	return nil
}

// A chip that is followed at its full rate gives every conversion, as it does where nobody
// looks, while people look at the run's page, ask for its record without a pause, read nothing
// of what they asked for, or post what nobody wants. What the network costs, the guest's one
// processor does as well, for both ends. With records and posts at once one or two ready edges of
// some 15,000 got lost (LostReadyEdges), perhaps in its kernel. So these two come one after the
// other.
func TestKernel_Page(t *testing.T) {
	alone := 0
	for _, c := range []struct {
		name  string
		kinds []string
	}{
		{name: "nobody"},
		{"pages", []string{"follow", "dawdle", "/ /metrics /?unit=P"}},
		{"post", []string{"post"}},
		{"records", []string{"/runs/last /runs/last.csv /runs/last.json"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			missed := lookedAt(t, c.kinds)
			if len(c.kinds) == 0 {
				alone = missed
			}
			if missed > alone && followTime(t) >= time.Minute { // a short run may miss mostMissed
				t.Errorf("%d conversions missed while people look, %d while nobody does", missed, alone)
			}
		})
	}
}

// lookedAt runs the program while clients of these kinds look, and returns how many conversions
// it missed.
func lookedAt(t *testing.T, kinds []string) (missed int) {
	s := newSite(t, followRate, "100 ms", followHold.String())
	s.onlyFollowed(400)
	s.adc.SetBus(400_000)
	s.startPanel()
	took := followTime(t) * 3 / 5
	cycles := int(math.Ceil(took.Seconds() / (2 * followHold).Seconds()))
	args := []string{"--cycles", strconv.Itoa(cycles)}
	left := func() {}
	if len(kinds) > 0 {
		args, left = append(args, "--page", pageAddress), startLookers(t, kinds)
	}
	began := s.adc.Transfers()
	r := s.startRun(args...)
	status := r.waitFor(took + 2*patience)
	left()
	if status != 0 {
		t.Fatalf("exit %d\n%s", status, r.err.String())
	}
	return s.everyConversion(r, cycles, s.adc.Transfers()-began)
}

// startLookers starts a process of clients. Leave ends it, and holds it to what each kind got.
func startLookers(t *testing.T, kinds []string) (leave func()) {
	t.Helper()
	cmd := exec.Command("/proc/self/exe")
	cmd.Env = append(os.Environ(), "KERNELBENCH_LOOKERS="+strings.Join(kinds, ";"))
	cmd.Stderr = os.Stderr
	var got bytes.Buffer
	cmd.Stdout = &got
	stop, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return func() {
		t.Helper()
		stop.Close()
		if err := cmd.Wait(); err != nil {
			t.Error(err)
		}
		counts := strings.Fields(got.String())
		if len(counts) != len(kinds) || slices.Contains(counts, "0") {
			t.Errorf("of %q somebody was not served: %q", kinds, counts)
		}
		t.Logf("%q got %q things", kinds, counts)
	}
}
