package sequences

import (
	"makebreak/analyze"
	"makebreak/rig/yamlfile"
)

// judged refuses a sequence with limits by which nothing would ever be judged: what they
// demand would pass unseen. Sequences that are in a log already are read without this.
func (s *Sequence) judged() error {
	doc, err := yamlfile.Parse(s.File, s.Source)
	if err != nil {
		return err
	}
	for i := range s.Plan.Outputs {
		o := &s.Plan.Outputs[i]
		for _, q := range []analyze.Quantity{analyze.PulseCount, analyze.OnTime, analyze.OffTime, analyze.FlashingDuration} {
			if _, ok := o.Limits[q]; ok {
				doc.Report("outputs."+o.Signal+".limits", "", string(q)+" has a limit, but pulses are judged by what is expected of them",
					"leave it out, and write {pulses: 3, on: 200 ms, off: 300 ms, within: 10 %} under expect")
			}
		}
		if _, ok := o.Limits[analyze.PulseDuration]; ok {
			doc.Report("outputs."+o.Signal+".limits", "", "pulse_duration has a limit, but a pulse is judged by what is expected of it",
				"leave it out, and write {pulse: 2 s, within: 10 %} under expect")
		}
	}
	for i := range s.Plan.Relays {
		k := &s.Plan.Relays[i]
		for _, x := range s.needs(k) {
			if _, limited := k.Limits[x.of]; limited && !x.met {
				doc.Report("relays."+k.Signal+".limits", "", string(x.of)+" has a limit, but "+x.lacks, x.add+", or give "+k.Signal+" limits without it")
			}
		}
	}
	return doc.Err()
}

// need is what a limit of a relay's needs to be judged.
type need struct {
	of         analyze.Quantity
	met        bool
	lacks, add string
}

// needs are those of a relay's limits.
func (s *Sequence) needs(k *analyze.RelayPlan) []need {
	const noMake, noBreak = "the relay's make contact is not named", "the relay's break contact is not named"
	addMake, addBreak := "add it, for example make: "+k.Signal+"_NO", "add it, for example break: "+k.Signal+"_NC"
	hasMake, hasBreak := k.Make != "", k.Break != ""
	return []need{
		{analyze.OperateTime, hasMake, noMake, addMake},
		{analyze.ReleaseTime, hasBreak, noBreak, addBreak},
		{analyze.TransferTime, hasMake, noMake, addMake},
		{analyze.TransferTime, hasBreak, noBreak, addBreak},
		{analyze.PullInVoltage, s.ramps(k, analyze.PullInVoltage), "no step raises the supply slowly",
			"add one, for example {supply: {from: 0 V, to: 13.8 V, over: 14 s}, as: rise, hold: 15 s}"},
		{analyze.DropOutVoltage, s.ramps(k, analyze.DropOutVoltage), "no step lowers the supply slowly",
			"add one, for example {supply: {from: 13.8 V, to: 0 V, over: 14 s}, as: fall, hold: 15 s}"},
	}
}

// ramps reports whether a step shows a relay's voltage.
func (s *Sequence) ramps(k *analyze.RelayPlan, q analyze.Quantity) bool {
	for _, m := range s.Plan.Moves {
		if shown, _ := k.OnRamp(m); m.Ramp() && shown == q {
			return true
		}
	}
	return false
}
