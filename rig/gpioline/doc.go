// Package gpioline reads contacts and sets drives on the lines of the Linux
// GPIO character device, user interface version 2 (kernel 5.10 and later).
//
// Chips and lines are found through periph. The lines are requested here,
// because periph's own wait for an edge drops the kernel's time stamp, the
// direction and the sequence number, which are all that counts on a bench.
//
// Every line is a request of its own. The kernel caps a request's queue at
// 1,024 events however many lines share it (gpiolib-cdev.c, linereq_create),
// so one request a line gives each contact the largest queue there is, and a
// chattering contact cannot push another's edges out. It costs one descriptor
// and one read a line.
//
// Polarity is the kernel's: an active-low line is requested as such, so that
// "rising" always means that a contact closed or a line became active, for
// events, for levels and for drives alike.
//
// Contacts and references report both edges. A converter's ready line reports
// becoming active only: its pulse is shorter than the time the kernel takes to
// look at the level, and both edges would be told as one that leads nowhere.
//
// A drive is requested as an output with its inactive value in one call, so
// that it makes no pulse. It is released by Release and Close, and, when the
// program dies without either (a panic, kill -9) or stands still, by a guard process; see
// [makebreak/rig/guard]. What a chip on an I²C bus must be set to then is written at the same
// occasions: see SafeWrite.
package gpioline

import (
	"makebreak/rig/line"
)

// Consumer is the label under which the kernel lists the lines held here.
const Consumer = "makebreak"

// QueueLen is how many edges of one line the kernel keeps until they are read.
// Newer ones then push the oldest out, which shows as a gap in Edge.Seq.
const QueueLen = 1024

// Request is one line wanted and what for.
type Request = line.Request

// A SafeWrite puts a chip on an I²C bus into its safe state. It is written whenever the
// drives are released, because the chip would keep its setting for ever.
type SafeWrite struct {
	Bus     string // as i2cbus.OpenBus takes it
	Address uint16 // 7 bit
	Bytes   []byte
}

// ChipInfo is what the kernel says of one GPIO chip.
type ChipInfo struct {
	Name  string // "gpiochip0"
	Path  string // "/dev/gpiochip0"
	Label string // the driver's name for it, e.g. "pinctrl-bcm2711"
	Lines []LineInfo
}

// LineInfo is what the kernel says of one line.
type LineInfo struct {
	Offset    int
	Name      string // may be empty
	Used      bool   // held by a program or by the kernel itself
	Consumer  string // who holds it, where that is known
	Output    bool
	ActiveLow bool
	Pull      line.Pull // empty: as the board left it
}
