package problem

import (
	"context"
	"errors"
	"fmt"
	"testing"
)

func TestKindOf(t *testing.T) {
	rig := New(Rig, "the bus is gone")
	for _, c := range []struct {
		name string
		err  error
		want Kind
	}{
		{"nil", nil, Unknown},
		{"nobody's", errors.New("x"), Unknown},
		{"plain", rig, Rig},
		{"wrapped", fmt.Errorf("cycle 3: %w", rig), Rig},
		{"the outermost decides", Of(Input, rig), Input},
		{"the gravest of a join", errors.Join(New(Usage, "x"), rig, New(Interrupted, "y")), Rig},
		{"two wrapped by one", fmt.Errorf("%w (%w)", errors.New("x"), New(Storage, "full")), Storage},
		{"unknown does not outweigh", errors.Join(errors.New("x"), New(Usage, "y")), Usage},
		{"cancelled", fmt.Errorf("run: %w", context.Canceled), Interrupted},
		{"a kind of unknown asks its cause", &Error{Err: rig}, Rig},
	} {
		if got := KindOf(c.err); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

func TestError_Text(t *testing.T) {
	cause := errors.New("no such device")
	for _, c := range []struct {
		err  *Error
		want string
	}{
		{&Error{Rig, "open the I²C bus", "/dev/i2c-1", cause}, "/dev/i2c-1: open the I²C bus: no such device"},
		{&Error{Rig, "", "/dev/i2c-1", cause}, "/dev/i2c-1: no such device"},
		{&Error{Rig, "", "", cause}, "no such device"},
	} {
		if got := c.err.Error(); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
		if !errors.Is(c.err, cause) {
			t.Errorf("%v does not unwrap to its cause", c.err)
		}
	}
}
