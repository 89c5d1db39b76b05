package gpioline

import (
	"fmt"
	"sync"

	"golang.org/x/sys/unix"
)

// wakeup is an eventfd by which another goroutine ends a poll.
type wakeup struct {
	mu sync.Mutex // a late wake must not reach a descriptor that is closed
	fd int
}

func newWakeup() (*wakeup, error) {
	fd, err := unix.Eventfd(0, unix.EFD_CLOEXEC|unix.EFD_NONBLOCK)
	if err != nil {
		return nil, fmt.Errorf("eventfd: %w", err)
	}
	return &wakeup{fd: fd}, nil
}

// wake makes the descriptor readable until consume is called.
func (b *wakeup) wake() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.fd >= 0 {
		// It cannot fail in a way that matters: a full counter is readable too.
		_, _ = unix.Write(b.fd, []byte{1, 0, 0, 0, 0, 0, 0, 1})
	}
}

// consume reports whether the poll was ended by the wakeup, and makes it silent.
func (b *wakeup) consume(p *unix.PollFd) bool {
	if p.Revents == 0 {
		return false
	}
	var count [8]byte
	_, _ = unix.Read(b.fd, count[:])
	return true
}

func (b *wakeup) close() error {
	if b == nil {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.fd < 0 {
		return nil
	}
	err := unix.Close(b.fd)
	b.fd = -1
	return err
}
