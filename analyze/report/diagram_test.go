package report

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/picture"
)

// Diagrams that were made while a capture was read stand on its page.
func TestHTML_Drawn(t *testing.T) {
	t.Parallel()
	r := invented()
	r.Drawn = []*picture.Timing{{Heading: "The whole capture", Main: picture.View{From: 0, To: 1, Factor: 1,
		Lanes: []picture.Lane{{Signal: "OUT3", High: 13, Lines: [][]picture.Point{{{At: 0, Value: 1}, {At: 1, Value: 13}}}}}}}}
	var b bytes.Buffer
	if err := HTML(&b, r); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"<title>The whole capture</title>", "First the whole capture"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the page does not hold %q", want)
		}
	}
}

func TestParseDiagram(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]wantedDiagram{
		"OUT3":            {signal: "OUT3"},
		"OUT3@arm-away":   {signal: "OUT3", event: "arm-away"},
		"OUT3#12":         {signal: "OUT3", cycle: 12},
		"K1@disarm#3":     {signal: "K1", event: "disarm", cycle: 3},
		"a #b@arm-away#3": {signal: "a #b", event: "arm-away", cycle: 3},
	} {
		if got, err := parseDiagram(text); err != nil || got != want {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
	for text, want := range map[string]string{
		"": "write it as SIGNAL", "@arm-away": "write it as SIGNAL", "OUT3@": "write it as SIGNAL", "#3": "write it as SIGNAL",
		"OUT3#0": `"0" is not a cycle`, "OUT3#": `"" is not a cycle`, "OUT3#-1": `"-1" is not a cycle`, "OUT3#1x": `"1x" is not a cycle`,
	} {
		if _, err := parseDiagram(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

// The cycles drawn behind are spread over all that are kept, and as many as there may be.
func TestSpreadOver(t *testing.T) {
	t.Parallel()
	spans := []analyze.Cycles{{First: 1, Last: 3}, {First: 10, Last: 14}}
	for most, want := range map[int][]int{1: {1}, 2: {1, 11}, 4: {1, 3, 11, 13}, 8: {1, 2, 3, 10, 11, 12, 13, 14}, 20: {1, 2, 3, 10, 11, 12, 13, 14}} {
		if got := spreadOver(spans, most); !slices.Equal(got, want) {
			t.Errorf("%d at most: %v, want %v", most, got, want)
		}
	}
	if got := spreadOver(nil, 5); got != nil {
		t.Errorf("of none: %v", got)
	}
}
