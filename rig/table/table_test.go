package table

import (
	"errors"
	"strings"
	"testing"
)

func TestWrite(t *testing.T) {
	var b strings.Builder
	err := Write(&b, []string{"output", "volts", "ok"}, func(row func(...any)) {
		row("OUT1", 12, "yes")
		row("Ausgang_Ä", 3.5, "")
	})
	const want = "output     volts  ok\nOUT1          12  yes\nAusgang_Ä    3.5\n"
	if err != nil || b.String() != want {
		t.Errorf("%v\n%s", err, b.String())
	}
}

// full is a disk without room.
type full struct{}

var errFull = errors.New("no room")

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestWrite_Fails(t *testing.T) {
	if err := Write(full{}, []string{"a"}, func(row func(...any)) { row(1) }); !errors.Is(err, errFull) {
		t.Errorf("%v", err)
	}
}
