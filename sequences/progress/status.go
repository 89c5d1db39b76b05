package progress

import (
	"fmt"
	"math"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"makebreak/analyze"
	"makebreak/rig/unit"
	"makebreak/rig/words"
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
	ends    []time.Time     // of the newest cycles
}

// The rate is taken over so many cycles, or over so much time where they are short: those before
// a wait for the rig say nothing of those to come.
const (
	rateOver = 20
	rateTime = 10 * time.Second
)

// begin says how many cycles there are to be, and when the first one begins.
func (s *status) begin(planned int, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.planned, s.ends = planned, []time.Time{now}
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
	s.ends = append(s.ends, now)
	for len(s.ends) > rateOver+1 && now.Sub(s.ends[1]) > rateTime {
		s.ends = s.ends[1:]
	}
}

// perSecond is how many cycles there are in a second; 0: not known yet.
func (s *status) perSecond() float64 {
	n := len(s.ends) - 1
	if n < 1 {
		return 0
	}
	spent := s.ends[n].Sub(s.ends[0]).Seconds()
	if spent <= 0 {
		return 0
	}
	return float64(n) / spent
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
	if rate := s.perSecond(); rate > 0 {
		parts = append(parts, rateWords(rate))
		if left := s.planned - s.cycle + 1; s.planned > 0 && left > 0 {
			parts = append(parts, leftWords(time.Duration(float64(left)/rate*float64(time.Second)))+" left")
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

// leftWords say how long something takes, in one unit or in two.
func leftWords(d time.Duration) string {
	s := int64(math.Ceil(d.Seconds()))
	switch {
	case s < 60:
		return fmt.Sprintf("%d s", s)
	case s < 3600:
		return fmt.Sprintf("%d min", (s+59)/60)
	case s < 24*3600:
		return fmt.Sprintf("%d h %d min", s/3600, s%3600/60)
	}
	return fmt.Sprintf("%d d %d h", s/86400, s%86400/3600)
}
