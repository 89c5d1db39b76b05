//go:build !linux

package guard

import (
	"errors"
	"fmt"
)

// Guard cannot be had without Linux.
type Guard struct{}

// Post says that a guard needs Linux.
func Post() (*Guard, error) {
	return nil, fmt.Errorf("a guard needs Linux: %w", errors.ErrUnsupported)
}

// Dismiss has nothing to end.
func Dismiss() {}

// EndWell has nobody to tell.
func EndWell() {}

// Tell has nobody to tell.
func Tell(string) {}

// Keep says that a guard needs Linux.
func Keep(Report) error { _, err := Post(); return err }

// Tell has nobody to tell.
func (*Guard) Tell(string) {}
