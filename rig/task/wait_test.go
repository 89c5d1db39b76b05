package task

import (
	"context"
	"errors"
	"testing"
	"time"
)

// A call that waits for nobody is given up with the context; one that is over counts, also
// where the context ends meanwhile.
func TestWait(t *testing.T) {
	failed := errors.New("failed")
	if n, err := Wait(t.Context(), 0, func() (int, error) { return 3, failed }); n != 3 || !errors.Is(err, failed) {
		t.Errorf("%d, %v", n, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	never := make(chan int)
	defer close(never)
	n, err := Wait(ctx, 0, func() (int, error) { cancel(); return <-never, nil })
	if n != 0 || !errors.Is(err, context.Canceled) {
		t.Errorf("%d, %v", n, err)
	}
	if n, err := Wait(ctx, time.Hour, func() (int, error) { return 4, nil }); n != 4 || err != nil {
		t.Errorf("within the grace: %d, %v", n, err)
	}
}
