package realtime

import (
	"testing"

	"golang.org/x/sys/unix"
)

// scheduling is how the kernel runs the calling thread.
func scheduling(t *testing.T) unix.SchedAttr {
	t.Helper()
	a, err := unix.SchedGetAttr(0, 0)
	if err != nil {
		t.Fatal(err)
	}
	return *a
}

// The sampling loop's thread is preferred as far as this user may have it, and not for
// longer than the bench is open.
func TestRaisePriority(t *testing.T) {
	before := scheduling(t)
	restore := RaisePriority()
	got := scheduling(t)
	switch got.Policy {
	case unix.SCHED_DEADLINE:
		if got.Runtime != share || got.Deadline != period || got.Period != period {
			t.Errorf("by deadline: %d of %d ns", got.Runtime, got.Period)
		}
	case unix.SCHED_NORMAL:
		if got.Nice != urgency && got.Nice != before.Nice {
			t.Errorf("nice value %d", got.Nice)
		}
	case before.Policy: // as under chrt, where this user may ask for nothing else
	default:
		t.Errorf("policy %d, before %d", got.Policy, before.Policy)
	}
	restore()
	if after := scheduling(t); after.Policy != before.Policy || after.Nice != before.Nice {
		t.Errorf("afterwards policy %d, nice value %d; before %d and %d", after.Policy, after.Nice, before.Policy, before.Nice)
	}
}

// Whoever measures and stores lets all others go first, and is the only one that does.
func TestLowerPriority(t *testing.T) {
	before := scheduling(t)
	policy := make(chan uint32)
	go func() {
		LowerPriority()
		a, err := unix.SchedGetAttr(0, 0)
		if err != nil {
			a = &unix.SchedAttr{}
		}
		policy <- a.Policy
	}()
	if got := <-policy; got != unix.SCHED_IDLE {
		t.Errorf("policy %d, want %d", got, unix.SCHED_IDLE)
	}
	if after := scheduling(t); after.Policy != before.Policy {
		t.Errorf("this thread has policy %d, before %d", after.Policy, before.Policy)
	}
}
