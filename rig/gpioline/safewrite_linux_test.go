package gpioline

import (
	"errors"
	"io/fs"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
	"periph.io/x/conn/v3/physic"
)

// fakeBus fails so often, then notes what is written.
type fakeBus struct {
	fails, calls int
	wrote        []byte
	closed       bool
	closeErr     error
}

func (b *fakeBus) Tx(_ uint16, w, _ []byte) error {
	if b.calls++; b.calls <= b.fails {
		return unix.EREMOTEIO
	}
	b.wrote = append(b.wrote, w...)
	return nil
}
func (b *fakeBus) String() string                  { return "fake" }
func (b *fakeBus) SetSpeed(physic.Frequency) error { return nil }
func (b *fakeBus) Close() error                    { b.closed = true; return b.closeErr }

// Every release does the writes, tries a few times, and goes on to the next one after
// one that fails. Close takes the buses along.
func TestSet_SafeWrites(t *testing.T) {
	s, _ := pipeSet(t, 1)
	deaf, slow, well := &fakeBus{fails: 1 << 30}, &fakeBus{fails: 3}, &fakeBus{}
	s.safe = []safeWrite{{SafeWrite{Address: 0x60, Bytes: []byte{1}}, deaf}, {SafeWrite{Address: 0x61, Bytes: []byte{2, 3}}, slow}, {SafeWrite{Address: 0x62, Bytes: []byte{4}}, well}}
	err := s.Release()
	if !errors.Is(err, unix.EREMOTEIO) || !strings.Contains(err.Error(), "safe state of address 0x60") || strings.Contains(err.Error(), "0x61") {
		t.Errorf("released: %v", err)
	}
	if deaf.calls != writeAttempts || string(slow.wrote) != "\x02\x03" || string(well.wrote) != "\x04" {
		t.Errorf("said %d times, % X, % X", deaf.calls, slow.wrote, well.wrote)
	}
	if err := s.Close(); !errors.Is(err, unix.EREMOTEIO) {
		t.Errorf("closed: %v", err)
	}
	if string(well.wrote) != "\x04\x04" || !deaf.closed || !slow.closed || !well.closed {
		t.Errorf("said % X; closed %v %v %v", well.wrote, deaf.closed, slow.closed, well.closed)
	}
}

// A set whose safe write could not be done is not opened.
func TestOpen_NoBusForTheSafeWrite(t *testing.T) {
	_, err := Open(nil, SafeWrite{Bus: "/dev/i2c-65000", Address: 0x60, Bytes: []byte{0, 0}})
	if !errors.Is(err, fs.ErrNotExist) || !strings.HasPrefix(err.Error(), "safe state of address 0x60: ") {
		t.Errorf("%v", err)
	}
}
