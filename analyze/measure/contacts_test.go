package measure

import (
	"testing"
	"time"

	"makebreak/rig/capture"
)

// A contact that keeps opening is told from one that keeps closing by how long it is closed.
func TestChange_Closed(t *testing.T) {
	const ms = capture.Instant(time.Millisecond)
	track := &capture.Track{Signal: "K1_NO", Known: true}
	for at := range capture.Instant(10) { // closed for 40 ms, open for 10 ms
		track.Edges = append(track.Edges, capture.Edge{At: (100 + 50*at) * ms, Closed: true}, capture.Edge{At: (140 + 50*at) * ms})
	}
	got := changeOf(track, 50*ms, 600*ms).state() // its last edge at 590 ms
	if got.ClosedShare != 0.8 || got.LongestClosed != 0.04 || !got.Restless {
		t.Errorf("%+v", got)
	}
	if got := changeOf(track, 0, 50*ms).state(); got.ClosedShare != 0 || got.LongestClosed != 0 {
		t.Errorf("without an edge %+v", got)
	}
	if got := changeOf(track, 50*ms, 120*ms).state(); got.ClosedShare != 1 || got.LongestClosed != 0 {
		t.Errorf("closed to the end %+v", got)
	}
}
