package wiring

import "testing"

func TestBuiltin(t *testing.T) {
	for _, r := range Builtin() {
		if p := r.Check(); len(p) > 0 {
			t.Errorf("%s: %v", r.Name, p)
		}
	}
}
