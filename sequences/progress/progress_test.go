package progress

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"makebreak/rig/problem"
	"makebreak/rig/web"
	"makebreak/sequences"
)

// Where other machines can read the metrics, that is said, and how to serve this one only.
func TestNew_Exposed(t *testing.T) {
	t.Parallel()
	for address, exposed := range map[string]bool{":0": true, "0.0.0.0:0": true, "localhost:0": false, "127.0.0.1:0": false} {
		var told strings.Builder
		s, err := New(&sequences.Sequence{}, 1, Opts{Serve: address, Note: func(f string, args ...any) { fmt.Fprintf(&told, f+"\n", args...) }})
		if err != nil {
			t.Fatal(err)
		}
		s.Close()
		remedy := fmt.Sprintf("--metrics localhost:%d\n", s.server.Port())
		if got := strings.Contains(told.String(), "Other machines can read") && strings.Contains(told.String(), remedy); got != exposed {
			t.Errorf("%s: told %q", address, told.String())
		}
		if !strings.HasPrefix(told.String(), "Metrics at http://") {
			t.Errorf("%s: told %q", address, told.String())
		}
	}
	none := web.Access{Config: filepath.Join(t.TempDir(), "none.yaml")}
	if _, err := New(&sequences.Sequence{}, 1, Opts{Serve: "localhost:0", Access: none}); problem.KindOf(err) != problem.Input {
		t.Errorf("logins that are not there: %v", err)
	}
}
