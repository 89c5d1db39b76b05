package report

import (
	"fmt"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/cause"
)

// causesOf are the causes that may be behind what a record shows, the likeliest first. It is
// the one place where records get them: one without evidence tells of none.
func causesOf(r *Record) []cause.Ranked {
	if r.Evidence == nil {
		return nil
	}
	table := r.CauseTable
	if table == nil {
		table = cause.Builtin()
	}
	return cause.Rank(table, r.Evidence)
}

// causesBehind are the names of the causes that may be behind a finding, in their order: those of
// the whole bench, and those at the place that the finding's signal belongs to.
func causesBehind(plan *analyze.Plan, signal string, all []cause.Ranked) []string {
	var names []string
	for i := range all {
		if c := &all[i]; (c.Place == "" || placeOf(plan, c.Place) == placeOf(plan, signal)) && !slices.Contains(names, c.Cause) {
			names = append(names, c.Cause)
		}
	}
	return names
}

// placeOf is the output before a relay or a contact, where a plan says which; else the relay of a
// contact, else the signal itself.
func placeOf(plan *analyze.Plan, signal string) string {
	if plan == nil {
		return signal
	}
	for i := range plan.Relays {
		if r := &plan.Relays[i]; signal != "" && (signal == r.Make || signal == r.Break) {
			signal = r.Signal
		}
	}
	for i := range plan.Outputs {
		if o := &plan.Outputs[i]; signal != "" && signal == o.Relay {
			return o.Signal
		}
	}
	return signal
}

// LikelyCause names in a few words the likeliest cause of what is wrong in a run; where none is
// known it is what was found first. Empty: nothing is wrong.
func (r *Record) LikelyCause() string {
	if all := causesOf(r); len(all) > 0 {
		if all[0].Place == "" {
			return all[0].Cause
		}
		return all[0].Cause + " at " + all[0].Place
	}
	if len(r.Findings) > 0 {
		text, _, _ := strings.Cut(r.Findings[0].Text, ". ")
		return text
	}
	return ""
}

// causesHeading stands above the causes.
const causesHeading = "Likely causes"

// causeLines say each cause with its share, and after the first what to measure next.
func causeLines(r *Record) []string {
	var lines []string
	for i, c := range causesOf(r) {
		line := fmt.Sprintf("%s: %s", wholePercent(c.Share), oneLine(c.Words()))
		if i == 0 && c.Next != "" {
			line += " Next: " + oneLine(c.Next)
		}
		lines = append(lines, line)
	}
	return lines
}

// wholePercent is a share in percent, never rounded to certainty.
func wholePercent(share float64) string {
	switch {
	case share < 0.01:
		return "under 1 %"
	case share > 0.99:
		return "over 99 %"
	}
	return fmt.Sprintf("%.0f %%", 100*share)
}

type jsonCause struct {
	Cause string  `json:"cause"`
	Place *string `json:"place"`
	Share float64 `json:"share"` // of 1
	Next  *string `json:"next"`
}
