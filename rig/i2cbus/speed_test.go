package i2cbus

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c/i2ctest"

	"makebreak/rig/capture"
	"makebreak/rig/simchip"
)

// virtual is a clock that stands still but for what the bus takes.
type virtual struct{ at capture.Instant }

func (v *virtual) Now() capture.Instant         { return v.at }
func (v *virtual) AdvanceTo(at capture.Instant) { v.at = at }

// simulated returns a simulated bus with one chip.
func simulated(t *testing.T, hz int) (*simchip.Bus, *virtual) {
	t.Helper()
	clock := &virtual{}
	bus := simchip.NewBus(clock, hz)
	if err := bus.Attach(0x48, simchip.NewChip([4]simchip.Input{}, simchip.Opts{})); err != nil {
		t.Fatal(err)
	}
	return bus, clock
}

// The simulated bus takes nine clocks a byte. What a driver takes besides is told apart from
// it, and a transfer that is held up now and then moves neither.
func TestMeasureSpeed(t *testing.T) {
	for i, hz := range []int{10_000, 62_500, 100_000, 250_000, 400_000, 1_000_000} {
		reads := []int{ManyReads, FewReads}[i%2]
		bus, clock := simulated(t, hz)
		calls := 0
		now := func() capture.Instant {
			calls++
			clock.at += capture.Instant(40 * time.Microsecond) // the way there and back
			if calls == 6 {
				clock.at -= capture.Instant(15 * time.Microsecond) // the quickest one
			}
			if calls%7 == 0 {
				clock.at += capture.Instant(3 * time.Millisecond)
			}
			return clock.at
		}
		s, err := MeasureSpeed(bus, 0x48, reads, now)
		if err != nil || s.Faster || math.Abs(s.Hz/float64(hz)-1) > 0.001 {
			t.Errorf("a bus of %d Hz: %+v, %v", hz, s, err)
		}
		if within := func(d, want time.Duration) bool { return (d - want).Abs() <= time.Microsecond }; !within(s.Overhead, 40*time.Microsecond) || !within(s.Least, 25*time.Microsecond) {
			t.Errorf("a bus of %d Hz: a transfer takes %v besides its bits, %v at least", hz, s.Overhead, s.Least)
		}
	}
}

// A transfer that takes no bus time gives a bound, not a figure.
func TestMeasureSpeed_NoBusTime(t *testing.T) {
	for name, c := range map[string]struct {
		step func(call int) time.Duration
		want float64
	}{
		"no time at all":    {func(int) time.Duration { return 0 }, 3.4e6},
		"always as long":    {func(int) time.Duration { return 5 * time.Microsecond }, 3.4e6},
		"some nanoseconds":  {func(call int) time.Duration { return time.Duration(5000 + call/2%2*300) }, 3.4e6},
		"lost in a scatter": {func(call int) time.Duration { return time.Duration(1+call*7919%13) * time.Millisecond / 2 }, 270 / 0.02},
	} {
		t.Run(name, func(t *testing.T) {
			calls, at := 0, capture.Instant(0)
			play := &i2ctest.Playback{DontPanic: true}
			for range ManyReads {
				play.Ops = append(play.Ops, i2ctest.IO{Addr: 0x48, R: make([]byte, shortRead)}, i2ctest.IO{Addr: 0x48, R: make([]byte, longRead)})
			}
			s, err := MeasureSpeed(play, 0x48, ManyReads, func() capture.Instant {
				at = at.Add(c.step(calls))
				calls++
				return at
			})
			if err != nil || !s.Faster || s.Hz > 3.4e6 || s.Hz < c.want {
				t.Errorf("%+v, %v; want faster than at least %g Hz", s, err, c.want)
			}
			if err := play.Close(); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestMeasureSpeed_NobodyAnswers(t *testing.T) {
	bus, clock := simulated(t, 100_000)
	if _, err := MeasureSpeed(bus, 0x4b, FewReads, clock.Now); !errors.Is(err, simchip.ErrNAK) {
		t.Errorf("%v", err)
	}
}

// The device tree keeps numbers as big-endian cells of 32 bits (Devicetree
// Specification, property values).
func TestTreeHz(t *testing.T) {
	dir := t.TempDir()
	for name, content := range map[string][]byte{"i2c-1": {0x00, 0x06, 0x1A, 0x80}, "i2c-3": {0x00, 0x06}} {
		node := filepath.Join(dir, name, "of_node")
		if err := os.MkdirAll(node, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(node, "clock-frequency"), content, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for node, want := range map[string]int{"/dev/i2c-1": 400_000, "/dev/i2c-2": 0, "/dev/i2c-3": 0, "adapter": 0, "": 0} {
		if hz, ok := treeHz(dir, node); hz != want || ok != (want != 0) {
			t.Errorf("%q: %d Hz, %v; want %d", node, hz, ok, want)
		}
	}
}
