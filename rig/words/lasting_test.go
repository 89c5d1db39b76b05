package words_test

import (
	"testing"
	"time"

	"makebreak/rig/words"
)

func TestLasting(t *testing.T) {
	t.Parallel()
	const h, day = time.Hour, 24 * time.Hour
	for _, c := range []struct {
		d             time.Duration
		lasting, left string
	}{
		{0, "under 1 s", "under 1 s"}, {200 * time.Millisecond, "under 1 s", "1 s"}, {time.Second, "1 s", "1 s"}, {59*time.Second + 1, "59 s", "1 min"},
		{time.Minute, "1 min", "1 min"}, {61 * time.Second, "1 min 1 s", "2 min"}, {h - 1, "59 min 59 s", "1 h"}, {h, "1 h", "1 h"},
		{2*h + 10*time.Minute + 59*time.Second, "2 h 10 min", "2 h 11 min"}, {day - 1, "23 h 59 min", "1 d"}, {day, "1 d", "1 d"},
		{day + 59*time.Minute, "1 d", "1 d 1 h"}, {25 * h, "1 d 1 h", "1 d 1 h"}, {90 * day, "90 d", "90 d"},
	} {
		if lasting, left := words.Lasting(c.d), words.Left(c.d); lasting != c.lasting || left != c.left {
			t.Errorf("%v: %q and %q, want %q and %q", c.d, lasting, left, c.lasting, c.left)
		}
	}
}
