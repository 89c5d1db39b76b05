package survey

import (
	"fmt"
	"io"
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/problem"
	"makebreak/rig/table"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// Report is a table with the run that it was made of.
type Report struct {
	*Table
	Run, RunID, Unit, By, Rig, Program, Notes string
	Started                                   time.Time
	Simulated                                 bool
	Seed                                      *uint64
	Faults                                    []string
	Complete                                  bool
	Done, Planned                             int    // rounds
	Reason                                    string // why it is not complete

	steps []step
	rows  []analyze.Measurement
	// phases are the times for which outputs that pulse or flash were high and low, each by itself.
	phases []analyze.Measurement
	floor  map[string]float64 // volts that the rig can tell apart, by output
	// intervals are how far an output's samples are apart, in seconds.
	intervals map[string]float64
}

// Read makes the table of a run in the log.
func Read(rec *journal.RunRecord, o Settings) (*Report, error) {
	if report.IsSealed(rec.Faults) {
		return nil, problem.Of(problem.Usage, fmt.Errorf("run %s is of an exercise, and what its unit does is to be found out", words.Safe(rec.ID)))
	}
	captures, err := CapturesOf(rec)
	if err != nil {
		return nil, err
	}
	t, err := Of(captures, o)
	if err != nil {
		return nil, err
	}
	r := &Report{Table: t, Run: rec.ID, RunID: rec.UUID, Unit: rec.Unit, By: rec.By, Rig: rec.Rig, Program: rec.Program, Notes: rec.Notes, Started: rec.Started,
		Simulated: rec.Seed != nil, Seed: rec.Seed, Faults: rec.Faults, Complete: rec.Complete, Done: rec.Cycles, Planned: rec.Planned, Reason: rec.WhyIncomplete()}
	r.steps = t.steps()
	if r.rows, r.phases, err = t.measured(captures, r.steps); err != nil {
		return nil, err
	}
	again := t.likeliest(r.rows)
	for r.demandNoBrief() || r.demandAfterFlashing() {
		again = true
	}
	if again {
		if r.rows, r.phases, err = t.measured(captures, r.steps); err != nil {
			return nil, err
		}
	}
	r.sharpen()
	t.figures(withPhases(r.settled(), r.phases))
	r.floor, r.intervals, err = sampling(captures)
	return r, err
}

// sharpen puts measured times in the place of those that were read from the samples alone.
func (r *Report) sharpen() {
	l := limiter{rows: r.rows, phases: r.phases}
	for name, acts := range r.acts {
		for k := range acts {
			a := &acts[k]
			of := func(step string) bool {
				x := r.expectedAt(step, name)
				return x.act == a && x.Demand != analyze.Any
			}
			take := func(seconds *float64, q analyze.Quantity) {
				if s := l.spread(q, of, name); s.N > 0 && *seconds > 0 && same(*seconds, s.Mean, leastTimes) {
					*seconds = s.Mean
				}
			}
			e := &a.Effect
			take(&e.After, analyze.SwitchingDelay)
			take(&e.On, analyze.PulseDuration)
			take(&e.On, analyze.OnTime)
			take(&e.Off, analyze.OffTime)
			take(&e.Lasts, analyze.FlashingDuration)
		}
	}
	for i := range r.Outputs {
		r.Outputs[i].Delay = r.Outputs[i].delay()
	}
}

// expectedAt is what an output must do at the first step of a name.
func (r *Report) expectedAt(name, output string) expected {
	i := slices.IndexFunc(r.steps, func(s step) bool { return s.name == name })
	if i < 0 {
		return expected{}
	}
	return r.steps[i].expect[output]
}

// settled are the rows less the delays of outputs that an event finds flashing and that go on: they
// say where in its flashing the event came.
func (r *Report) settled() (rows []analyze.Measurement) {
	for i := range r.rows {
		m := &r.rows[i]
		if m.Quantity == analyze.SwitchingDelay || m.Quantity == analyze.TransitionDuration {
			if x := r.expectedAt(m.Event, m.Signal); x.moving && x.Demand == analyze.Any {
				continue
			}
		}
		rows = append(rows, *m)
	}
	return rows
}

// demandNoBrief takes back what is demanded of trains whose times, as they were measured, are too
// short for a sequence to name or for the rig to tell, and reports whether there are any.
func (r *Report) demandNoBrief() (any bool) {
	l := limiter{phases: r.phases}
	for i := range r.steps {
		s := &r.steps[i]
		for name, x := range s.expect {
			if x.Demand != analyze.Train {
				continue
			}
			for _, q := range []analyze.Quantity{analyze.OnTime, analyze.OffTime} {
				p := l.spread(q, func(step string) bool { return step == s.name }, name)
				why := ""
				switch {
				case p.N == 0:
					continue
				case rounded(p.Mean) < leastPulse:
					why = briefPulses
				case p.Least-2*p.Expanded < (1-written)*p.Mean || p.Most+2*p.Expanded > (1+written)*p.Mean:
					why = "to be decided: the rig samples it too seldom to time its pulses"
				default:
					continue
				}
				r.expectOf(s.name, name, expected{why: why, act: x.act, moving: x.moving})
				any = true
			}
		}
	}
	return any
}

// demandAfterFlashing takes back what is demanded of outputs that an event finds flashing where
// nothing says that they may, and reports whether there are any.
func (r *Report) demandAfterFlashing() (any bool) {
	for _, name := range r.seen.signals(nil) {
		flashes := false
		for i := range r.steps {
			s := &r.steps[i]
			x := s.expect[name]
			if x.moving && !flashes && x.Demand != analyze.Any {
				x, any = expected{why: "it may flash until then, which the step before does not demand", act: x.act, moving: true}, true
				r.expectOf(s.name, name, x)
			}
			flashes = x.Flashes() || flashes && x.moving && x.Demand == analyze.Any
		}
	}
	return any
}

// expectOf sets what an output must do at all steps of a name.
func (r *Report) expectOf(step, output string, x expected) {
	for i := range r.steps {
		if r.steps[i].name == step {
			r.steps[i].expect[output] = x
		}
	}
}

// SameUnit says why a survey cannot go on: the rig, or the simulated unit on it, is not as it
// was when it began.
func SameUnit(rec *journal.RunRecord, rig, rigSource, notes string) error {
	if rig != rec.Rig || rigSource != rec.RigSource {
		return problem.Of(problem.Input, fmt.Errorf("run %s: the rig is not as it was when the run began (%s); name the same rig file with --rig", words.Safe(rec.ID), words.Safe(rec.Rig)))
	}
	if notes != rec.Notes {
		return problem.Of(problem.Usage, fmt.Errorf("run %s: %s; say so again with --programmed-as", words.Safe(rec.ID), words.Safe(rec.Notes)))
	}
	return nil
}

// lines are what there is to say of the whole survey: a word and what it says.
func (r *Report) lines() [][2]string {
	all := [][2]string{{"Survey", words.Safe(r.Run)}}
	add := func(word, text string) {
		if text != "" {
			all = append(all, [2]string{word, text})
		}
	}
	add("Unit", words.Safe(r.Unit))
	rig := words.Safe(r.Rig)
	if r.Simulated {
		rig += fmt.Sprintf(", simulated bench (seed %d): nothing real was measured", *r.Seed)
	}
	add("Rig", rig)
	if r.Simulated && len(r.Faults) > 0 {
		add("Faults", words.List(r.Faults))
	}
	add("Note", words.Safe(r.Notes))
	add("Started", r.Started.UTC().Format("2006-01-02 15:04:05")+" UTC")
	add("By", words.Safe(r.By))
	add("Program", words.Safe(r.Program))
	add("Events", words.List(r.Events))
	add("Roles", r.Roles.Words())
	if len(r.Deciding) > 0 {
		add("Conditions", "what an event does can depend on which of these came last: "+words.List(r.Deciding))
	} else {
		add("Conditions", "no event was seen to change what another does")
	}
	seen := fmt.Sprintf("%s in %s, each for %s or more", words.Count(r.States, "state"), words.Count(r.Cycles, "round"), unit.Time.Short(r.Watched, 3))
	add("Watched", seen+"; what takes longer was not seen")
	if !r.Complete {
		text := fmt.Sprintf("%d of %d rounds are done", r.Done, r.Planned)
		if r.Reason != "" {
			text += "; " + words.Safe(r.Reason)
		}
		add("Incomplete", text)
	}
	return all
}

// shown are the quantities that stand beside a behaviour.
var shown = []analyze.Quantity{analyze.HighLevel, analyze.LowLevel, analyze.SwitchingDelay, analyze.PulseDuration, analyze.OnTime, analyze.OffTime, analyze.OperateTime, analyze.ReleaseTime, analyze.TransferTime, analyze.BounceTime}

// figureLines are the figures beside a behaviour, each quantity by its name.
func figureLines(all []Figure) (lines []string) {
	for _, q := range shown {
		for i := range all {
			f := &all[i]
			if f.Quantity != q || f.Event != "" || f.Bound != analyze.NoBound {
				continue
			}
			if f.Quantity == analyze.SwitchingDelay && f.Most > 3*f.Least {
				lines = append(lines, delayLines(all)...)
				continue
			}
			of := ""
			if f.Contact != "" {
				of = words.Safe(f.Contact) + " "
			}
			lines = append(lines, of+q.Words()+" "+f.Text())
		}
	}
	return lines
}

// delayLines are the delays event by event, where they are not alike.
func delayLines(all []Figure) (lines []string) {
	for i := range all {
		if f := &all[i]; f.Quantity == analyze.SwitchingDelay && f.Event != "" && f.Bound == analyze.NoBound {
			lines = append(lines, f.Quantity.Words()+" "+f.Text()+", at "+words.Safe(f.Event))
		}
	}
	return lines
}

// Text writes the table for people.
func (r *Report) Text(w io.Writer) error {
	for _, l := range r.lines() {
		fmt.Fprintf(w, "%-12s %s\n", l[0], l[1])
	}
	fmt.Fprintln(w)
	return table.Write(w, []string{"signal", "what it does, and what was measured (± at 95 %, spread as standard deviation)"}, func(row func(...any)) {
		for i := range r.Outputs {
			b := &r.Outputs[i]
			row(b.Signal, b.Words())
			for _, l := range figureLines(b.Figures) {
				row("", "  "+l)
			}
		}
		for i := range r.Relays {
			x := &r.Relays[i]
			row(x.Plan.Signal, x.Words())
			for _, l := range figureLines(x.Figures) {
				row("", "  "+l)
			}
		}
	})
}
