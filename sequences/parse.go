package sequences

import (
	"math"
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
)

// What a sequence is taken to say where it does not.
const (
	DefaultCycles   = 5
	DefaultBaseline = 500 * time.Millisecond
	DefaultWithin   = 0.1 // of a pulse or an exit delay
)

// Bounds of what is read.
const (
	maxCycles = 10_000_000
	maxSteps  = 1000
)

// reader reads one file.
type reader struct {
	seq  *Sequence
	sets map[string]*limitSet
	// order keeps the sets in file order, so that messages come in a fixed one.
	order []*limitSet
	// events are the steps' events, in the order of the steps; nil for a move of the supply.
	events []*yamlfile.Node
	// refused is set where a state of the panel is needed that there is not.
	refused bool
	// misnamed is set where a set is named that does not exist.
	misnamed bool
}

// Parse reads a sequence file and checks it. The error is one or more
// *yamlfile.Error, joined.
func Parse(file string, src []byte) (*Sequence, error) {
	doc, err := yamlfile.Parse(file, src)
	if err != nil {
		return nil, err
	}
	if doc.Root.Has("chips") && !doc.Root.Has("steps") {
		doc.Root.Fail("this is a rig file, not a sequence", "give it by --rig, and a sequence here")
		return nil, doc.Err()
	}
	r := &reader{
		seq: &Sequence{
			Cycles: DefaultCycles, Baseline: DefaultBaseline, Plan: analyze.Plan{Decide: analyze.Guarded},
			Source: slices.Clone(src), File: file,
		},
		sets: map[string]*limitSet{},
	}
	r.read(doc.Root)
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return r.seq, nil
}

func (r *reader) read(root *yamlfile.Node) {
	f, ok := root.Fields("must be the keys of a sequence, as in name: arm-away")
	if !ok {
		return
	}
	s := r.seq
	r.name(f.Need("name", "arm-away"))
	s.About, _ = f.May("about").Text()
	if v, ok := f.May("cycles").Whole(1, maxCycles); ok {
		s.Cycles = int(v)
	}
	if n := f.May("baseline"); n != nil {
		s.Baseline = readTime(n, true)
	}
	w, _ := f.May("sample").Word(string(wiring.Sweep), string(wiring.Follow))
	s.Sample = wiring.Mode(w)
	if w, ok := f.May("decide").Word(string(analyze.Guarded), string(analyze.Simple)); ok {
		s.Plan.Decide = analyze.Rule(w)
	}
	if w, ok := f.May("overdue_calibrations").Word(string(capture.OverdueUndecided), string(capture.OverdueJudged)); ok {
		s.Plan.Overdue = capture.OverdueRule(w)
	}
	r.steps(f.Need("steps", "a list of {event: …, hold: …}"))
	r.panel(f.May("events"), f.May("begins"))
	r.limitSets(f.May("limits"))
	relays := f.May("relays")
	r.relays(relays)
	r.outputs(f.May("outputs"))
	r.link(relays)
	w, _ = f.May("others").Word("unmoved", "any")
	s.Plan.OthersUnmoved = w == "unmoved"
	r.unused()
	f.Done()
}

// name reads the sequence's name, which is shown in tables and may be given on the
// command line.
func (r *reader) name(n *yamlfile.Node) {
	s, ok := n.Text()
	if !ok {
		return
	}
	if words.NameFault(s) != "" {
		n.Refuse("", "must be up to 80 printed characters that do not start with =, +, - or @")
		return
	}
	r.seq.Name = s
}

func (r *reader) steps(n *yamlfile.Node) {
	items := n.Items()
	if len(items) > maxSteps {
		n.Refuse("the list is too long", "must have at most 1000 steps")
		return
	}
	for _, item := range items {
		f, ok := item.Fields("must be a step, as in {event: arm-away, hold: 3 s}")
		if !ok {
			continue
		}
		step := r.step(f)
		r.events = append(r.events, f.May("event"))
		r.seq.Steps = append(r.seq.Steps, step)
		r.seq.Plan.Steps = append(r.seq.Plan.Steps, step.Event)
	}
}

// step reads a step: an event, under its own name or another, or a move of the
// supply, which needs a name.
func (r *reader) step(f *yamlfile.Fields) Step {
	var step Step
	supply, as := f.May("supply"), f.May("as")
	name := as
	if supply == nil {
		event := f.Need("event", "arm-away")
		step.Cause, _ = event.Text()
		checkName(event, step.Cause)
		name = pick(as, event)
	} else {
		f.May("event").Refuse("the step moves the supply", "put it into a step of its own")
		name = f.Need("as", "supply-low")
	}
	step.Event, _ = name.Text()
	if as != nil {
		checkName(as, step.Event)
	}
	step.Hold = readTime(f.Need("hold", "3 s"), false)
	step.Supply = readMove(supply, step.Hold)
	f.Done()
	r.named(name, &step)
	return step
}

// checkName refuses a name that no rig could have. An empty one has been refused
// already.
func checkName(n *yamlfile.Node, s string) {
	if s == "" {
		return
	}
	if err := wiring.CheckName(s); err != nil {
		n.Refuse(err.Error(), wiring.NameRule)
	}
}

func checkSignal(n *yamlfile.Node, s string) {
	if s == "" {
		return
	}
	if err := wiring.CheckSignal(s); err != nil {
		n.Refuse(err.Error(), wiring.NameRule+", not ending in _V")
	}
}

// readTime reads a time up to a week. Zero is read only where it is allowed.
func readTime(n *yamlfile.Node, zero bool) time.Duration {
	v, ok := n.Quantity(unit.Time)
	if !ok {
		return 0
	}
	d := time.Duration(math.Round(min(v, 1e9) * 1e9))
	if d < 0 || d == 0 && !zero || v > 7*24*3600 {
		if zero {
			n.Refuse("", "must be from 0 s to 168 h")
		} else {
			n.Refuse("", "must be above 0 s and up to 168 h")
		}
		return 0
	}
	return d
}

func (r *reader) relays(n *yamlfile.Node) {
	contacts := map[string]string{}
	for _, e := range n.Entries("must be relays by name, as in K1: {make: K1_NO, break: K1_NC}") {
		checkSignal(e.Key, e.Name())
		p := analyze.RelayPlan{Signal: e.Name(), MustOperate: unit.Volts(math.NaN()), MustRelease: unit.Volts(math.NaN())}
		f, ok := e.Value.Fields("must be a relay, as in {make: K1_NO, break: K1_NC}")
		if !ok {
			r.seq.Plan.Relays = append(r.seq.Plan.Relays, p)
			continue
		}
		contact := func(key string) string {
			n := f.May(key)
			s, ok := n.Text()
			if !ok {
				return ""
			}
			checkSignal(n, s)
			if other, used := contacts[s]; used {
				n.Refuse(other+" has this contact", "use another contact")
			}
			contacts[s] = e.Name() + "'s " + key
			return s
		}
		p.Make, p.Break = contact("make"), contact("break")
		if !f.Has("make") && !f.Has("break") {
			e.Value.Refuse("the relay has no contact", "add make: K1_NO, break: K1_NC or both")
		}
		p.MustOperate = r.coilVolts(f.May("must_operate"))
		p.MustRelease = r.coilVolts(f.May("must_release"))
		if p.MustRelease >= p.MustOperate {
			f.May("must_release").Refuse("", "must be below must_operate")
		}
		r.relayLimits(f.May("limits"), &p)
		f.Done()
		r.seq.Plan.Relays = append(r.seq.Plan.Relays, p)
	}
}

// coilVolts reads a voltage of a relay's coil, NaN where it is not stated.
func (r *reader) coilVolts(n *yamlfile.Node) unit.Volts {
	v, ok := n.Quantity(unit.Voltage)
	if !ok {
		return unit.Volts(math.NaN())
	}
	if v <= 0 || v > 1000 {
		n.Refuse("", "must be above 0 V")
		return unit.Volts(math.NaN())
	}
	return unit.Volts(v)
}

func (r *reader) outputs(n *yamlfile.Node) {
	for _, e := range n.Entries("must be outputs by name, as in OUT3: {expect: {arm-away: high}}") {
		checkSignal(e.Key, e.Name())
		p := analyze.OutputPlan{Signal: e.Name()}
		f, ok := e.Value.Fields("must be what the output must do, as in {expect: {arm-away: high, disarm: low}}")
		if !ok {
			continue
		}
		p.Expect = r.expect(f.Need("expect", "{arm-away: high, disarm: low}"))
		p.Limits = r.limits(f.May("limits"), ofOutput)
		relay := f.May("relay")
		if s, ok := relay.Text(); ok {
			p.Relay = s
			r.behind(relay, &p)
		}
		f.Done()
		r.seq.Plan.Outputs = append(r.seq.Plan.Outputs, p)
	}
}

// behind checks the relay behind an output.
func (r *reader) behind(n *yamlfile.Node, p *analyze.OutputPlan) {
	if r.seq.Plan.Relay(p.Relay) == nil {
		names := make([]string, len(r.seq.Plan.Relays))
		for i := range r.seq.Plan.Relays {
			names[i] = r.seq.Plan.Relays[i].Signal
		}
		if len(names) == 0 {
			n.Refuse("there is no relay of this name", "leave it out, or add the relay under relays")
			return
		}
		n.Refuse("there is no relay of this name", words.UseOneOf(p.Relay, names))
		return
	}
	for i := range r.seq.Plan.Outputs {
		if o := &r.seq.Plan.Outputs[i]; o.Relay == p.Relay {
			n.Refuse(o.Signal+" has this relay", "use another relay")
		}
	}
}

// link puts the only relay behind the only output, and refuses a relay that is
// behind none: its times count from its output's crossing.
func (r *reader) link(n *yamlfile.Node) {
	p := &r.seq.Plan
	if len(p.Outputs) == 1 && len(p.Relays) == 1 && p.Outputs[0].Relay == "" {
		p.Outputs[0].Relay = p.Relays[0].Signal
	}
	if len(p.Relays) == 0 || !n.IsMap() {
		return
	}
	for _, e := range n.Entries("") {
		if !slices.ContainsFunc(p.Outputs, func(o analyze.OutputPlan) bool { return o.Relay == e.Name() }) {
			e.Key.Refuse("no output has this relay", "add relay: "+e.Name()+" to its output")
		}
	}
}
