//go:build !linux

package gpioline

import (
	"context"
	"errors"
	"fmt"

	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/problem"
)

var errNeedsLinux = problem.Of(problem.Rig, fmt.Errorf("GPIO lines need Linux: %w", errors.ErrUnsupported))

// Set cannot be had without Linux.
type Set struct{}

// Open says that GPIO lines need Linux.
func Open([]Request, ...SafeWrite) (*Set, error) { return nil, errNeedsLinux }

// Find says that GPIO lines need Linux.
func Find(line.Line) (chipPath string, offset int, err error) { return "", 0, errNeedsLinux }

// Inventory says that GPIO lines need Linux.
func Inventory() ([]ChipInfo, error) { return nil, errNeedsLinux }

// Guarded is false: there are no drives.
func (*Set) Guarded() bool { return false }

// Now is not to be had; see Open.
func (*Set) Now() capture.Instant { return 0 }

// Wait says that GPIO lines need Linux.
func (*Set) Wait(context.Context, capture.Instant) error { return errNeedsLinux }

// Edges says that GPIO lines need Linux.
func (*Set) Edges(buf []line.Edge) ([]line.Edge, error) { return buf, errNeedsLinux }

// Active says that GPIO lines need Linux.
func (*Set) Active(int) (bool, error) { return false, errNeedsLinux }

// Drive says that GPIO lines need Linux.
func (*Set) Drive(int, bool) (at capture.Instant, within int64, err error) {
	return 0, 0, errNeedsLinux
}

// Release has nothing to release.
func (*Set) Release() error { return nil }

// Close has nothing to close.
func (*Set) Close() error { return nil }
