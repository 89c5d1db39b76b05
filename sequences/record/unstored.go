package record

import (
	"fmt"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// Unstored says what was measured of cycles that the log could not take: a line for each.
func Unstored(cycles []*journal.Cycle) []string {
	return words.Texts(cycles, cycleText)
}

// badFigures is how many figures that did not pass are written out.
const badFigures = 2

func cycleText(c *journal.Cycle) string {
	judged, passed := 0, 0
	var bad []string
	for i := range c.Measurements {
		m := &c.Measurements[i]
		switch m.Verdict {
		case analyze.NoVerdict:
			continue
		case analyze.Pass:
			passed++
		default:
			bad = append(bad, figureText(m))
		}
		judged++
	}
	text := fmt.Sprintf("cycle %d: %s, %d of %d judged figures passed", c.N, analyze.RunVerdict(c.Complete, c.Verdict).Name(), passed, judged)
	if !c.Complete {
		text += ", cut short"
	}
	if more := len(bad) - badFigures; more > 0 {
		bad = append(bad[:badFigures], fmt.Sprintf("and %d more", more))
	}
	if len(bad) > 0 {
		text += "; " + strings.Join(bad, "; ")
	}
	return text
}

// figureText names a figure that did not pass.
func figureText(m *analyze.Measurement) string {
	text := m.Signal + " " + m.Quantity.Words()
	if m.Event != "" {
		text += " at " + m.Event
	}
	return fmt.Sprintf("%s %s, limit %s, %s", text, m.Bound().Sign()+report.Reading(m.Quantity, m.Value, m.Expanded), report.LimitWords(m.Quantity, m.Limit), m.Verdict)
}
