package record

import (
	"slices"

	"makebreak/analyze"
	"makebreak/rig/words"
)

// limitedFunc reports whether any figure of a signal's quantity was held against a limit.
type limitedFunc func(signal string, q analyze.Quantity) bool

// unjudged names the limits of a plan that judged nothing, as what they limit never happened:
// beside a pass that must be said. It is empty where there are none.
func unjudged(plan *analyze.Plan, limited limitedFunc) string {
	var names []string
	add := func(limits analyze.Limits, signalsOf func(analyze.Quantity) []string) {
		for _, q := range analyze.Quantities() {
			if limits.Of(q).None() {
				continue
			}
			signals := signalsOf(q)
			if !slices.ContainsFunc(signals, func(s string) bool { return limited(s, q) }) {
				names = append(names, words.Or(signals)+" "+q.Words())
			}
		}
	}
	for i := range plan.Outputs {
		o := &plan.Outputs[i]
		add(o.Limits, func(analyze.Quantity) []string { return []string{o.Signal} })
	}
	for i := range plan.Relays {
		k := &plan.Relays[i]
		add(k.Limits, func(q analyze.Quantity) []string {
			if d, _ := q.Definition(); d.Of == analyze.OfContact {
				return slices.DeleteFunc([]string{k.Make, k.Break}, func(s string) bool { return s == "" })
			}
			return []string{k.Signal}
		})
	}
	if len(names) == 0 {
		return ""
	}
	return "these limits judged nothing, as there was nothing to measure: " + words.List(names)
}
