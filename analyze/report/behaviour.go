package report

import (
	"fmt"
	"math"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/behaviour"
	"makebreak/analyze/diagnose"
	"makebreak/analyze/tally"
)

// demandsBehaviour reports whether anything at all is demanded of outputs.
func demandsBehaviour(r *Record) bool {
	return r.Plan != nil && (len(r.Plan.Outputs) > 0 || r.Plan.OthersUnmoved)
}

// Expected says what an output had to do at an event, in the words of a sequence: "high",
// "low after 30 s ± 5 %", "must not move".
func Expected(c *behaviour.Cell) string {
	x := c.Expect
	switch {
	case c.Supply:
		return "follows the supply"
	case x.Demand == analyze.Any:
		return "anything"
	case x.Demand == analyze.Unmoved:
		return "must not move"
	case x.Demand == analyze.Pulse:
		return "high for " + spanOf(x)
	case x.Demand == analyze.Train:
		return trainWords(x)
	case x.After > 0:
		return x.Demand.String() + " after " + spanOf(x)
	}
	return x.Demand.String()
}

// Seen says what an output did at an event over all cycles, the gravest first: "did not go
// high in 1 of 5; went high after 142.9 … 143.6 ms". Of an output that follows the supply it
// says nothing.
func Seen(c *behaviour.Cell) string {
	var parts []string
	for _, d := range c.Done() {
		parts = append(parts, doneWords(c, d))
	}
	for _, x := range c.Beyond() {
		if words := beyondWords(x, c.Verdict()); words != "" {
			parts = append(parts, words)
		}
	}
	for _, x := range []*tally.Row{c.Low, c.High} {
		if len(c.Done()) == 0 && x != nil && x.Values > 0 { // nothing else is known
			parts = append(parts, "at "+spanWords(x))
		}
	}
	if len(parts) == 0 && !c.Supply {
		return "not looked at"
	}
	return strings.Join(parts, "; ")
}

func doneWords(c *behaviour.Cell, d behaviour.Done) string {
	words := ""
	switch high, _ := c.Expect.Demand.State(); d.Deed {
	case behaviour.DidNotSwitch:
		words = "did not go " + stateWord(high)
	case behaviour.DidNotPulse:
		words = "did not pulse"
	case behaviour.Left:
		words = "out of its state for " + mostWords(d.Row)
		if c.Expect.Demand == analyze.Unmoved {
			words = "moved for " + mostWords(d.Row)
		}
	case behaviour.NotSeen:
		words = "not known"
		if d.Remark != nil {
			words += " (" + oneLine(diagnose.ReasonOver(&d.Remark.Example, d.Remark.Low, d.Remark.High)) + ")"
		}
	case behaviour.WasThere:
		words = "was " + stateWord(high) + " already"
	case behaviour.Pulsed:
		words = "high for " + spanWords(d.Row)
	case behaviour.Counted:
		words = "high " + timesWords(d.Row) + timesOnOff(c)
	case behaviour.Switched:
		words = wentWords(c) + " after " + spanWords(d.Row)
	case behaviour.Stayed:
		if words = "did not move"; c.Expect.Demand == analyze.High || c.Expect.Demand == analyze.Low {
			words = "stayed " + stateWord(high)
		}
	}
	if d.N > 0 && d.N < d.Of {
		words += fmt.Sprintf(" in %d of %d", d.N, d.Of)
	}
	return words
}

// wentWords say where an output went; one that might do anything is known by its levels.
func wentWords(c *behaviour.Cell) string {
	if high, named := c.Expect.Demand.State(); named {
		return "went " + stateWord(high)
	}
	switch {
	case c.High != nil && c.Low == nil:
		return "went high"
	case c.Low != nil && c.High == nil:
		return "went low"
	}
	return "switched"
}

func stateWord(high bool) string {
	if high {
		return "high"
	}
	return "low"
}

// spanWords are the lowest and the highest value of a row, or the only one.
func spanWords(x *tally.Row) string {
	s := (&row{Row: x}).scaler(x.High)
	low, high := s.Number(x.Low), s.Text(x.High)
	sign := (&row{Row: x}).sign()
	if low == s.Number(x.High) {
		return sign + high
	}
	return sign + low + " … " + high
}

// mostWords are the highest value of a row.
func mostWords(x *tally.Row) string {
	s := (&row{Row: x}).scaler(x.High)
	if x.Values > 1 && s.Text(x.Low) != s.Text(x.High) {
		return "up to " + s.Text(x.High)
	}
	return s.Text(x.High)
}

// beyondWords say of a figure that did not pass what it is and what it must be.
func beyondWords(x *tally.Row, v analyze.Verdict) string {
	name := x.Quantity.Words() + " "
	_, told := changedWords[x.Quantity]
	if told || x.Quantity == analyze.SwitchingDelay || x.Quantity == analyze.PulseDuration {
		name = "" // the value stands before it
	} else {
		name += worstWords(x) + ": "
	}
	words := name + limitWords((&row{Row: x}).scaler(x.High), x.Limit)
	if n := x.Verdicts[v.Gravity()]; n < x.Figures {
		words += fmt.Sprintf(" (%s in %d of %d)", v, n, x.Figures)
	}
	return strings.TrimSuffix(words, ": ")
}

// worstWords are a row's value that lies farthest beyond its limit, or nearest to it.
func worstWords(x *tally.Row) string {
	s := (&row{Row: x}).scaler(x.High)
	if x.High-x.Limit.Upper > x.Limit.Lower-x.Low || math.IsNaN(x.Limit.Lower) {
		return s.Text(x.High)
	}
	return s.Text(x.Low)
}
