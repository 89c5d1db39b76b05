package capture_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"makebreak/rig/capture"
)

// A part of a capture says of its signals what the whole says, and nothing of others.
func TestPart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		whole, alone := &capture.Capture{End: 1000}, &capture.Capture{End: 1000}
		var signals []capture.Named
		for _, unit := range []string{"L", "R"} {
			mine := unit == "L"
			for _, name := range []string{"OUT1", "OUT2"} {
				a, b := capture.NewTrace(unit+name, capture.Converter{}), capture.NewTrace(name, capture.Converter{})
				for at := range capture.Instant(rapid.IntRange(0, 20).Draw(t, "samples")) {
					v := rapid.Float64Range(0, 15).Draw(t, "volts")
					a.Append(at*10, v)
					b.Append(at*10, v)
				}
				whole.Traces = append(whole.Traces, a)
				if mine {
					alone.Traces = append(alone.Traces, b)
					signals = append(signals, capture.Named{Own: unit + name, As: name})
				}
			}
			edges := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) capture.Edge {
				return capture.Edge{At: capture.Instant(rapid.IntRange(0, 1000).Draw(t, "at")), Closed: rapid.Bool().Draw(t, "closed")}
			}), 0, 5).Draw(t, "edges")
			slices.SortFunc(edges, func(a, b capture.Edge) int { return int(a.At - b.At) })
			whole.Tracks = append(whole.Tracks, &capture.Track{Signal: unit + "K1_NO", Known: true, Edges: edges})
			whole.Events = append(whole.Events, capture.Event{Name: unit + "/arm", At: 5})
			if mine {
				alone.Tracks = append(alone.Tracks, &capture.Track{Signal: "K1_NO", Known: true, Edges: edges})
				alone.Events = append(alone.Events, capture.Event{Name: "arm", At: 5})
				signals = append(signals, capture.Named{Own: unit + "K1_NO", As: "K1_NO"})
			}
		}
		part := whole.Part(signals, func(name string) (string, bool) { return strings.CutPrefix(name, "L/") })
		got, err := part.MarshalBinary()
		if err != nil {
			t.Fatal(err)
		}
		want, err := alone.MarshalBinary()
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatal(d)
		}
	})
}
