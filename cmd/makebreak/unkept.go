package main

import (
	"fmt"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/sequences/journal"
)

// tray hands cycles on to the log and holds those that the log could not take.
type tray struct {
	run    *journal.Run
	unkept []*journal.Cycle
}

func (t *tray) Append(cycles ...*journal.Cycle) error {
	err := t.run.Append(cycles...)
	if err != nil {
		t.unkept = cycles
	}
	return err
}

// words say what was measured of each cycle that could not be kept.
func (t *tray) words() []string {
	if t == nil {
		return nil
	}
	var lines []string
	for _, c := range t.unkept {
		lines = append(lines, cycleWords(c))
	}
	return lines
}

// badFigures is how many figures that did not pass are written out.
const badFigures = 2

func cycleWords(c *journal.Cycle) string {
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
			bad = append(bad, figureWords(m))
		}
		judged++
	}
	words := fmt.Sprintf("cycle %d: %s, %d of %d judged figures passed", c.N, verdictWord(string(c.Verdict)), passed, judged)
	if !c.Complete {
		words += ", cut short"
	}
	if more := len(bad) - badFigures; more > 0 {
		bad = append(bad[:badFigures], fmt.Sprintf("and %d more", more))
	}
	if len(bad) > 0 {
		words += "; " + strings.Join(bad, "; ")
	}
	return words
}

// figureWords name a figure that did not pass.
func figureWords(m *analyze.Measurement) string {
	words := m.Signal + " " + strings.ReplaceAll(string(m.Quantity), "_", " ")
	if m.Event != "" {
		words += " at " + m.Event
	}
	return fmt.Sprintf("%s %s, limit %s, %s", words, report.Reading(m.Quantity, m.Value, m.Expanded), report.LimitWords(m.Quantity, m.Limit), m.Verdict)
}
