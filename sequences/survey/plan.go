package survey

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences"
)

// Name is the name of the sequence that a survey runs.
const Name = "survey"

// What a survey does where nobody says otherwise.
const (
	DefaultTimes = 3
	// DefaultWatch is long enough for an exit delay of 30 s and what comes after it.
	DefaultWatch = 45 * time.Second
)

// Bounds of what may be asked for.
const (
	mostTimes  = 1000
	mostEvents = 30 // more make more steps than a sequence may have
	leastWatch = time.Second
	mostWatch  = time.Hour
)

// Request is what is to be brought about.
type Request struct {
	Rig    *wiring.Rig
	Events []string      // of the rig's; nil: all that do not move the supply
	Times  int           // how often each event follows each other one; 0: DefaultTimes
	Watch  time.Duration // for how long each state is watched; 0: DefaultWatch, or less where a drive may not be on for so long
}

// Prepared is a survey that is ready to be run.
type Prepared struct {
	Sequence *sequences.Sequence
	Events   []string // in the rig's order
	LeftOut  []string // events that move the supply
	Watch    time.Duration
	// Short is the drive for which the states are watched for less than the default; empty: none.
	Short string
}

// Lasts is how long it takes.
func (p *Prepared) Lasts() time.Duration {
	return p.Sequence.Baseline + time.Duration(p.Sequence.Cycles)*p.Sequence.Duration()
}

// Prepare makes the sequence that brings each event about after each, or says why that cannot
// be done, as an error of the kind Usage.
func Prepare(r Request) (*Prepared, error) {
	p := &Prepared{Watch: r.Watch}
	if err := p.pick(r); err != nil {
		return nil, problem.Of(problem.Usage, err)
	}
	if r.Times == 0 {
		r.Times = DefaultTimes
	}
	if r.Times < 1 || r.Times > mostTimes {
		return nil, problem.Of(problem.Usage, fmt.Errorf("each state must be brought about from 1 to %d times, not %d", mostTimes, r.Times))
	}
	walk := Walk(startingWith(r.Rig, p.Events))
	if err := p.watch(r.Rig, walk); err != nil {
		return nil, problem.Of(problem.Usage, err)
	}
	seq, err := sequences.Parse(Name, []byte(source(walk, r.Times, p.Watch)))
	if err != nil {
		return nil, problem.Of(problem.Internal, err)
	}
	p.Sequence = seq
	return p, nil
}

// pick finds the events.
func (p *Prepared) pick(r Request) error {
	var all []string
	for _, c := range r.Rig.Causes {
		if s := r.Rig.Supply; s != nil && s.Stage != nil && c.Drive == s.Stage.Drive && c.Drive != "" {
			p.LeftOut = append(p.LeftOut, c.Event)
			continue
		}
		all = append(all, c.Event)
	}
	for _, e := range r.Events {
		if !slices.Contains(all, e) {
			if slices.Contains(p.LeftOut, e) {
				return fmt.Errorf("event %s moves the supply; a survey leaves it out", e)
			}
			return fmt.Errorf("rig %s has no event %q: %s", r.Rig.Name, words.Short(e, words.MostName), words.UseOneOf(e, all))
		}
	}
	for _, e := range all {
		if len(r.Events) == 0 || slices.Contains(r.Events, e) {
			p.Events = append(p.Events, e)
		}
	}
	switch n := len(p.Events); {
	case n == 0:
		return fmt.Errorf("rig %s has no event that a survey could bring about", r.Rig.Name)
	case n > mostEvents:
		return fmt.Errorf("rig %s has %d events, and a survey takes at most %d: name some with --event", r.Rig.Name, n, mostEvents)
	}
	return nil
}

// startingWith puts an event that disarms first, where one is called so, or one that sets a
// drive off: the walk begins and ends there, and leaves the unit disarmed and the drive off.
func startingWith(rig *wiring.Rig, events []string) []string {
	i := slices.IndexFunc(events, func(e string) bool { return roleByName(e) == "disarm" })
	if i < 0 {
		i = slices.IndexFunc(events, func(e string) bool {
			c := rig.Cause(e)
			return c.Drive != "" && c.Pulse == 0 && !c.On
		})
	}
	if i < 0 {
		return events
	}
	return append([]string{events[i]}, slices.Concat(events[:i], events[i+1:])...)
}

// watch finds for how long states are watched. A drive that is set and left may not be on for
// longer than the rig file says.
func (p *Prepared) watch(rig *wiring.Rig, walk []string) error {
	asked := p.Watch
	if asked == 0 {
		p.Watch = DefaultWatch
	}
	longest := leastWatch
	for _, e := range p.Events {
		if c := rig.Cause(e); c.Drive != "" {
			longest = max(longest, c.Pulse+leastWatch)
		}
	}
	if p.Watch < longest || p.Watch > mostWatch {
		return fmt.Errorf("each state must be watched for %s to %s, not %s", unit.Time.Format(longest.Seconds()), unit.Time.Format(mostWatch.Seconds()), unit.Time.Format(p.Watch.Seconds()))
	}
	for i := range rig.Drives {
		d := &rig.Drives[i]
		n := longestOn(rig, d.Name, walk)
		const spare = time.Second // before the bench would release it
		if n == 0 || time.Duration(n)*p.Watch <= d.LongestOn-spare {
			continue
		}
		most := ((d.LongestOn - spare) / time.Duration(n)).Truncate(100 * time.Millisecond)
		if asked > 0 || most < longest {
			return fmt.Errorf("drive %s may be on for %s, and a survey leaves it on for %s: each must be watched for %s at most",
				d.Name, unit.Time.Format(d.LongestOn.Seconds()), words.Count(n, "state"), unit.Time.Format(most.Seconds()))
		}
		p.Watch, p.Short = most, d.Name
	}
	return nil
}

// longestOn is for how many states in a row a drive is on that is set and left.
func longestOn(rig *wiring.Rig, drive string, walk []string) (most int) {
	run := 0
	for _, e := range slices.Concat(walk, walk) { // walks follow each other
		c := rig.Cause(e)
		switch sets := c.Drive == drive && c.Pulse == 0; {
		case sets && c.On:
			run++
		case sets:
			run = 0
		case run > 0:
			run++
		}
		if run > len(walk) {
			return math.MaxInt32 // nothing sets it off
		}
		most = max(most, run)
	}
	return most
}

// source is the sequence as its file would read.
func source(walk []string, times int, watch time.Duration) string {
	var b strings.Builder
	fmt.Fprintf(&b, "name: %s\nabout: Each event in each state that the events lead to; nothing is demanded.\ncycles: %d\nsample: sweep\nsteps:\n", Name, times)
	for _, e := range walk {
		fmt.Fprintf(&b, "  - {event: %s, hold: %s}\n", quoted(e), unit.Time.Format(watch.Seconds()))
	}
	return b.String()
}

// quoted is a name as YAML has it: events' and signals' names may read as something else, as off.
func quoted(name string) string {
	for _, r := range name {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_') {
			return strconv.Quote(name)
		}
	}
	if first := name[0]; first >= '0' && first <= '9' || first == '-' || slices.Contains([]string{"y", "n", "yes", "no", "on", "off", "true", "false", "null"}, strings.ToLower(name)) {
		return strconv.Quote(name)
	}
	return name
}
