package report

import (
	"fmt"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/behaviour"
	"makebreak/analyze/diagnose"
	"makebreak/analyze/tally"
)

// RelayExpected says what a relay's contacts had to do at an event: "operated: K1_NO closed,
// K1_NC open", "must not change".
func RelayExpected(r *behaviour.Relay, c *behaviour.RelayCell) string {
	switch c.Expect {
	case behaviour.Operate:
		return "operated" + contactsAre(r, true)
	case behaviour.Release:
		return "released" + contactsAre(r, false)
	case behaviour.OperateAndRelease:
		return "operated for the pulse, then released"
	case behaviour.KeepStill:
		return "must not change"
	case behaviour.FollowSupply:
		return "follows the supply"
	}
	return "anything"
}

// contactsAre names the contacts that are wired, and how they are.
func contactsAre(r *behaviour.Relay, operated bool) string {
	state := map[bool]string{true: "closed", false: "open"}
	var parts []string
	if r.Make != "" {
		parts = append(parts, oneLine(r.Make)+" "+state[operated])
	}
	if r.Break != "" {
		parts = append(parts, oneLine(r.Break)+" "+state[!operated])
	}
	if len(parts) == 0 {
		return ""
	}
	return ": " + strings.Join(parts, ", ")
}

// RelaySeen says what a relay's contacts did at an event over all cycles, the gravest first:
// "K1_NO did not close in 1 of 5; operated after 5.2 … 5.5 ms; bounce up to 2.8 ms".
func RelaySeen(c *behaviour.RelayCell) string {
	var parts []string
	remarks, of := c.NotDone()
	for i, r := range remarks {
		words := oneLine(diagnose.ReasonOver(&r.Example, r.Low, r.High))
		if r.N < of[i] {
			words += fmt.Sprintf(" in %d of %d", r.N, of[i])
		}
		parts = append(parts, words)
	}
	parts = append(parts, changeWords(c)...)
	if len(parts) == 0 && len(c.Rows) > 0 {
		parts = append(parts, "did not change")
	}
	for _, x := range c.Beyond() {
		if words := relayBeyondWords(x, c.Verdict()); words != "" {
			parts = append(parts, words)
		}
	}
	if words := bounceWords(c); words != "" {
		parts = append(parts, words)
	}
	if len(parts) == 0 && c.Expect != behaviour.FollowSupply {
		return "no change seen"
	}
	return strings.Join(parts, "; ")
}

// changedWords say of a figure of a relay that changed what it did.
var changedWords = map[analyze.Quantity]string{
	analyze.OperateTime: "operated after ", analyze.ReleaseTime: "released after ",
	analyze.PullInVoltage: "pulled in at ", analyze.DropOutVoltage: "dropped out at ",
}

// changeWords say when a relay changed.
func changeWords(c *behaviour.RelayCell) (parts []string) {
	timed := false
	for _, x := range c.Times {
		if x.Values > 0 {
			words := changedWords[x.Quantity] + spanWords(x)
			if x.Values < x.Figures {
				words += fmt.Sprintf(" in %d of %d", x.Values, x.Figures)
			}
			parts, timed = append(parts, words), true
		}
	}
	if !timed && c.Changed() {
		parts = append(parts, "changed")
	}
	return parts
}

// bounceWords say how long the contacts bounced, unless that is told as a figure beyond its limit.
func bounceWords(c *behaviour.RelayCell) string {
	beyond := c.Beyond()
	var worst *tally.Row
	for _, x := range c.Bounce {
		if slices.Contains(beyond, x) {
			return ""
		}
		if x.Values > 0 && x.High > 0 && (worst == nil || x.High > worst.High) {
			worst = x
		}
	}
	if worst == nil {
		return ""
	}
	return "bounce up to " + (&row{Row: worst}).scaler(worst.High).Text(worst.High)
}

// relayBeyondWords are beyondWords, with the contact's name where the figure is a contact's.
func relayBeyondWords(x *tally.Row, v analyze.Verdict) string {
	words := beyondWords(x, v)
	if d, _ := x.Quantity.Definition(); d.Of == analyze.OfContact && words != "" {
		return oneLine(x.Signal) + " " + words
	}
	return words
}
