package measure

import (
	"testing"

	"makebreak/rig/capture"
)

// Two outputs or more that read below zero say that the rig's 0 V floats; one may have its wires
// swapped, and a coil's diode lets an output go there for a moment.
func TestFloating(t *testing.T) {
	off := OutputState{Samples: 100, LevelKnown: true, Level: 0.6, Rest: 0.6, Before: 0.6}
	with := func(change func(o *OutputState)) OutputState { o := off; change(&o); return o }
	low := with(func(o *OutputState) { o.Rest = -1.5 })
	was := with(func(o *OutputState) { o.Before = -0.8 })
	for name, c := range map[string]struct {
		outputs []OutputState
		want    float64
	}{
		"all in order":             {[]OutputState{off, off, off}, 0},
		"two are below":            {[]OutputState{off, low, was}, -1.5},
		"they were before":         {[]OutputState{off, was, was}, -0.8},
		"one alone":                {[]OutputState{off, off, low}, 0},
		"one, and one that moved":  {[]OutputState{low, with(func(o *OutputState) { o.Rest, o.Crossings = -1.5, 1 })}, 0},
		"one, and one not sampled": {[]OutputState{low, with(func(o *OutputState) { o.Rest, o.Samples = -1.5, 0 })}, 0},
		"late in the state":        {[]OutputState{low, with(func(o *OutputState) { o.Away, o.AwayVolts = 0.1, -1.4 })}, -1.5},
		"for a moment":             {[]OutputState{low, with(func(o *OutputState) { o.Away, o.AwayVolts = 0.003, -0.7 })}, 0},
		"a converter's offset":     {[]OutputState{with(func(o *OutputState) { o.Rest = -0.01 }), with(func(o *OutputState) { o.Rest = -0.02 })}, 0},
	} {
		if got := floating(c.outputs); got != c.want {
			t.Errorf("%s: %g V, want %g V", name, got, c.want)
		}
	}
}

// A reference that becomes inactive as a drive goes on, and active at its end, reads the opposite.
func TestInvertedReference(t *testing.T) {
	const on, off, before = 1_000_000_000, 1_300_000_000, 500_000_000
	drive := &capture.Track{Signal: "KEY", Known: true, Edges: []capture.Edge{{At: on, Closed: true}, {At: off}}}
	for name, c := range map[string]struct {
		edges []capture.Edge
		at    capture.Instant
		timed string
		want  string
	}{
		"as it should be":         {[]capture.Edge{{At: on + 1000, Closed: true}, {At: off + 1000}}, on + 1000, "reference", ""},
		"the opposite":            {[]capture.Edge{{At: on + 1000}, {At: off + 1000, Closed: true}}, off + 1000, "reference", "REF"},
		"the drive gave the time": {[]capture.Edge{{At: on + 1000}, {At: off + 1000, Closed: true}}, on, "drive", ""},
		"a switch that stays on":  {[]capture.Edge{{At: before}, {At: on + 1000, Closed: true}}, on + 1000, "reference", ""},
		"it went off by itself":   {[]capture.Edge{{At: before}, {At: off + 1000, Closed: true}}, off + 1000, "reference", ""},
	} {
		x := &capture.Capture{Tracks: []*capture.Track{drive, {Signal: "REF", Known: true, Edges: c.edges}}}
		if got := invertedReference(x, capture.Event{Name: "arm", At: c.at, Timed: c.timed}); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}
