package pace

import (
	"testing"
	"time"
)

// The pace is that of the newest cycles, long or short, and takes bounded memory.
func TestPace(t *testing.T) {
	t.Parallel()
	for _, each := range []time.Duration{time.Microsecond, 3 * time.Millisecond, 250 * time.Millisecond, time.Second, time.Minute} {
		p := &Pace{}
		at := time.Date(2031, 4, 5, 9, 30, 0, 0, time.UTC)
		p.Add(at, 7) // a soak that goes on
		if p.Each() != 0 {
			t.Errorf("%v: %v before the first cycle", each, p.Each())
		}
		done := 7
		cycles := func(n int) {
			for range n {
				at = at.Add(each)
				done++
				p.Add(at, done)
			}
		}
		cycles(3)
		if p.Each() != each {
			t.Errorf("%v: %v after 3 cycles", each, p.Each())
		}
		at = at.Add(100 * time.Hour) // the rig was lost
		cycles(max(mostMarks+1, int(25*time.Second/max(each, 100*time.Microsecond))))
		if each >= 100*time.Microsecond && p.Each() != each {
			t.Errorf("%v: %v after the rig was lost", each, p.Each())
		}
		if len(p.marks) > mostMarks {
			t.Errorf("%v: %d marks", each, len(p.marks))
		}
	}
}
