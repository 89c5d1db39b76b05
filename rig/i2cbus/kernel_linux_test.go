package i2cbus

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/kernelbench"
)

func TestMain(m *testing.M) {
	if name := os.Getenv("I2CBUS_TEST_OPEN"); name != "" {
		_, err := OpenBus(name)
		fmt.Printf("%v\nEACCES: %v\n", err, errors.Is(err, unix.EACCES))
		return
	}
	os.Exit(m.Run())
}

func mustOpen(t *testing.T, name string) i2c.BusCloser {
	t.Helper()
	bus, err := OpenBus(name)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := bus.Close(); err != nil {
			t.Error(err)
		}
	})
	return bus
}

func register(bus i2c.Bus, addr uint16, reg byte) (uint16, error) {
	var r [2]byte
	err := bus.Tx(addr, []byte{reg}, r[:])
	return binary.BigEndian.Uint16(r[:]), err
}

// Reset values of the ADS1115's registers (Texas Instruments SBAS444, register
// map), by every name that the bus has.
func TestKernel_OpenBus(t *testing.T) {
	kernelbench.NewConverters(t)
	for _, name := range []string{"1", "I2C1", "/dev/i2c-1"} {
		bus := mustOpen(t, name)
		if bus.String() != "/dev/i2c-1" {
			t.Errorf("%s is called %s", name, bus)
		}
		for reg, want := range map[byte]uint16{1: 0x8583, 2: 0x8000, 3: 0x7fff} {
			if got, err := register(bus, 0x48, reg); err != nil || got != want {
				t.Errorf("%s: register %d: %#04x, %v, want %#04x", name, reg, got, err, want)
			}
		}
	}
	if names, err := Names(); err != nil || !slices.Contains(names, "/dev/i2c-1") {
		t.Errorf("%v, %v", names, err)
	}
	if _, err := OpenBus("7"); !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), "/dev/i2c-1") {
		t.Errorf("no such bus: %v", err)
	}
}

// 2.0 V at ±4.096 V is 2.0 / 4.096 × 32768 = 16000 (SBAS444, data format).
func TestKernel_Convert(t *testing.T) {
	adc := kernelbench.NewConverters(t)
	adc.SetVolts(1, 2, 2.0)
	bus := mustOpen(t, "1")
	// OS, input 2 against ground, ±4.096 V, single shot, 860/s, comparator off.
	if err := bus.Tx(0x49, []byte{1, 0xe3, 0xe3}, nil); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(10 * time.Second); ; {
		config, err := register(bus, 0x49, 1)
		if err != nil {
			t.Fatal(err)
		}
		if config&0x8000 != 0 {
			break
		}
		if time.Now().After(end) {
			t.Fatal("the conversion does not end")
		}
	}
	if code, err := register(bus, 0x49, 0); err != nil || code != 16000 {
		t.Errorf("code %d, %v, want 16000", code, err)
	}
}

func TestKernel_Faults(t *testing.T) {
	adc := kernelbench.NewConverters(t)
	bus := mustOpen(t, "1")
	adc.SetPresent([4]bool{true, true, false, true})
	if _, err := register(bus, 0x4a, 1); !errors.Is(err, unix.ENXIO) || !strings.Contains(err.Error(), "address 0x4a: no chip answers") {
		t.Errorf("a chip taken out: %v", err)
	}
	for errno, word := range map[unix.Errno]string{unix.EREMOTEIO: "no chip answers", unix.ETIMEDOUT: "bus is held", unix.EAGAIN: "another master", unix.EIO: "0x48"} {
		adc.Fail(errno, 1)
		if _, err := register(bus, 0x48, 1); !errors.Is(err, errno) || !strings.Contains(err.Error(), word) {
			t.Errorf("%v: %v", errno, err)
		}
		if got, err := register(bus, 0x48, 1); err != nil || got != 0x8583 {
			t.Errorf("after %v: %#04x, %v", errno, got, err)
		}
	}
}

// Several goroutines on one bus do not mix their bytes up.
func TestKernel_Shared(t *testing.T) {
	adc := kernelbench.NewConverters(t)
	bus := mustOpen(t, "1")
	before := adc.Transfers()
	var all sync.WaitGroup
	for chip := range uint16(4) {
		all.Go(func() {
			want := 0x1000 + chip
			if err := bus.Tx(0x48+chip, []byte{2, byte(want >> 8), byte(want)}, nil); err != nil {
				t.Error(err)
			}
			for range 500 {
				if got, err := register(bus, 0x48+chip, 2); err != nil || got != want {
					t.Errorf("chip %d: %#04x, %v, want %#04x", chip, got, err, want)
					return
				}
			}
			if err := bus.Tx(0x48+chip, []byte{2, 0x80, 0}, nil); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if n := adc.Transfers() - before; n != 4*502 {
		t.Errorf("%d transfers on the bus, want %d", n, 4*502)
	}
}

func TestKernel_Permission(t *testing.T) {
	kernelbench.Need(t)
	const bench, group = 1000, 987 // the guest's user, and its group i2c
	if err := os.Chown(kernelbench.Bus, 0, group); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(kernelbench.Bus, 0o660); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("/proc/self/exe")
	cmd.Env = append(os.Environ(), "I2CBUS_TEST_OPEN=1")
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: bench, Gid: bench}}
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, want := range []string{"may not open /dev/i2c-1", "usermod -aG i2c USER", "EACCES: true"} {
		if !strings.Contains(string(out), want) {
			t.Errorf("%s lacks %q", out, want)
		}
	}
	t.Logf("%s", out)
}

func BenchmarkKernel_Tx(b *testing.B) {
	kernelbench.Need(b)
	bus, err := OpenBus("1")
	if err != nil {
		b.Fatal(err)
	}
	defer bus.Close()
	w, r := []byte{0}, make([]byte, 2)
	b.ReportAllocs()
	for b.Loop() {
		if err := bus.Tx(0x48, w, r); err != nil {
			b.Fatal(err)
		}
	}
}
