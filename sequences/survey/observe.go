package survey

import (
	"errors"
	"fmt"
	"iter"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/measure"
	"makebreak/rig/capture"
	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
)

// Capture is the capture of one cycle of a survey, its events by their own names.
type Capture struct {
	*capture.Capture
	Cycle int
	Whole bool // its last state lasted as long as it should
	// Anew says that what came before is not known: the run was cut off there, and went on.
	Anew bool
}

// Captures are those of a survey's cycles, in their order. They can be gone through again.
type Captures = iter.Seq2[Capture, error]

// CapturesOf returns the captures that the log keeps of a run, with the events named as the rig
// knows them. A run of which none is kept is an error of the kind Usage.
func CapturesOf(rec *journal.RunRecord) (Captures, error) {
	seq, err := sequences.Parse(rec.Sequence, []byte(rec.SequenceSource))
	if err != nil {
		return nil, problem.Of(problem.Storage, fmt.Errorf("run %s: its sequence in the log cannot be read: %w", words.Safe(rec.ID), err))
	}
	if seq.MovesSupply() {
		return nil, problem.Of(problem.Usage, fmt.Errorf("run %s moves the supply; a survey is made of runs that do not", words.Safe(rec.ID)))
	}
	causes := map[string]string{}
	for _, s := range seq.Steps {
		causes[s.Event] = s.Cause
	}
	kept, err := rec.Captured()
	if err != nil {
		return nil, err
	}
	if len(kept) == 0 {
		return nil, problem.Of(problem.Usage, fmt.Errorf("no capture is kept of run %s", words.Safe(rec.ID)))
	}
	cuts, err := rec.Interruptions()
	if err != nil {
		return nil, err
	}
	return func(yield func(Capture, error) bool) {
		last := 0
		for info, err := range rec.CycleInfos() {
			if err != nil {
				yield(Capture{}, err)
				return
			}
			if !info.HasCapture {
				continue
			}
			c, err := captureOf(rec, info, causes)
			c.Anew = info.N != last+1 || slices.ContainsFunc(cuts, func(i journal.Interruption) bool { return i.After >= last && i.After < info.N })
			last = info.N
			if !yield(c, err) || err != nil {
				return
			}
		}
	}, nil
}

func captureOf(rec *journal.RunRecord, info journal.CycleInfo, causes map[string]string) (Capture, error) {
	data, err := rec.Capture(info.N)
	if err != nil {
		return Capture{}, err
	}
	c := &capture.Capture{}
	if err := c.UnmarshalBinary(data); err != nil {
		return Capture{}, problem.Of(problem.Storage, fmt.Errorf("run %s, cycle %d: %w", words.Safe(rec.ID), info.N, err))
	}
	for i := range c.Events {
		if cause := causes[c.Events[i].Name]; cause != "" {
			c.Events[i].Name = cause
		}
	}
	return Capture{Capture: c, Cycle: info.N, Whole: info.Complete}, nil
}

// errNothing says that there is nothing to learn from.
var errNothing = errors.New("no state was watched to its end, so nothing was learnt")

// eachState calls do for each state of the captures that was watched to its end: with its event
// and the instant of its end.
func eachState(captures Captures, begin func(Capture) error, do func(c Capture, e capture.Event, to capture.Instant)) error {
	for c, err := range captures {
		if err != nil {
			return err
		}
		if err := begin(c); err != nil {
			return err
		}
		for i, e := range c.Events {
			to := c.End
			if i+1 < len(c.Events) {
				to = c.Events[i+1].At
			} else if !c.Whole {
				break
			}
			do(c, e, to)
		}
	}
	return nil
}

// observe reads what was seen of each output in each state, and of the relays' contacts.
func observe(captures Captures, events []string) (*seen, *contactsSeen, error) {
	s := &seen{outputs: map[string][]*observation{}}
	k := newContactsSeen()
	var meter *measure.Meter
	before := ""
	begin := func(c Capture) (err error) {
		if meter == nil || c.Anew {
			meter, err = measure.NewMeter(nil, c.Capture)
		}
		if c.Anew {
			before = ""
		}
		return err
	}
	err := eachState(captures, begin, func(c Capture, e capture.Event, to capture.Instant) {
		meter.State(c.Capture, e, to)
		meter.Take()
		i := len(s.states)
		place := 0
		if i > 0 && s.states[i-1].cycle == c.Cycle {
			place = s.states[i-1].place + 1
		}
		s.states = append(s.states, state{event: e.Name, before: before, cycle: c.Cycle, place: place, lasts: to.Sub(e.At).Seconds()})
		before = e.Name
		for _, t := range c.Traces {
			s.observe(meter, t, i, e.At, to)
		}
		k.observe(c.Capture, e.At, to, s)
	})
	if err != nil {
		return nil, nil, err
	}
	if len(s.states) == 0 {
		return nil, nil, problem.Of(problem.Usage, errNothing)
	}
	s.events = s.eventsSeen(events)
	return s, k, nil
}

// eventsSeen are the events that came, in the order given, then those not in it.
func (s *seen) eventsSeen(order []string) []string {
	var all []string
	came := func(event string) bool {
		return slices.ContainsFunc(s.states, func(x state) bool { return x.event == event })
	}
	for _, e := range order {
		if came(e) {
			all = append(all, e)
		}
	}
	for _, x := range s.states {
		if !slices.Contains(all, x.event) {
			all = append(all, x.event)
		}
	}
	return all
}

// observe adds what an output did in a state.
func (s *seen) observe(m *measure.Meter, t *capture.Trace, i int, from, to capture.Instant) {
	signal := t.Signal
	o := &observation{at: i, lasts: to.Sub(from).Seconds(), step: intervalOf(t)}
	stretches, more := m.Stretches(signal)
	o.more = more
	for n, x := range stretches {
		if n == 0 {
			o.known, o.high = true, x.High
			continue
		}
		o.times = append(o.times, x.From.Sub(from).Seconds())
	}
	all := s.outputs[signal]
	if n := len(all); n > 0 && all[n-1].at == i-1 && s.states[i].before != "" && all[n-1].flashing() {
		o.moving, o.half = true, all[n-1].longerHalf()
	}
	s.outputs[signal] = append(all, o)
}

// longerHalf is the longer of the two times of a flashing, in seconds.
func (o *observation) longerHalf() float64 {
	highs, lows := o.stretches()
	return max(median(highs), median(lows))
}

// relaysOf are the relays that a capture's contacts are of: those named as one's make and break
// contact, and each other contact by itself.
func relaysOf(c *capture.Capture, contacts []string) []analyze.RelayPlan {
	relays := analyze.RelaysOf(c)
	for _, name := range contacts {
		used := slices.ContainsFunc(relays, func(r analyze.RelayPlan) bool { return r.Make == name || r.Break == name })
		if !used && c.Track(name) != nil {
			relays = append(relays, analyze.RelayPlan{Signal: name, Make: name, MustOperate: notStated, MustRelease: notStated})
		}
	}
	return relays
}
