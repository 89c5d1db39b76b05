package live

import (
	"fmt"
	"math"
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/rig/bench"
	"makebreak/rig/line"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/sequences/setup"
)

// sight is what has been seen of the rig.
type sight struct {
	glance  bench.Glance         // the newest one
	samples []bench.SampleGlance // the newest of each output, also of captures before
	at      time.Time            // on the wall clock; zero: never
	mono    time.Time            // by the clock that nobody sets
	fresh   bool                 // it was asked for after what else the state tells
}

// add takes a glance in.
func (s *sight) add(g *bench.Glance, at, mono time.Time) {
	if len(s.samples) != len(g.Outputs) || g.At < s.glance.At { // a bench that was opened anew
		s.samples = make([]bench.SampleGlance, len(g.Outputs))
	}
	for i, o := range g.Outputs {
		if o.Seen {
			s.samples[i] = o
		}
	}
	lines := append(s.glance.Lines[:0], g.Lines...)
	s.glance = *g
	s.glance.Lines, s.glance.Outputs = lines, nil
	s.at, s.mono = at, mono
}

// into writes what has been seen into a state. Outputs are those of names, in their order.
func (s *sight) into(x *State, of *Of, names []string) {
	if s.at.IsZero() {
		return
	}
	x.SeenAt, x.Troubles, x.Seen = s.at, s.glance.Counts, s.fresh
	x.Lost, s.fresh = time.Since(s.mono) >= stale, false
	x.Step = s.step(of)
	for _, o := range of.Rig.Outputs {
		if i := slices.Index(names, o.Name); i >= 0 && i < len(s.samples) {
			x.Outputs = append(x.Outputs, s.output(of, o.Name, o.Nominal, i, x))
		}
	}
	for i, g := range s.glance.Lines {
		x.Lines = append(x.Lines, s.line(of, i, &g))
	}
	x.Cautions = cautions(of, x)
}

// step is where the bench is.
func (s *sight) step(of *Of) Step {
	p := unpacked(s.glance.Place)
	steps := of.Sequence.Steps
	x := Step{Cycle: p.cycle, Number: p.step + 1, Of: len(steps), Waiting: p.waiting}
	if p.cycle == 0 || p.step >= len(steps) {
		return x
	}
	step := steps[p.step]
	x.Event, x.Hold = step.Event, step.Hold
	if !p.waiting {
		x.Since = s.glance.At.Sub(s.glance.Event.At)
	} else if c := of.Rig.Cause(step.Cause); c != nil && c.Drive == "" {
		x.Person = c.Prompt
	}
	return x
}

// output is what the newest sample of an output says.
func (s *sight) output(of *Of, name string, nominal float64, i int, x *State) Output {
	sample := s.samples[i]
	o := Output{Name: name, Known: sample.Seen, Volts: Number(math.NaN())}
	plan := of.Sequence.Plan.Output(name)
	var demand analyze.Demand
	demand, o.Should = should(of, plan, x.Step)
	if !o.Known {
		return o
	}
	o.Volts, o.Age = Number(sample.Volts), s.glance.At.Sub(sample.At)
	o.Fresh = !x.Lost && o.Age < stale
	o.State = levelWord(sample.Volts, nominal, plan)
	o.Against = o.Fresh && against(demand, o.State, plan, x.Step)
	return o
}

// levelWord is the state that a level in volts is of: by the output's limits where there are
// both, else by half of its nominal voltage.
func levelWord(volts, nominal float64, plan *analyze.OutputPlan) string {
	if plan != nil {
		low, high := plan.Limits.Of(analyze.LowLevel).Upper, plan.Limits.Of(analyze.HighLevel).Lower
		if low < high {
			switch {
			case volts >= high:
				return "high"
			case volts <= low:
				return "low"
			}
			return "between"
		}
	}
	if nominal == 0 {
		nominal = float64(analyze.AssumedNominal)
	}
	if volts >= nominal/2 {
		return "high"
	}
	return "low"
}

// should is what an output is expected to do after the step's event, and in words.
func should(of *Of, plan *analyze.OutputPlan, at Step) (analyze.Demand, string) {
	plain := &of.Sequence.Plan
	if _, moves := plain.Moves[at.Event]; moves || at.Cycle == 0 || at.Waiting {
		return analyze.Any, ""
	}
	x := analyze.Expectation{Demand: analyze.Any}
	switch {
	case plan != nil:
		var named bool
		if x, named = plan.Expect[at.Event]; !named {
			x.Demand = analyze.Unmoved
		}
	case plain.OthersUnmoved:
		x.Demand = analyze.Unmoved
	}
	word := x.Demand.String()
	switch {
	case x.Demand == analyze.Any:
		return x.Demand, ""
	case x.Demand == analyze.Pulse:
		return analyze.Any, fmt.Sprintf("pulse of %s", unit.Time.Short(x.After.Seconds(), 3))
	case x.Demand == analyze.Train && x.Pulses > 0:
		return analyze.Any, fmt.Sprintf("%d pulses", x.Pulses)
	case x.Demand == analyze.Train:
		return analyze.Any, "flashing"
	case x.After > 0 && at.Since < time.Duration(float64(x.After)*(1+x.Within)):
		return analyze.Any, fmt.Sprintf("%s after %s", word, unit.Time.Short(x.After.Seconds(), 3))
	}
	return x.Demand, word
}

// against reports whether a state is not the demanded one although there was time to get there:
// as long as the delay's limit allows, or a second.
func against(d analyze.Demand, state string, plan *analyze.OutputPlan, at Step) bool {
	high, named := d.State()
	if !named || at.Waiting {
		return false
	}
	patience := time.Second
	if plan != nil {
		if most := plan.Limits.Of(analyze.SwitchingDelay).Upper; most > 0 && plan.Expect[at.Event].After == 0 {
			patience = time.Duration(most * float64(time.Second))
		}
	}
	return at.Since > patience && state != map[bool]string{true: "high", false: "low"}[high]
}

// line is a line's state in words.
func (s *sight) line(of *Of, i int, g *bench.LineGlance) Line {
	name := bench.Requests(of.Rig)[i].Line.Name
	role := roleOf(of.Rig, i)
	l := Line{Name: name, Role: role.String(), Known: g.Known, On: g.Known && g.Closed, Lost: g.Lost, For: s.glance.At.Sub(g.Since)}
	if g.Known {
		l.State = map[line.Role][2]string{line.Contact: {"open", "closed"}, line.Reference: {"inactive", "active"}, line.Drive: {"off", "on"}}[role][index(g.Closed)]
	}
	return l
}

func index(on bool) int {
	if on {
		return 1
	}
	return 0
}

// cautions are what who stands at the bench must know now.
func cautions(of *Of, x *State) []string {
	if of.Rig.Simulated {
		return nil
	}
	var on, all []string
	for _, l := range x.Lines {
		if l.Role == line.Drive.String() && l.On {
			on = append(on, l.Name)
		}
	}
	if len(on) > 0 {
		verb := "is"
		if len(on) > 1 {
			verb = "are"
		}
		all = append(all, fmt.Sprintf("On now: %s %s driven. Contacts and sirens behind the unit may be live.", words.List(on), verb))
	}
	if setup.Acts(of.Rig, of.Sequence) {
		all = append(all, "The rig acts on this unit by itself. Keep clear of its terminals until the run has ended.")
	}
	return all
}
