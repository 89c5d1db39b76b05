package runner

import (
	"testing"

	"makebreak/rig/capture"
)

// One cycle may wait however long it is, and more of them only as far as their samples are few.
func TestWaiting(t *testing.T) {
	of := func(n int) recorded {
		tr := capture.NewTrace("OUT1", capture.Converter{})
		for i := range n {
			tr.Append(capture.Instant(i), 0)
		}
		return recorded{capture: &capture.Capture{Traces: []*capture.Trace{tr}}}
	}
	q := &waiting{}
	long, short := of(mostWaiting+1), of(mostWaiting/2)
	if !q.room(long) {
		t.Error("no room for one long cycle")
	}
	q.samples.Add(short.capture.Held())
	if !q.room(short) || q.room(long) {
		t.Errorf("room for a short one: %v, for a long one: %v", q.room(short), q.room(long))
	}
	q.samples.Add(short.capture.Held())
	if q.room(of(1)) {
		t.Error("room for more than may wait")
	}
	q.taken(short)
	q.taken(short)
	if !q.room(long) {
		t.Error("no room after all have been taken")
	}
}
