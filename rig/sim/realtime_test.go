package sim

import (
	"context"
	"errors"
	"testing"
	"time"

	"makebreak/rig/line"
)

func realLines(t *testing.T) (*World, line.Set) {
	t.Helper()
	rig := panelRig()
	w, err := NewWorld(rig, Opts{Seed: 1, RealTime: true, Programme: armedHigh, Relays: onOUT3()})
	if err != nil {
		t.Fatal(err)
	}
	set, err := w.Lines(testLines(rig))
	if err != nil {
		t.Fatal(err)
	}
	return w, set
}

// The world must not run ahead of the wall clock. How far it lags behind is the
// machine's business.
func TestRealTime_IsPaced(t *testing.T) {
	w, set := realLines(t)
	if _, _, err := set.Drive(lineAway, true); err != nil {
		t.Fatal(err)
	}
	var edges []line.Edge
	end := w.Now().Add(200 * time.Millisecond)
	for w.Now() < end {
		if err := set.Wait(context.Background(), end); err != nil {
			t.Fatal(err)
		}
		notAhead(t, w)
		edges, _ = set.Edges(edges)
	}
	if len(edges) < 3 || edges[0].Line != lineREF {
		t.Errorf("edges %+v: want the reference and both contacts", edges)
	}
}

// notAhead compares the world's time with the wall clock's from the instant that the
// world began, since what it lags behind it may make good.
func notAhead(t *testing.T, w *World) {
	t.Helper()
	virtual := w.Now().Sub(Start)
	if wall := time.Since(w.real.began); virtual > wall+aheadLimit {
		t.Errorf("%v have passed in the world and %v on the wall", virtual, wall)
	}
}

// aheadLimit is how far the world may be ahead: bus transfers and a drive.
const aheadLimit = 5 * time.Millisecond

func TestRealTime_WaitEnds(t *testing.T) {
	w, set := realLines(t)
	far := w.Now().Add(time.Hour)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	if err := set.Wait(ctx, far); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("cancelled: %v", err)
	}
	// A key press from another goroutine reaches a world that sleeps.
	timer := time.AfterFunc(20*time.Millisecond, func() { w.Act("arm-stay") })
	defer timer.Stop()
	if err := set.Wait(context.Background(), far); err != nil {
		t.Fatal(err)
	}
	if got, _ := set.Edges(nil); len(got) == 0 || got[0].Line != lineREF {
		t.Errorf("edges %+v, want the reference's", got)
	}
}

func TestRealTime_ReleaseFromElsewhere(t *testing.T) {
	w, set := realLines(t)
	if _, _, err := set.Drive(lineAway, true); err != nil {
		t.Fatal(err)
	}
	timer := time.AfterFunc(20*time.Millisecond, func() {
		if err := set.Release(); err != nil {
			t.Error(err)
		}
	})
	defer timer.Stop()
	end := w.Now().Add(10 * time.Second)
	for on := true; on; {
		if w.Now() > end {
			t.Fatal("the drive stayed on")
		}
		if err := set.Wait(context.Background(), w.Now().Add(50*time.Millisecond)); err != nil {
			t.Fatal(err)
		}
		set.Edges(nil)
		on, _ = set.Active(lineAway)
	}
}

// A caller that does nothing but bus traffic is held as well.
func TestRealTime_PollingIsPaced(t *testing.T) {
	w, _ := realLines(t)
	r := make([]byte, 2)
	for range 200 {
		if err := w.Bus().Tx(0x48, nil, r); err != nil {
			t.Fatal(err)
		}
	}
	if passed := w.Now().Sub(Start); passed < 2*aheadLimit {
		t.Fatalf("the traffic took %v: too little to see it held", passed)
	}
	notAhead(t, w)
}
