package gpioline

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/i2cbus"
)

// A write is tried this often, with a pause in between that outlasts a disturbance of the
// bus, and not for longer than this.
const (
	writeAttempts = 4
	writePause    = 5 * time.Millisecond
	writeTimeout  = time.Second
)

// safeWrite is a SafeWrite with its bus opened, so that nothing is left to be found when it
// must be done.
type safeWrite struct {
	SafeWrite
	bus i2c.BusCloser
}

// openSafeWrites opens the buses. They are other descriptors than those with
// which the program works, so that it may close its own.
func openSafeWrites(list []SafeWrite) ([]safeWrite, error) {
	var all []safeWrite
	for _, w := range list {
		bus, err := i2cbus.OpenBus(w.Bus)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("%s: %w", w.title(), err), closeSafeWrites(all))
		}
		all = append(all, safeWrite{w, bus})
	}
	return all, nil
}

// title names the write in messages.
func (w SafeWrite) title() string { return fmt.Sprintf("safe state of address %#02x", w.Address) }

// run writes. It may be called from any goroutine: the bus carries one transfer at a time.
func (s *safeWrite) run() error {
	began := time.Now()
	for attempt := 1; ; attempt++ {
		err := s.bus.Tx(s.Address, s.Bytes, nil)
		if err == nil {
			return nil
		}
		if attempt == writeAttempts || time.Since(began) > writeTimeout {
			return fail(s.title(), "", err)
		}
		time.Sleep(writePause)
	}
}

// runSafeWrites does every write; one that fails does not keep the others from being done.
func runSafeWrites(all []safeWrite) error {
	var failed []error
	for i := range all {
		failed = append(failed, all[i].run())
	}
	return errors.Join(failed...)
}

func closeSafeWrites(all []safeWrite) error {
	var failed []error
	for _, s := range all {
		failed = append(failed, s.bus.Close())
	}
	return errors.Join(failed...)
}
