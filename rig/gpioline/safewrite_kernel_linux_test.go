package gpioline

import (
	"bufio"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"makebreak/rig/i2cbus"
	"makebreak/rig/kernelbench"
)

// keeps is what the low threshold of a converter is set to by a safe write: any register
// will do that keeps what is written to it.
var (
	keeps   = SafeWrite{Bus: kernelbench.Bus, Address: 0x4B, Bytes: []byte{2, 0x12, 0x34}}
	working = []byte{2, 0x56, 0x78}
)

// threshold reads what the converter keeps.
func threshold(t *testing.T) int {
	t.Helper()
	bus, err := i2cbus.OpenBus(kernelbench.Bus)
	if err != nil {
		t.Fatal(err)
	}
	defer bus.Close()
	var r [2]byte
	if err := bus.Tx(keeps.Address, []byte{2}, r[:]); err != nil {
		t.Fatal(err)
	}
	return int(r[0])<<8 | int(r[1])
}

// Where a program without any drive is killed, its safe write is done all the same.
func TestKernel_GuardDoesSafeWrite(t *testing.T) {
	kernelbench.NewConverters(t)
	chip := kernelbench.NewChip(t, "words", "")
	cmd := helper(t, "write", chip)
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	said, err := bufio.NewReader(stdout).ReadString('\n')
	if err != nil || said != "guarded true\n" {
		t.Fatalf("helper said %q: %v", said, err)
	}
	if got := threshold(t); got != 0x5678 {
		t.Fatalf("before the end the register holds %04Xh", got)
	}
	began := now()
	if err := cmd.Process.Signal(unix.SIGKILL); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait()
	for end := time.Now().Add(30 * time.Second); threshold(t) != 0x1234; time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("the register holds %04Xh, the safe write was not done", threshold(t))
		}
	}
	t.Logf("said %v after the program was killed", now().Sub(began))
}

// Release and Close say it as well.
func TestKernel_SafeWrite(t *testing.T) {
	kernelbench.NewConverters(t)
	s, err := Open(nil, keeps)
	if err != nil {
		t.Fatal(err)
	}
	for _, say := range []func() error{s.Release, s.Close} {
		if err := s.safe[0].bus.Tx(keeps.Address, working, nil); err != nil {
			t.Fatal(err)
		}
		if err := say(); err != nil {
			t.Fatal(err)
		}
		if got := threshold(t); got != 0x1234 {
			t.Errorf("the register holds %04Xh", got)
		}
	}
}
