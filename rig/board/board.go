// Package board starts the search for the board's GPIO chips, once and without
// side effects on the rest of the program.
package board

import (
	"errors"
	"fmt"
	"io"
	"log"
	"sync"

	"periph.io/x/conn/v3/driver/driverreg"
	_ "periph.io/x/host/v3/gpioioctl" // finds the GPIO chips

	"makebreak/rig/problem"
)

var initOnce = sync.OnceValue(initialise)

// Init lets periph find the GPIO chips, for gpioioctl.Chips to list. It does so
// once; later calls return the first one's result. Finding nothing is no error
// here: what is missing is said where it is asked for.
//
// Only periph's driver of the GPIO character device is taken in. Those for
// particular boards map the processor's registers and register pins under the
// same names, which makes the character device's names change; the one for
// the old GPIO files keeps one of them open, at standard input's number where
// that has been closed (see guardInput).
func Init() error { return initOnce() }

func initialise() (err error) {
	restore, err := guardInput()
	if err != nil {
		return problem.Of(problem.Rig, fmt.Errorf("standard input: %w", err))
	}
	defer func() {
		if restoreErr := restore(); restoreErr != nil {
			err = errors.Join(err, problem.Of(problem.Rig, fmt.Errorf("standard input: %w", restoreErr)))
		}
	}()
	// What periph logs about a chip that cannot be opened is found again, and
	// returned as an error, when that chip is asked for.
	out := log.Writer()
	log.SetOutput(io.Discard)
	defer log.SetOutput(out)
	if _, err := driverreg.Init(); err != nil {
		return problem.Of(problem.Rig, fmt.Errorf("look for GPIO chips: %w", err))
	}
	return nil
}
