package drawnpanel

import (
	"context"
	"fmt"
	"slices"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/sim"
)

// Play brings events about at the panel itself, with a time after each, and returns what outputs
// are said to do and did not, by the simulator's truth. The panel takes the same time for each
// event here, so that what is left of an earlier one can be told from what comes of the next.
func (p *Panel) Play(seed uint64, events []string, hold time.Duration) (mistold []string, moved []Kind, err error) {
	opts := p.Opts(seed)
	opts.Unit.DelayJitter = 1
	var begun []capture.Instant
	crossings := map[string][]sim.Crossing{}
	opts.OnTruth = func(e sim.TruthEvent) {
		if e.Name != "" {
			begun = append(begun, e.At.Add(p.unit.Delay))
		}
		for _, c := range e.Crossings {
			crossings[c.Output] = append(crossings[c.Output], c)
		}
	}
	if err := p.play(opts, events, hold); err != nil {
		return nil, nil, fmt.Errorf("seed %d: %w", p.Seed, err)
	}
	if len(begun) != len(events) {
		return nil, nil, fmt.Errorf("seed %d: %d events of %d came about", p.Seed, len(begun), len(events))
	}
	for i := range p.Outputs {
		o := &p.Outputs[i]
		mistold = append(mistold, p.compare(o, events, hold, begun, crossings[o.Name])...)
		if len(crossings[o.Name]) > 0 {
			moved = append(moved, o.Kind)
		}
	}
	return mistold, moved, nil
}

func (p *Panel) play(opts sim.Opts, events []string, hold time.Duration) error {
	world, err := sim.NewWorld(p.Rig, opts)
	if err != nil {
		return err
	}
	lines, err := world.Lines(bench.Requests(p.Rig))
	if err != nil {
		return err
	}
	if err := wait(world, lines, time.Second); err != nil {
		return err
	}
	for _, e := range events {
		world.Act(e)
		if err := wait(world, lines, hold); err != nil {
			return err
		}
	}
	return lines.Close()
}

// wait lets time pass on the bench.
func wait(world *sim.World, lines line.Set, lasts time.Duration) error {
	var edges []line.Edge
	for end := world.Now().Add(lasts); world.Now() < end; {
		if err := lines.Wait(context.Background(), end); err != nil {
			return err
		}
		var err error
		if edges, err = lines.Edges(edges[:0]); err != nil {
			return err
		}
	}
	return nil
}

// Switching is one of an output, by what it is said to do.
type Switching struct {
	After time.Duration // since the event, beyond the panel's own delay
	High  bool
}

// Expect tells the switchings of an output that a person who has been told what it does waits
// for, at each of some events that come one after the other, with a time after each.
func (b *Behaviour) Expect(arming func(event string) bool, first string, events []string, hold time.Duration) [][]Switching {
	all := make([][]Switching, len(events))
	high, last := b.Rest, first
	var pending []Switching // of an earlier act, counted from the event that is looked at
	for i, e := range events {
		for _, a := range b.Acts {
			if a.Event == e && (len(a.While) == 0 || slices.Contains(a.While, last)) {
				pending = a.switchings(time.Duration(len(events)-i) * hold)
			}
		}
		if arming(e) {
			last = e
		}
		var rest []Switching
		for _, s := range pending {
			switch {
			case s.After >= hold:
				rest = append(rest, Switching{s.After - hold, s.High})
			case s.High != high:
				high = s.High
				all[i] = append(all[i], s)
			}
		}
		pending = rest
	}
	return all
}

// switchings lists what an act does, up to a time.
func (a *Act) switchings(horizon time.Duration) []Switching {
	switch a.Does {
	case GoesOn, GoesOff:
		return []Switching{{a.After, a.Does == GoesOn}}
	case Pulses:
		var all []Switching
		for n := range a.Pulses {
			at := a.After + time.Duration(n)*(a.On+a.Off)
			all = append(all, Switching{at, true}, Switching{at + a.On, false})
		}
		return all
	}
	end := horizon
	if a.For > 0 {
		end = a.After + a.For
	}
	var all []Switching
	for at := a.After; at < end; at += a.On + a.Off {
		all = append(all, Switching{at, true}, Switching{min(at+a.On, end), false})
	}
	if a.For == 0 && len(all) > 0 && all[len(all)-1].After == end {
		all = all[:len(all)-1] // it would go on
	}
	return all
}

// compare says at which events an output did not do what it is said to. The last one is cut
// short by the panel's own delay and is left out.
func (p *Panel) compare(o *Output, events []string, hold time.Duration, begun []capture.Instant, did []sim.Crossing) (wrong []string) {
	arming := func(e string) bool { return e == p.Events.Disarm || slices.Contains(p.Events.Arms, e) }
	for n, want := range o.Expect(arming, p.Events.Disarm, events, hold)[:len(events)-1] {
		var got []Switching
		for _, c := range did {
			if c.At >= begun[n] && c.At < begun[n+1] {
				got = append(got, Switching{c.At.Sub(begun[n]), c.High})
			}
		}
		same := slices.EqualFunc(got, want, func(a, b Switching) bool {
			return a.High == b.High && (a.After-b.After).Abs() < 3*time.Millisecond
		})
		if !same {
			wrong = append(wrong, fmt.Sprintf("seed %d, %s, %s at event %d, %s: %v, said to do %v", p.Seed, o.Name, o.Behaviour, n+1, events[n], got, want))
		}
	}
	return wrong
}
