package measure

import (
	"testing"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// What is known to be lost is said before what only may be.
func TestMissingEdges(t *testing.T) {
	known, doubted := capture.Loss{Sign: capture.Merge}, capture.Loss{Sign: capture.Neighbour}
	for _, c := range []struct {
		contacts [][]capture.Loss
		want     analyze.DoubtCode
	}{
		{[][]capture.Loss{{doubted}}, analyze.EdgesInDoubt},
		{[][]capture.Loss{nil, {doubted}}, analyze.EdgesInDoubt},
		{[][]capture.Loss{{doubted}, {doubted, known}}, analyze.EdgesMissing},
		{[][]capture.Loss{{known}, nil}, analyze.EdgesMissing},
	} {
		var contacts []change
		for _, lost := range c.contacts {
			contacts = append(contacts, change{lost: lost})
		}
		if got := missingEdges(contacts...).Code; got != c.want {
			t.Errorf("%v: %s, want %s", c.contacts, got, c.want)
		}
	}
}
