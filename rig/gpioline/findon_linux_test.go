package gpioline

import (
	"errors"
	"testing"

	"golang.org/x/sys/unix"

	"makebreak/rig/line"
)

// A chip of four lines has the lines 0 to 3.
func TestFindOn_numbers(t *testing.T) {
	chips := []*chip{{name: "gpiochip0", lines: 4}}
	for number, ok := range map[int]bool{-1: false, 0: true, 3: true, 4: false, 5: false} {
		at, err := findOn(chips, line.Line{Number: number})
		if ok && (err != nil || at.offset != number) || !ok && !errors.Is(err, unix.EINVAL) {
			t.Errorf("line %d: offset %d, %v", number, at.offset, err)
		}
	}
}
