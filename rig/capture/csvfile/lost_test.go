package csvfile

import (
	"slices"
	"strings"
	"testing"

	"makebreak/rig/capture"
)

// When edges may be lost goes along: of a gap its whole span, of a merge all from
// its event to the next, of a wrong state all up to the next edge. Of a line that is about nothing else a
// column of that name is a line.
func TestWrite_LostEdges(t *testing.T) {
	span := func(from, to capture.Instant) capture.Span { return capture.Span{From: from, To: to} }
	edges := func(at ...capture.Instant) (all []capture.Edge) {
		for i, x := range at {
			all = append(all, capture.Edge{At: x, Closed: i%2 == 0})
		}
		return all
	}
	loss := func(s capture.Span, sign capture.Sign) capture.Loss {
		return capture.Loss{Span: s, Edges: 3, Sign: sign}
	}
	c := &capture.Capture{End: 1000, Events: []capture.Event{{Name: "on", At: 100}, {Name: "off", At: 500}},
		Tracks: []*capture.Track{
			{Signal: "K1_NO", Known: true, Edges: edges(110, 520), Losses: []capture.Loss{loss(span(0, 110), capture.Merge), loss(span(110, 520), capture.Merge)}},
			{Signal: "K1_NC", Known: true, Edges: edges(120, 130, 700), Losses: []capture.Loss{loss(span(0, 120), capture.Gap), loss(span(130, 499), capture.Level)}},
			{Signal: "K2_NO", Known: true, Edges: edges(120)},
			{Signal: "K2_NC", Known: true, Edges: edges(130), Losses: []capture.Loss{{Span: span(0, 1000), Sign: capture.Neighbour}}},
			{Signal: "K3_lost", Known: true, Edges: edges(120)},
		}}
	var b strings.Builder
	if err := Write(&b, c, Origin{}); err != nil {
		t.Fatal(err)
	}
	back, err := readAll(strings.NewReader(b.String()), 0)
	if err != nil {
		t.Fatalf("%v\n%s", err, b.String())
	}
	want := [][]capture.Span{{span(100, 499), span(500, 1000)}, {span(0, 120), span(130, 700)}, nil, {span(0, 1000)}, nil}
	for i, k := range back.Tracks {
		var got []capture.Span
		for _, l := range k.Losses {
			got = append(got, l.Span)
		}
		if i >= len(want) || k.Signal != c.Tracks[i].Signal || !slices.Equal(got, want[i]) || !slices.Equal(k.Edges, c.Tracks[i].Edges) {
			t.Errorf("%s: lost in %v, edges %v", k.Signal, got, k.Edges)
		}
	}
	if len(back.Tracks) != len(want) {
		t.Errorf("%d lines, want %d", len(back.Tracks), len(want))
	}
	c.Tracks[4].Signal = "K1_NO_lost"
	if err := Write(&b, c, Origin{}); err == nil || !strings.Contains(err.Error(), "K1_NO_lost") {
		t.Errorf("a line named as the column of another: %v", err)
	}
	_, err = readAll(strings.NewReader("time_s,K1_NO,K1_NO_lost\n0,1,0\n1,,2\n"), 0)
	if err == nil || !strings.Contains(err.Error(), "may be lost from here on") {
		t.Errorf("neither 0 nor 1: %v", err)
	}
}
