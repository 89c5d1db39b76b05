package mcp4725

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"

	_ "makebreak/testdata/fixedseed"
)

// The two bytes of a fast write: DS22039 figure 6-1, worked by hand; the Linux driver
// drivers/iio/dac/mcp4725.c writes the same.
func TestFastWrite(t *testing.T) {
	for _, c := range []struct {
		code uint16
		want [2]byte
	}{{0, [2]byte{0, 0}}, {1, [2]byte{0, 1}}, {0x0FF, [2]byte{0, 0xFF}}, {0x100, [2]byte{1, 0}},
		{0x800, [2]byte{8, 0}}, {3426, [2]byte{0x0D, 0x62}}, {Last, [2]byte{0x0F, 0xFF}}} {
		if got := FastWrite(c.code); got != c.want {
			t.Errorf("code %d: % X, want % X", c.code, got, c.want)
		}
	}
}

// A write never has the bits that the chip takes for any command but the fast write,
// least of all for one of its EEPROM (C2 C1 C0 = 0 1 1), nor switches the output off.
func TestFastWrite_neverTheEEPROM(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		if b := FastWrite(rapid.Uint16().Draw(t, "code")); b[0]&0xF0 != 0 {
			t.Fatalf("command and power-down bits are set: % X", b)
		}
	})
}

// The five bytes of a read: DS22039 figure 6-3, worked by hand. Unused bits count for
// nothing.
func TestDecode(t *testing.T) {
	for _, c := range []struct {
		read [5]byte
		want Status
	}{
		{[5]byte{0xC0, 0x80, 0x00, 0x08, 0x00}, Status{Idle: true, Powered: true, Code: 0x800, StoredCode: 0x800}},
		{[5]byte{0xC0, 0xD6, 0x20, 0x00, 0x00}, Status{Idle: true, Powered: true, Code: 3426}},
		{[5]byte{0x46, 0x12, 0x3F, 0x6A, 0xBC}, Status{Powered: true, Mode: Off500k, Code: 0x123, StoredMode: Off500k, StoredCode: 0xABC}},
		{[5]byte{0xFB, 0xFF, 0xFF, 0x9F, 0xFF}, Status{Idle: true, Powered: true, Mode: Off1k, Code: Last, StoredCode: Last}},
		{[5]byte{0x84, 0x00, 0x10, 0x50, 0x01}, Status{Idle: true, Mode: Off100k, Code: 1, StoredMode: Off100k, StoredCode: 1}},
	} {
		if d := cmp.Diff(c.want, decode(c.read)); d != "" {
			t.Errorf("% X: %s", c.read, d)
		}
	}
}

func TestDev(t *testing.T) {
	bus := &i2ctest.Playback{Ops: []i2ctest.IO{
		{Addr: 0x62, W: []byte{0x0D, 0x62}},
		{Addr: 0x62, R: []byte{0xC0, 0xD6, 0x20}},
		{Addr: 0x62, R: []byte{0xC0, 0x80, 0x00}},
		{Addr: 0x62, R: []byte{0xC2, 0xD6, 0x20}},
		{Addr: 0x62, R: []byte{0x40, 0x00, 0x00}},
	}}
	d, err := New(bus, 0x62, &DefaultOpts)
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Verify(); err != nil {
		t.Errorf("before anything was written: %v", err)
	}
	if err := d.Set(3426); err != nil {
		t.Fatal(err)
	}
	if err := d.Verify(); err != nil {
		t.Errorf("as written: %v", err)
	}
	for _, want := range []string{
		"it holds code 2048, on, written was code 3426",
		"it holds code 3426, off, 1 kohm to ground, written was code 3426",
		"its EEPROM is being written, by another program",
	} {
		if err := d.Verify(); !errors.Is(err, ErrReset) || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %s", err, want)
		}
	}
	if err := d.Set(Last + 1); err == nil {
		t.Error("a code of 13 bits is taken")
	}
	if err := bus.Close(); err != nil {
		t.Error(err)
	}
}

func TestNew_refuses(t *testing.T) {
	bus := &i2ctest.Playback{}
	for _, c := range []struct {
		addr uint16
		opts *Opts
	}{{0x5F, &DefaultOpts}, {0x68, &DefaultOpts}, {0x60, nil}, {0x60, &Opts{Retries: -1}}, {0x60, &Opts{Retries: 101}}} {
		if _, err := New(bus, c.addr, c.opts); err == nil {
			t.Errorf("%#02x, %+v is taken", c.addr, c.opts)
		}
	}
	if _, err := New(nil, 0x60, &DefaultOpts); err == nil {
		t.Error("no bus is taken")
	}
}

// failing is a bus whose first transfers fail.
type failing struct{ fails, calls int }

var errBus = errors.New("address not acknowledged")

func (f *failing) Tx(uint16, []byte, []byte) error {
	f.calls++
	if f.calls <= f.fails {
		return errBus
	}
	return nil
}
func (f *failing) String() string                  { return "failing" }
func (f *failing) SetSpeed(physic.Frequency) error { return nil }

// Three retries make good what fails three times; what fails four times is told.
func TestDev_Retries(t *testing.T) {
	for _, c := range []struct {
		fails, calls int
		ok           bool
	}{{0, 1, true}, {3, 4, true}, {4, 4, false}} {
		bus := &failing{fails: c.fails}
		d, err := New(bus, 0x60, &DefaultOpts)
		if err != nil {
			t.Fatal(err)
		}
		err = d.Set(1)
		if (err == nil) != c.ok || bus.calls != c.calls || d.Counts() != uint64(c.fails) {
			t.Errorf("%d failures: %v after %d transfers, %d counted", c.fails, err, bus.calls, d.Counts())
		}
		if err != nil && (!errors.Is(err, errBus) || !strings.Contains(err.Error(), "MCP4725 at 0x60: cannot set code 1: given up at attempt 4")) {
			t.Errorf("the error says %v", err)
		}
	}
}
