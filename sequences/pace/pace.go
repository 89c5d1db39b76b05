// Package pace estimates how quickly the cycles of a run go, from the newest of them. Those
// before a wait for the rig say nothing of those to come.
package pace

import (
	"slices"
	"time"
)

// The pace is taken over the last 20 cycles; where they are short, over the last 10 to 20 s.
const (
	mostMarks = 21
	markEvery = time.Second
)

// A Pace is how quickly cycles go. The zero value knows nothing yet. It is not safe for
// concurrent use.
type Pace struct{ marks []mark }

// mark is how many cycles were done at an instant.
type mark struct {
	at   time.Time
	done int
}

// Add says how many cycles are done at an instant, 0 at the beginning. Both rise.
func (p *Pace) Add(at time.Time, done int) {
	n := len(p.marks)
	if n > 1 && at.Sub(p.marks[n-2].at) < markEvery {
		p.marks[n-1] = mark{at, done} // the newest mark moves along
		return
	}
	if n == mostMarks {
		p.marks = slices.Delete(p.marks, 0, 1)
	}
	p.marks = append(p.marks, mark{at, done})
}

// Each returns how long a cycle takes; 0: not known yet.
func (p *Pace) Each() time.Duration {
	if len(p.marks) < 2 {
		return 0
	}
	first, last := p.marks[0], p.marks[len(p.marks)-1]
	if last.done <= first.done {
		return 0
	}
	return last.at.Sub(first.at) / time.Duration(last.done-first.done)
}
