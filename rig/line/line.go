// Package line says what the bench needs of GPIO lines and of the clock that
// stamps their edges. The kernel's character device and the simulated world
// both answer to it; nothing above knows which one it has.
package line

import (
	"context"
	"time"

	"makebreak/rig/capture"
)

// Pull is a line's bias.
type Pull string

// The biases.
const (
	PullNone Pull = "none"
	PullUp   Pull = "up"
	PullDown Pull = "down"
	// PullKept leaves the bias as it is, for a line of which nobody knows what is on it.
	PullKept Pull = "kept"
)

// Line is one GPIO line.
type Line struct {
	Name      string // as sequences and results say it, e.g. K1_NO
	Chip      string // GPIO chip: "gpiochip0"; may be empty where Header is unique
	Number    int    // line offset on the chip; -1 where LineName is given
	LineName  string // the line's name as the kernel knows it, e.g. "GPIO17"
	ActiveLow bool   // electrically low means closed or active
	Pull      Pull
}

// Role is what a line is for.
type Role int

// The roles.
const (
	Contact   Role = iota // a relay contact, read
	Reference             // reports the instant of an event, read
	Drive                 // acts on the unit, written
	Ready                 // a converter's ready pin, read
)

// String returns the role's word.
func (r Role) String() string {
	return [...]string{"contact", "reference", "drive", "ready line"}[r]
}

// Request is one line wanted and what for. A line's index among the requests is
// its index in the set.
type Request struct {
	Line Line
	Role Role
	// LongestOn is how long a drive may be on; 0: as long as it is told to.
	LongestOn time.Duration
}

// Edge is one change of a read line. Active is the state after it, polarity
// already applied: true for a closed contact, an active reference, a converter
// with a finished conversion.
type Edge struct {
	Line   int // index of the line in the set
	At     capture.Instant
	Active bool
	// Seq counts the line's edges from 1, as the kernel saw them. A gap is a
	// loss.
	Seq uint32
}

// Set is the lines of one rig, and its clock. It is used from one goroutine,
// apart from Release, which may be called from any.
type Set interface {
	// Now returns the present instant on the clock that stamps the edges.
	Now() capture.Instant
	// Wait returns when an edge waits to be read, when the deadline has come
	// or when the context is done (then with its error).
	Wait(ctx context.Context, deadline capture.Instant) error
	// Edges appends the edges that wait to be read, oldest first by line, and
	// returns at once.
	Edges(buf []Edge) ([]Edge, error)
	// Active returns the present state of a line, polarity applied.
	Active(line int) (bool, error)
	// Drive sets a drive and returns the instant at which it was set, known to
	// lie within the half-width given.
	Drive(line int, active bool) (at capture.Instant, within int64, err error)
	// Release makes every drive inactive, and does the safe writes that the set was
	// opened with. It needs no context, can be called at any time and any number
	// of times.
	Release() error
	// Close releases the drives and gives the lines back.
	Close() error
}
