// Package guard starts and speaks to the program's guard: a second process that puts drives
// and a supply at rest when the program has ended, however it did, or stands still, and that
// writes down beside the log how a program ended which did not end as it should.
//
// The program notices in turn when its guard ends, and tells who has something watched.
package guard

import (
	"makebreak/rig/guard/process"
)

// An Act puts one thing at rest: a drive, or a chip on a bus.
type Act = process.Act

// A Report says where it is written down how the program ended, and what it says of it.
type Report = process.Report
