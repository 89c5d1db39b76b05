package progress

import (
	"fmt"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"makebreak/analyze"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/sequences/pace"
)

// status is how far a run is, in words for one line. Its methods may be called from several
// goroutines at once: events come from where the bench runs, cycles from where they are stored.
type status struct {
	mu      sync.Mutex
	planned int
	cycle   int
	event   string
	last    analyze.Verdict // of the newest cycle that has ended; empty: none has
	failed  int             // cycles
	done    int             // cycles that have ended
	pace    pace.Pace
}

// begin says how many cycles there are to be, and when the first one begins.
func (s *status) begin(planned int, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.planned = planned
	s.pace.Add(now, s.done)
}

// happened says that an event was brought about.
func (s *status) happened(cycle int, event string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.cycle, s.event = cycle, event
}

// ended takes in a cycle that has ended.
func (s *status) ended(v analyze.Verdict, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.last = v
	if v == analyze.Fail {
		s.failed++
	}
	s.done++
	s.pace.Add(now, s.done)
}

// text says how far the run is in so many columns: the cycle, what the last one showed, rate
// and time left, and the event where there is room.
func (s *status) text(columns int) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	parts := []string{fmt.Sprintf("cycle %d", s.cycle)}
	if s.planned > 0 {
		parts[0] += fmt.Sprintf(" of %d", s.planned)
	}
	if s.last != "" {
		parts = append(parts, "last "+s.last.Name())
	}
	if s.failed > 0 {
		parts = append(parts, fmt.Sprintf("%d failed", s.failed))
	}
	if each := s.pace.Each(); each > 0 {
		parts = append(parts, rateWords(1/each.Seconds()))
		if left := s.planned - s.cycle + 1; s.planned > 0 && left > 0 {
			parts = append(parts, words.Left(time.Duration(left)*each)+" left")
		}
	}
	text := strings.Join(parts, ", ")
	if event := words.Safe(s.event); utf8.RuneCountInString(text+", "+event) <= columns {
		text += ", " + event
	}
	return text
}

// rateWords say how fast cycles go, in the unit in which that is 1 or more.
func rateWords(perSecond float64) string {
	for _, u := range []struct {
		name    string
		seconds float64
	}{{"s", 1}, {"min", 60}} {
		if n := perSecond * u.seconds; n >= 1 {
			return fmt.Sprintf("%s cycles/%s", unit.Number.Short(n, 3), u.name)
		}
	}
	return unit.Number.Short(perSecond*3600, 3) + " cycles/h"
}
