package live_test

import (
	"context"
	"errors"
	"io"
	"math"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/sequences/journal"
	"makebreak/sequences/live"
)

const aUUID = "01a2229d-d423-7bef-8976-9496d6a3b33c"

// What is told through a socket is what the hub says, to the run's end.
func TestTell(t *testing.T) {
	for name, dir := range map[string]string{"short": "log", "longer than a socket's path may be": strings.Repeat("folder of the workshop/", 8) + "log"} {
		t.Run(name, func(t *testing.T) {
			log := filepath.Join(t.TempDir(), dir, "log.db")
			if err := os.MkdirAll(filepath.Dir(log), 0o700); err != nil {
				t.Fatal(err)
			}
			r := newRun(t, "relay-only", 30, true, "welded")
			r.begin()
			told, err := live.Tell(r.hub, log, aUUID)
			if err != nil {
				t.Fatal(err)
			}
			sockets := journal.Sockets(log)
			if len(sockets) != 1 || journal.UUIDOfSocket(sockets[0]) != aUUID {
				t.Fatalf("%q", sockets)
			}
			if info, err := os.Lstat(sockets[0]); err != nil || info.Mode() != os.ModeSocket|0o600 {
				t.Errorf("%v, %v", info.Mode(), err)
			}
			heard := make(chan error, 1)
			var states []*live.State
			first := make(chan struct{})
			go func() {
				heard <- live.Hear(context.Background(), sockets[0], func(s *live.State) {
					if states = append(states, s); len(states) == 1 {
						close(first)
					}
				})
			}()
			<-first
			r.run(t.Context(), t)
			r.hub.End(time.Unix(60, 0), true, "")
			told.Close()
			if err := <-heard; err != nil {
				t.Fatal(err)
			}
			last := states[len(states)-1]
			want, _, err := r.hub.Next(t.Context(), 0)
			if err != nil {
				t.Fatal(err)
			}
			if last.End == nil || last.Done != 30 || last.Verdict != analyze.Fail || last.Results == nil || last.Results.Cycle != 30 ||
				len(last.Results.Figures) != len(want.Results.Figures) || len(last.Results.Findings) != len(want.Results.Findings) {
				t.Errorf("%+v", last)
			}
			for i, f := range last.Results.Figures {
				w := want.Results.Figures[i]
				if f.Value != w.Value && !math.IsNaN(float64(w.Value)) || f.Signal != w.Signal || math.IsNaN(float64(f.Upper)) != math.IsNaN(float64(w.Upper)) {
					t.Errorf("%+v, want %+v", f, w)
				}
			}
			if left := journal.Sockets(log); len(left) > 0 {
				t.Errorf("left over: %q", left)
			}
		})
	}
}

// A socket that a killed program left is removed by the next one; that of a program that is
// there stays, and so does what is no socket.
func TestTell_Stale(t *testing.T) {
	log := filepath.Join(t.TempDir(), "log.db")
	stale, err := net.ListenUnix("unix", &net.UnixAddr{Name: log + "-now-stale", Net: "unix"})
	if err != nil {
		t.Fatal(err)
	}
	stale.SetUnlinkOnClose(false)
	if err := stale.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(log+"-now-notes", []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	other := newRun(t, "relay-only", 1, true)
	other.begin()
	there, err := live.Tell(other.hub, log, "there")
	if err != nil {
		t.Fatal(err)
	}
	defer there.Close()
	r := newRun(t, "relay-only", 1, true)
	r.begin()
	told, err := live.Tell(r.hub, log, aUUID)
	if err != nil {
		t.Fatal(err)
	}
	defer told.Close()
	var names []string
	for _, s := range journal.Sockets(log) {
		names = append(names, journal.UUIDOfSocket(s))
	}
	if want := aUUID + " notes there"; strings.Join(names, " ") != want {
		t.Errorf("%q, want %q", names, want)
	}
	if err := live.Hear(t.Context(), log+"-now-stale", func(*live.State) {}); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a socket that is not there: %v", err)
	}
}

// However many hear, and however little they read, the run is not kept waiting, and what they
// write changes nothing.
func TestTell_Bounded(t *testing.T) {
	log := filepath.Join(t.TempDir(), "log.db")
	r := newRun(t, "relay-only", 400, true)
	r.hub.Quicken(time.Millisecond)
	r.begin()
	told, err := live.Tell(r.hub, log, aUUID)
	if err != nil {
		t.Fatal(err)
	}
	for range 3 * live.MostHearers {
		c, err := net.Dial("unix", journal.Sockets(log)[0])
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		_, _ = io.WriteString(c, "{\"end\":{}}\n") // one too many is closed already
	}
	shelf, _ := r.run(t.Context(), t)
	if len(shelf.all) != 400 {
		t.Errorf("%d cycles", len(shelf.all))
	}
	r.hub.End(time.Unix(60, 0), true, "")
	told.Close()
	if _, err := net.Dial("unix", log+"-now-"+aUUID); !errors.Is(err, os.ErrNotExist) && !errors.Is(err, syscall.ECONNREFUSED) {
		t.Errorf("it is still told: %v", err)
	}
}

// FuzzHear hears what no program tells.
func FuzzHear(f *testing.F) {
	f.Add([]byte("{\"format\":1,\"run\":\"x\",\"results\":{\"figures\":[{\"value\":null}],\"last\":{\"capture\":\"AAAA\"}}}\n"))
	f.Add([]byte("{\"format\":2}\n"))
	f.Add([]byte("{\"format\":1,\"counts\":[1,2],\"step\":{\"hold\":-9223372036854775808}}\n{}"))
	f.Fuzz(func(t *testing.T, text []byte) {
		path := filepath.Join(t.TempDir(), "s")
		l, err := net.Listen("unix", path)
		if err != nil {
			t.Skip(err)
		}
		defer l.Close()
		go func() {
			if c, err := l.Accept(); err == nil {
				_, _ = c.Write(text)
				c.Close()
			}
		}()
		var runs []live.Run
		_ = live.Hear(t.Context(), path, func(s *live.State) { runs = append(runs, live.Run{State: s, Plan: &analyze.Plan{}}) })
		if len(runs) == 0 {
			return
		}
		s := &told{}
		s.set(runs...)
		if err := live.NewPage(s).Show(t.Context(), io.Discard, ""); err != nil {
			t.Error(err)
		}
	})
}
