package sequences

import "testing"

func TestBuiltin(t *testing.T) {
	for _, s := range Builtin() {
		if s.Name == "" || s.About == "" || len(s.Cautions) > 0 {
			t.Errorf("%q: about %q, cautions %q", s.Name, s.About, s.Cautions)
		}
	}
}
