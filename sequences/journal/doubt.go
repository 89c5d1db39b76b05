package journal

import (
	"encoding/json"
	"math"
	"strings"

	"makebreak/analyze"
)

// storedDoubt is a doubt as the log keeps it.
type storedDoubt struct {
	Code   analyze.DoubtCode `json:"code"`
	Value  *float64          `json:"value,omitempty"`
	Signal string            `json:"signal,omitempty"`
	Other  string            `json:"other,omitempty"`
	Text   string            `json:"text,omitempty"`
}

// doubtsText writes doubts as the text that stands for them in the log; none is "".
func doubtsText(doubts []analyze.Doubt) (string, error) {
	switch {
	case len(doubts) == 0:
		return "", nil
	case len(doubts) == 1 && doubts[0].Code == analyze.Worded:
		return doubts[0].Text, nil
	}
	list := make([]storedDoubt, len(doubts))
	for i, d := range doubts {
		list[i] = storedDoubt{Code: d.Code, Signal: d.Signal, Other: d.Other, Text: d.Text}
		if !math.IsNaN(d.Value) {
			list[i].Value = &doubts[i].Value
		}
	}
	b, err := json.Marshal(list)
	return string(b), err
}

// doubtsOf reads what doubtsText writes. Text of a log from before doubts had codes is a
// doubt of which only the words are known.
func doubtsOf(text string) []analyze.Doubt {
	var list []storedDoubt
	if !strings.HasPrefix(text, "[{") || json.Unmarshal([]byte(text), &list) != nil {
		return analyze.InWords(text)
	}
	doubts := make([]analyze.Doubt, len(list))
	for i, d := range list {
		doubts[i] = analyze.Doubt{Code: d.Code, Value: math.NaN(), Signal: d.Signal, Other: d.Other, Text: d.Text}
		if d.Value != nil {
			doubts[i].Value = *d.Value
		}
	}
	return doubts
}
