// Package board starts the search for what the board offers, its GPIO chips
// and I²C buses, once and without side effects on the rest of the program.
package board

import (
	"errors"
	"fmt"
	"io"
	"log"
	"sync"

	"periph.io/x/conn/v3/driver/driverreg"
	_ "periph.io/x/host/v3/gpioioctl" // finds the GPIO chips
	_ "periph.io/x/host/v3/sysfs"     // finds the I²C buses
)

var initOnce = sync.OnceValue(initialise)

// Init lets periph find the GPIO chips and I²C buses. It does so once; later
// calls return the first one's result. Finding nothing is no error here: what
// is missing is said where it is asked for.
//
// Only the two drivers that the rig needs are taken in. periph's drivers for
// particular boards map the processor's registers, which the rig has no use
// for, and register pins under the same names, which makes the character
// device's names change.
func Init() error { return initOnce() }

func initialise() (err error) {
	restore, err := guardInput()
	if err != nil {
		return fmt.Errorf("board: standard input: %w", err)
	}
	defer func() { err = errors.Join(err, restore()) }()
	// What periph logs about a chip that cannot be opened is found again, and
	// returned as an error, when that chip is asked for.
	out := log.Writer()
	log.SetOutput(io.Discard)
	defer log.SetOutput(out)
	if _, err := driverreg.Init(); err != nil {
		return fmt.Errorf("board: looking for GPIO chips and I²C buses: %w", err)
	}
	return nil
}
