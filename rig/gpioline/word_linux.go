package gpioline

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/i2cbus"
)

// A word is tried this often, with a rest in between that outlasts a disturbance of the
// bus, and not for longer than this.
const (
	wordAttempts = 4
	wordRest     = 5 * time.Millisecond
	wordPatience = time.Second
)

// saying is a last word with its bus opened, so that nothing is left to be found when it
// must be said.
type saying struct {
	word Word
	bus  i2c.BusCloser
}

// openSayings opens the buses of the words. They are other descriptors than those with
// which the program works, so that it may close its own.
func openSayings(words []Word) ([]saying, error) {
	var all []saying
	for _, w := range words {
		bus, err := i2cbus.OpenBus(w.Bus)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("last word to address %#02x: %w", w.Address, err), closeSayings(all))
		}
		all = append(all, saying{w, bus})
	}
	return all, nil
}

// say says the word. It may be called from any goroutine: the bus carries one transfer
// at a time.
func (s *saying) say() error {
	began := time.Now()
	for attempt := 1; ; attempt++ {
		err := s.bus.Tx(s.word.Address, s.word.Bytes, nil)
		if err == nil {
			return nil
		}
		if attempt == wordAttempts || time.Since(began) > wordPatience {
			return fmt.Errorf("gpioline: last word to address %#02x: %w", s.word.Address, err)
		}
		time.Sleep(wordRest)
	}
}

// sayAll says every word; one that fails does not keep the others from being said.
func sayAll(all []saying) error {
	var failed []error
	for i := range all {
		failed = append(failed, all[i].say())
	}
	return errors.Join(failed...)
}

func closeSayings(all []saying) error {
	var failed []error
	for _, s := range all {
		failed = append(failed, s.bus.Close())
	}
	return errors.Join(failed...)
}

// arguments returns the words as the guard is given them: three a word.
func arguments(words []Word) []string {
	var all []string
	for _, w := range words {
		all = append(all, w.Bus, strconv.Itoa(int(w.Address)), hex.EncodeToString(w.Bytes))
	}
	return all
}

// parseWords reads what arguments made.
func parseWords(args []string) ([]Word, error) {
	var all []Word
	for ; len(args) >= 3; args = args[3:] {
		address, err := strconv.ParseUint(args[1], 10, 7)
		if err != nil {
			return nil, err
		}
		b, err := hex.DecodeString(args[2])
		if err != nil {
			return nil, err
		}
		all = append(all, Word{Bus: args[0], Address: uint16(address), Bytes: b})
	}
	if len(args) > 0 {
		return nil, fmt.Errorf("%d arguments left over", len(args))
	}
	return all, nil
}
