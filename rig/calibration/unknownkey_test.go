package calibration

import (
	"os"
	"testing"

	"makebreak/testdata/unknownkey"
)

// An unknown key is refused wherever it is put, in a calibration file and in one of points.
func TestParse_unknownKeys(t *testing.T) {
	n := unknownkey.Check(t, stored(t).Format(), func(b []byte) error { _, err := Parse("f.yaml", b); return err })
	if n < 5 {
		t.Errorf("only %d mappings of a calibration file were tried", n)
	}
	points, err := os.ReadFile("../../testdata/readme/points.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if n := unknownkey.Check(t, points, func(b []byte) error { _, err := ParsePoints("f.yaml", b); return err }); n < 3 {
		t.Errorf("only %d mappings of a file of points were tried", n)
	}
}
