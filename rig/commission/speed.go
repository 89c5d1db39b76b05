package commission

import (
	"fmt"
	"math"
	"strings"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/capture"
	"makebreak/rig/i2cbus"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// speedOff is how far the bus's clock may be off the rig file's as a share of it: a
// board divides it from one that is set for other ends (common practice, no source), and
// the usual speeds lie further apart.
const speedOff = 0.2

// What the rig file can say of the bus's clock, in hertz.
const fileLeastHz, fileMostHz = 10e3, 400e3

// A BusSpeed is what is known of a bus's clock.
type BusSpeed struct {
	i2cbus.Speed
	treeHz int // as the device tree asks for it; 0: it does not say
	fileHz int // as the rig file says
	bus    string
}

// measureSpeed measures the clock of a real rig's bus by the chip at the address.
func measureSpeed(bus i2c.Bus, rig *wiring.Rig, addr uint16) (*BusSpeed, error) {
	began := time.Now()
	speed, err := i2cbus.MeasureSpeed(bus, addr, i2cbus.ManyReads, func() capture.Instant { return capture.Instant(time.Since(began)) })
	if err != nil {
		return nil, err
	}
	s := &BusSpeed{Speed: speed, fileHz: rig.BusHz, bus: bus.String()}
	s.treeHz, _ = i2cbus.TreeHz(bus)
	return s, nil
}

// String says what was measured, and what is written.
func (s *BusSpeed) String() string {
	if s == nil {
		return "not measured"
	}
	said := []string{s.measured()}
	if s.treeHz > 0 {
		said = append(said, unit.Hertz(float64(s.treeHz))+" in the device tree")
	}
	return strings.Join(append(said, unit.Hertz(float64(s.fileHz))+" in the rig file"), ", ")
}

func (s *BusSpeed) measured() string {
	if s.Faster {
		return fmt.Sprintf("faster than %s: transfers take no time that could be measured", unit.Hertz(s.Hz))
	}
	text := unit.Hertz(s.Hz)
	if s.Doubt >= 0.005 {
		text += fmt.Sprintf(" ± %.0f %%", 100*coverage95*s.Doubt)
	}
	text += " measured"
	if s.Overhead > 0 {
		text += ", and a transfer takes " + unit.Time.Short(s.Overhead.Seconds(), 2) + " besides its bits"
	}
	return text
}

// facts are what is known of the bus as facts of the computer.
func (s *BusSpeed) facts() []capture.MachineFact {
	if s == nil {
		return nil
	}
	hz := s.Hz
	if s.Faster {
		hz = math.NaN()
	}
	facts := []capture.MachineFact{capture.Is(capture.BusFileHz, float64(s.fileHz)), capture.Is(capture.BusHz, hz), capture.Is(capture.TransferTime, s.Overhead.Seconds())}
	if s.treeHz > 0 {
		facts = append(facts, capture.Is(capture.BusAskedHz, float64(s.treeHz)))
	}
	return facts
}

// off reports whether the bus runs at another speed than the rig file says.
func (s *BusSpeed) off() bool {
	return s != nil && !s.Faster && math.Abs(s.Hz/float64(s.fileHz)-1) > speedOff
}

// asked reports whether the board has been asked for the rig file's clock already.
func (s *BusSpeed) asked() bool {
	return s.treeHz > 0 && math.Abs(float64(s.treeHz)/float64(s.fileHz)-1) <= speedOff
}

// coreAdvice says why a bus can run at another clock than the board was asked for: on a
// Raspberry Pi up to 4 it is cut from the core clock, which goes up and down, by a divider that
// is set once (raspberrypi/linux issue 4884 has the remedies; 250 kHz for 400: raspberrypi/firmware
// issue 1281; faster than asked: raspberrypi/firmware issue 942).
func (s *BusSpeed) coreAdvice() string {
	text := fmt.Sprintf("the bus runs at %s, though the device tree asks for %s, as the rig file does. On a Raspberry Pi the bus's clock is cut from the core clock, which changes. "+
		"Give core_freq and core_freq_min the same value in config.txt and restart, or put enable_uart=1 there on a board with Bluetooth, or switch to the governor performance or powersave", unit.Hertz(s.Hz), unit.Hertz(float64(s.treeHz)))
	if s.fits() {
		text += "; " + s.orWrite()
	}
	return text + "."
}

// fits reports whether a rig file can say the clock that was measured.
func (s *BusSpeed) fits() bool { return s.Hz >= fileLeastHz && s.Hz <= fileMostHz }

// orWrite is the other way out: the rig file may say what was measured.
func (s *BusSpeed) orWrite() string {
	return "or write bus_speed: " + unit.Hertz(s.Hz) + " into the rig file"
}

// advice says how the two are brought together, where they are apart.
func (s *BusSpeed) advice() string {
	setting := "the baudrate of the bus's own dtoverlay in config.txt to"
	if s.bus == "/dev/i2c-1" {
		setting = "dtparam=i2c_arm_baudrate in config.txt to"
	}
	if s.asked() {
		return s.coreAdvice()
	}
	text := fmt.Sprintf("the bus runs at %s, and the rig file says %s, which is more than %.0f %% apart. On a Raspberry Pi set %s %d and restart", unit.Hertz(s.Hz), unit.Hertz(float64(s.fileHz)), 100*speedOff, setting, s.fileHz)
	if s.fits() {
		text += "; " + s.orWrite()
	}
	return text + "."
}
