package machine

import "testing"

// The message to the firmware is as long as it says, asks for one property with room for one
// word, and clears nothing.
func TestQuestion(t *testing.T) {
	if q := question(); q[0] != 28 || q[1] != 0 || q[2] != 0x30046 || q[3] != 4 || q[valueAt] != 0 || q[len(q)-1] != 0 {
		t.Errorf("%#x", q)
	}
}

// This machine tells its kernel at least.
func TestThis(t *testing.T) {
	if got := told(This().Read()); got["kernel"] == "" || got["memory_lock"] == "" {
		t.Errorf("%v", got)
	}
}
