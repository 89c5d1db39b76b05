package sequences

import (
	"time"

	"makebreak/analyze"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/yamlfile"
)

const supplyRule = "must be a voltage as in 10.5 V, or a ramp as in {from: 0 V, to: 13.8 V, over: 14 s}"

// mostVolts is the highest supply that is read at all; the rig file says what the
// rig's own may be.
const mostVolts = 100

// readMove reads what a step does to the supply, nil where it does nothing.
func readMove(n *yamlfile.Node, hold time.Duration) *analyze.Move {
	if n == nil {
		return nil
	}
	if n.IsText() {
		return &analyze.Move{To: supplyVolts(n)}
	}
	f, ok := n.Fields(supplyRule)
	if !ok {
		return &analyze.Move{}
	}
	from, to := f.Need("from", "0 V"), f.Need("to", "13.8 V")
	over := f.Need("over", "14 s")
	m := &analyze.Move{From: supplyVolts(from), To: supplyVolts(to)}
	takes := readTime(over, false)
	m.Over = takes
	if f.Done() && from != nil && m.From == m.To {
		to.Refuse("a ramp leads from one voltage to another", "must differ from from")
	}
	if takes > 0 && hold > 0 && hold <= takes {
		over.Refuse("the step is watched for "+unit.Time.Format(hold.Seconds())+" only", "make it shorter or the step's hold longer")
	}
	return m
}

func supplyVolts(n *yamlfile.Node) unit.Volts {
	v, ok := n.Quantity(unit.Voltage)
	if ok && (v < 0 || v > mostVolts) {
		n.Refuse("", "must be from 0 V to 100 V")
		return 0
	}
	return unit.Volts(v)
}

// supply finds moves that the rig's supply cannot make.
func (f *fitter) supply(path string, mv *analyze.Move) {
	has := f.rig.Supply
	switch {
	case has == nil && f.noSupply:
	case has == nil:
		f.noSupply = true // said once
		f.doc.Report(path, "", "rig "+f.rig.Name+" has no supply that can be set", "leave it out, or use a rig with a supply")
	case has.Stage != nil:
		f.stage(path, mv, has.Stage)
	case float64(max(mv.From, mv.To)) > has.Highest:
		most := unit.Voltage.Format(has.Highest)
		f.doc.Report(path, "", "the rig's supply is never set above "+most, "must be at most "+most)
	}
}

// ramps finds ramps that end before a relay must have changed over: one that does not
// has not failed then, and its voltage is only known to lie beyond.
func (f *fitter) ramps() {
	for _, step := range f.seq.Steps {
		if step.Supply == nil || !step.Supply.Ramp() {
			continue
		}
		for i := range f.seq.Plan.Relays {
			k := &f.seq.Plan.Relays[i]
			q, limit := k.OnRamp(*step.Supply)
			end, at, must, beyond := float64(step.Supply.To), limit.Upper, "operate", "below"
			if q == analyze.DropOutVoltage {
				at, must, beyond = limit.Lower, "release", "above"
			}
			if end < at && must == "operate" || end > at && must == "release" {
				f.cautions = append(f.cautions, "the ramp "+step.Event+" ends at "+unit.Voltage.Format(end)+", "+beyond+" the "+
					unit.Voltage.Format(at)+" at which "+k.Signal+" must "+must+": where it does not, that is undecided")
			}
		}
	}
}

// stage finds moves that two supplies and a switch cannot make.
func (f *fitter) stage(path string, mv *analyze.Move, g *wiring.Stage) {
	if _, has := g.At(float64(mv.To)); mv.Ramp() || !has {
		f.doc.Report(path, "", "this rig's supply has two voltages only", "must be "+g.Both())
	}
}

// named refuses one name for steps that do different things: what is found at an
// event is gathered under its name.
func (r *reader) named(n *yamlfile.Node, step *Step) {
	for i := range r.seq.Steps {
		other := &r.seq.Steps[i]
		switch {
		case other.Event != step.Event || other.Event == "":
			continue
		case !sameMove(other.Supply, step.Supply):
			n.Refuse("a step before has this name and does something else to the supply", "use another name")
			return
		case other.Cause != step.Cause:
			n.Refuse("a step before has this name and brings about another event", "use another name")
			return
		}
	}
	if step.Supply == nil {
		return
	}
	if r.seq.Plan.Moves == nil {
		r.seq.Plan.Moves = map[string]analyze.Move{}
	}
	r.seq.Plan.Moves[step.Event] = *step.Supply
}

// sameMove reports whether two steps do the same to the supply, or both nothing.
func sameMove(a, b *analyze.Move) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b
}
