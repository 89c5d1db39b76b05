package sheet

import (
	"fmt"
	"math"

	"makebreak/analyze"
	"makebreak/analyze/picture"
	"makebreak/analyze/report"
	"makebreak/rig/unit"
	"makebreak/sequences"
)

// Card returns what a sequence demands in one cycle, as it is drawn.
func Card(seq *sequences.Sequence) *picture.Card {
	var steps []picture.CardStep
	for _, s := range seq.Steps {
		steps = append(steps, picture.CardStep{Event: s.Event, Hold: s.Hold})
	}
	say := picture.CardWords{Demanded: func(signal string) string { return report.Demanded(&seq.Plan, signal) }, Limits: report.LimitsWords}
	return picture.NewCard("Job card: "+seq.Name, []string{seq.About}, steps, &seq.Plan, say)
}

// Line is one line of a job card as text: what a signal must do and its limits.
type Line struct{ Signal, Demanded, Limits string }

// Lines are a job card's lines: outputs, then relays.
func Lines(seq *sequences.Sequence) []Line {
	var all []Line
	for i := range seq.Plan.Outputs {
		o := &seq.Plan.Outputs[i]
		all = append(all, Line{o.Signal, report.Demanded(&seq.Plan, o.Signal), report.LimitsWords(o.Limits)})
	}
	if seq.Plan.OthersUnmoved {
		all = append(all, Line{"every other output", "must not move", ""})
	}
	for i := range seq.Plan.Relays {
		k := &seq.Plan.Relays[i]
		demanded := report.Demanded(&seq.Plan, k.Signal)
		all = append(all, Line{k.Signal, joined(demanded, relayVolts(k)), report.LimitsWords(k.Limits)})
	}
	return all
}

// relayVolts says at which voltages a relay must operate and release; empty: not stated.
func relayVolts(k *analyze.RelayPlan) string {
	text := ""
	if v := float64(k.MustOperate); !math.IsNaN(v) {
		text = fmt.Sprintf("must operate at %s", unit.Voltage.Format(v))
	}
	if v := float64(k.MustRelease); !math.IsNaN(v) {
		text = joined(text, fmt.Sprintf("must release at %s", unit.Voltage.Format(v)))
	}
	return text
}

func joined(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + ", " + b
}
