package words

import (
	"fmt"
	"time"
)

// timeUnits are the units in which a person says how long something takes.
var timeUnits = []struct {
	long time.Duration
	name string
}{{24 * time.Hour, "d"}, {time.Hour, "h"}, {time.Minute, "min"}, {time.Second, "s"}}

// Lasting says how long something took, in two units at most: "12 s", "2 h 10 min", "3 d". The
// rest is left out.
func Lasting(d time.Duration) string {
	for i, p := range timeUnits {
		if d < p.long {
			continue
		}
		said := fmt.Sprintf("%d %s", d/p.long, p.name)
		if i+1 < len(timeUnits) {
			if rest := d % p.long / timeUnits[i+1].long; rest > 0 {
				said += fmt.Sprintf(" %d %s", rest, timeUnits[i+1].name)
			}
		}
		return said
	}
	return "under 1 s"
}

// Left says about how long something still takes: as Lasting, rounded up to whole hours from a
// day on, to whole minutes from a minute on.
func Left(d time.Duration) string {
	whole := time.Second
	switch {
	case d > 24*time.Hour:
		whole = time.Hour
	case d > time.Minute:
		whole = time.Minute
	}
	return Lasting((d + whole - 1) / whole * whole)
}
