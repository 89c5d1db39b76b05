package progress

import (
	"fmt"
	"strings"
	"testing"

	"makebreak/rig/problem"
	"makebreak/rig/web"
	"makebreak/sequences"
)

// Other machines read the metrics only where that was asked for, and then it is said.
func TestNew_Exposed(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		address            string
		insecure           bool
		refused, announced bool
	}{
		{":0", false, true, false}, {"0.0.0.0:0", false, true, false}, {":0", true, false, true}, {"0.0.0.0:0", true, false, true},
		{"localhost:0", false, false, false}, {"127.0.0.1:0", true, false, false},
	} {
		var told strings.Builder
		s, err := New(&sequences.Sequence{}, 1, Opts{Serve: c.address, Access: web.Access{Insecure: c.insecure}, Note: func(f string, args ...any) { fmt.Fprintf(&told, f+"\n", args...) }})
		if (err != nil) != c.refused || c.refused && problem.KindOf(err) != problem.Usage {
			t.Errorf("%s, insecure %t: %v", c.address, c.insecure, err)
		}
		if err != nil {
			continue
		}
		s.Close()
		if got := strings.Contains(told.String(), "Other machines can read"); got != c.announced || !strings.HasPrefix(told.String(), "Metrics at http://") {
			t.Errorf("%s: told %q", c.address, told.String())
		}
	}
}
