package main

import (
	"crypto/rand"
	"net"
	"path/filepath"
	"strings"
	"testing"
)

// lastTold ends what the test listens to.
const lastTold = "that was all"

// A soak tells systemd when it is ready, that it is alive and when it ends, by the
// protocol of sd_notify(3): lines in a datagram to the socket that the environment names.
func TestSoak_Notifies(t *testing.T) {
	path := "@makebreak-test-" + rand.Text() // has no place in a folder, whose path may be too long
	l, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	t.Setenv("NOTIFY_SOCKET", path)
	t.Setenv("WATCHDOG_USEC", "60000") // a sign of life every 20 ms
	t.Setenv("WATCHDOG_PID", "")       // where the tests run as a service, it is another process's
	heard := make(chan []string)
	go func() {
		var told []string
		buf := make([]byte, 1000)
		for {
			n, err := l.Read(buf)
			if err != nil || string(buf[:n]) == lastTold {
				heard <- told
				return
			}
			told = append(told, string(buf[:n]))
		}
	}()
	p := start(t, filepath.Join(t.TempDir(), "log.db"), "soak", "relay-only", "--seed", "1", "--cycles", "3", "--real-time", "--tell-every", "1")
	if status := p.wait(t); status != exitPass {
		t.Fatalf("exit status %d: %s", status, p.errors())
	}
	// The program has ended: what it sent is in the socket's queue before this.
	own, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer own.Close()
	if _, err := own.Write([]byte(lastTold)); err != nil {
		t.Fatal(err)
	}
	told := <-heard
	text := strings.Join(told, "\n--\n")
	if len(told) < 4 || !strings.Contains(text, "READY=1\nSTATUS=run ") {
		t.Fatalf("told:\n%s", text)
	}
	for _, want := range []string{"WATCHDOG=1", "STATUS=cycle 2 of 3, 0 failed"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q was not told:\n%s", want, text)
		}
	}
	if end := strings.Index(text, "STOPPING=1"); end < strings.LastIndex(text, "STATUS=") {
		t.Errorf("the end was not told:\n%s", text)
	}
}
