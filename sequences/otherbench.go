package sequences

import (
	"fmt"

	"makebreak/rig/problem"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

// otherBench says that the rig is of another kind than the sequence is for: it has none of
// the sequence's events and outputs, and no name of them is near. Then each name by itself
// would be no help; the sequence may be built in, so that there is no file to mend.
func (s *Sequence) otherBench(r *wiring.Rig) error {
	needs := s.Causes()
	events := words.Texts(r.Causes, func(c wiring.Cause) string { return c.Event })
	outputs := words.Texts(r.Outputs, func(o wiring.Output) string { return o.Name })
	if len(needs) == 0 {
		return nil
	}
	for _, name := range needs {
		if len(words.Nearest(name, events)) > 0 {
			return nil
		}
	}
	for i := range s.Plan.Outputs {
		if len(words.Nearest(s.Plan.Outputs[i].Signal, outputs)) > 0 {
			return nil
		}
	}
	text := fmt.Errorf("this sequence needs a rig with the events %s, and rig %s has %s", words.And(needs), r.Name, words.And(events))
	if r.SwitchesCoils() {
		text = fmt.Errorf("this sequence needs a panel with the events %s, and rig %s is a relay bench with %s", words.And(needs), r.Name, words.And(events))
	}
	return &problem.Error{Kind: problem.Input, Place: s.Name, Err: fmt.Errorf("%w; use another rig or another sequence", text)}
}
