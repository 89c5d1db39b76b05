package simchip_test

import (
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/mcp4725"
	"makebreak/rig/simchip"
)

// dacClock is virtual time in which nothing happens by itself.
type dacClock struct{ now capture.Instant }

func (c *dacClock) Now() capture.Instant         { return c.now }
func (c *dacClock) AdvanceTo(to capture.Instant) { c.now = to }

// dac is a DAC alone on a bus, and what its output did.
type dac struct {
	*simchip.DAC
	clock dacClock
	bus   *simchip.Bus
	volts []float64
	at    []capture.Instant
}

func newDAC(t *testing.T, stored uint16) *dac {
	t.Helper()
	d := &dac{}
	d.bus = simchip.NewBus(&d.clock, 400_000)
	d.DAC = simchip.NewDAC(simchip.DACOpts{SupplyVolts: 4.096, Stored: stored, Changed: func(v float64) {
		d.volts, d.at = append(d.volts, v), append(d.at, d.clock.now)
	}})
	if err := d.bus.AttachDAC(0x60, d.DAC); err != nil {
		t.Fatal(err)
	}
	return d
}

func (d *dac) tx(t *testing.T, w []byte, read int) []byte {
	t.Helper()
	r := make([]byte, read)
	if err := d.bus.Tx(0x60, w, r); err != nil {
		t.Fatal(err)
	}
	return r
}

// Writes and what is read back after them: DS22039 figures 6-1 to 6-3, worked by hand.
// With a supply of 4.096 V a code is a millivolt.
func TestDAC_commands(t *testing.T) {
	for _, c := range []struct {
		name   string
		write  []byte
		volts  float64
		status []byte
	}{
		{"nothing", nil, 2.048, []byte{0xC0, 0x80, 0x00, 0x08, 0x00}},
		{"fast", []byte{0x0D, 0x62}, 3.426, []byte{0xC0, 0xD6, 0x20, 0x08, 0x00}},
		{"fast, twice", []byte{0x0D, 0x62, 0x00, 0x01}, 0.001, []byte{0xC0, 0x00, 0x10, 0x08, 0x00}},
		{"fast, off by 1 kohm", []byte{0x1D, 0x62}, 0, []byte{0xC2, 0xD6, 0x20, 0x08, 0x00}},
		{"fast, off by 500 kohm", []byte{0x3D, 0x62}, 0, []byte{0xC6, 0xD6, 0x20, 0x08, 0x00}},
		{"register", []byte{0x40, 0xD6, 0x20}, 3.426, []byte{0xC0, 0xD6, 0x20, 0x08, 0x00}},
		{"register, off by 100 kohm", []byte{0x44, 0xD6, 0x20}, 0, []byte{0xC4, 0xD6, 0x20, 0x08, 0x00}},
		{"register and EEPROM", []byte{0x60, 0xD6, 0x20}, 3.426, []byte{0x40, 0xD6, 0x20, 0x0D, 0x62}},
		{"kept for later", []byte{0x80, 0xD6, 0x20}, 2.048, []byte{0xC0, 0x80, 0x00, 0x08, 0x00}},
		{"cut short", []byte{0x0D}, 2.048, []byte{0xC0, 0x80, 0x00, 0x08, 0x00}},
		{"register, cut short", []byte{0x40, 0xD6}, 2.048, []byte{0xC0, 0x80, 0x00, 0x08, 0x00}},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := newDAC(t, simchip.FactoryCode)
			d.tx(t, c.write, 0)
			if got := d.Volts(); math.Abs(got-c.volts) > 1e-12 {
				t.Errorf("%g V, want %g V", got, c.volts)
			}
			if got := d.tx(t, nil, 5); !slices.Equal(got, c.status) {
				t.Errorf("reads % X, want % X", got, c.status)
			}
			if got := d.tx(t, nil, 12); !slices.Equal(got[5:10], c.status) || !slices.Equal(got[10:], c.status[:2]) {
				t.Errorf("reads % X, want % X again and again", got, c.status)
			}
		})
	}
}

// A fast write takes 29 bits, and the output changes one bit before its end (DS22039
// figure 6-1: after the last acknowledge).
func TestDAC_timing(t *testing.T) {
	d := newDAC(t, 0)
	d.tx(t, []byte{0x08, 0x00}, 0)
	if len(d.at) != 1 || d.at[0] != capture.Instant(70*time.Microsecond) || d.clock.now != capture.Instant(72500*time.Nanosecond) {
		t.Errorf("changed at %v, ended at %v", d.at, d.clock.now)
	}
	d.tx(t, []byte{0x08, 0x00}, 0)
	if len(d.volts) != 1 {
		t.Error("the same code again changes something")
	}
	// A read of the setting alone: the address and three bytes of nine bits, start and stop
	// (figure 6-3, ended sooner).
	began := d.clock.now
	if d.tx(t, nil, 3); d.clock.now.Sub(began) != 95*time.Microsecond {
		t.Errorf("a read of the setting took %v", d.clock.now.Sub(began))
	}
}

// While the EEPROM is written nothing is taken; afterwards a reset puts out what was
// stored.
func TestDAC_eeprom(t *testing.T) {
	d := newDAC(t, simchip.FactoryCode)
	d.tx(t, []byte{0x60, 0x00, 0x10, 0x60, 0x00, 0x20}, 0)
	d.tx(t, []byte{0x0F, 0xFF}, 0)
	if got := d.tx(t, nil, 3); !slices.Equal(got, []byte{0x40, 0x00, 0x10}) || d.StoredWrites != 1 {
		t.Errorf("reads % X while busy, %d writes of the EEPROM", got, d.StoredWrites)
	}
	d.clock.now += capture.Instant(simchip.EEPROMWrite)
	d.tx(t, []byte{0x0F, 0xFF}, 0)
	if got := d.tx(t, nil, 3); !slices.Equal(got, []byte{0xC0, 0xFF, 0xF0}) {
		t.Errorf("reads % X after it", got)
	}
	if err := d.bus.Tx(0, []byte{0x06}, nil); err != nil {
		t.Fatal(err)
	}
	if got := d.tx(t, nil, 5); !slices.Equal(got, []byte{0xC0, 0x00, 0x10, 0x00, 0x01}) {
		t.Errorf("reads % X after a general call reset", got)
	}
	d.tx(t, []byte{0x30, 0x05}, 0)
	if err := d.bus.Tx(0, []byte{0x09}, nil); err != nil {
		t.Fatal(err)
	}
	if got := d.tx(t, nil, 3); !slices.Equal(got, []byte{0xC0, 0x00, 0x50}) {
		t.Errorf("reads % X after a general call wake-up", got)
	}
}

func TestDAC_gone(t *testing.T) {
	d := newDAC(t, simchip.FactoryCode)
	d.SetGone(true)
	if err := d.bus.Tx(0x60, []byte{0, 0}, nil); !errors.Is(err, simchip.ErrNAK) {
		t.Errorf("a chip that has gone: %v", err)
	}
	if err := d.bus.Tx(0, []byte{0x06}, nil); !errors.Is(err, simchip.ErrNAK) {
		t.Errorf("a general call that nobody hears: %v", err)
	}
	if err := d.bus.AttachDAC(0x5F, d.DAC); err == nil {
		t.Error("a DAC is put on 0x5F")
	}
	if d.Volts() != 2.048 {
		t.Errorf("%g V", d.Volts())
	}
}

// Driver and model, each written from the data sheet, understand each other over all
// codes; planted faults of the bus reach the DAC too.
func TestDAC_driver(t *testing.T) {
	d := newDAC(t, simchip.FactoryCode)
	dev, err := mcp4725.New(d.bus, 0x60, &mcp4725.DefaultOpts)
	if err != nil {
		t.Fatal(err)
	}
	for code := range uint16(mcp4725.Last + 1) {
		if code%512 == 7 {
			d.bus.NAKNext(3)
		}
		if code%512 == 8 {
			d.bus.CutNext(2)
		}
		if err := dev.Set(code); err != nil {
			t.Fatal(err)
		}
		if err := dev.Verify(); err != nil {
			t.Fatal(err)
		}
		if got := d.Volts(); math.Abs(got-float64(code)*1e-3) > 1e-12 {
			t.Fatalf("code %d: %g V", code, got)
		}
	}
	if got := dev.Counts(); got != 8*5 {
		t.Errorf("%d failed transfers counted, 40 planted", got)
	}
	d.Reset()
	if err := dev.Verify(); !errors.Is(err, mcp4725.ErrReset) {
		t.Errorf("after a reset: %v", err)
	}
	if d.StoredWrites != 0 {
		t.Errorf("the EEPROM has been written %d times", d.StoredWrites)
	}
}
