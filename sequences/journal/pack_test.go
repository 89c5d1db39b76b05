package journal

import (
	"bytes"
	"errors"
	"math"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/gum"
)

// A measurement that differs from its point in nothing takes no bytes; one number
// takes its mask and itself.
func TestPackNumbers(t *testing.T) {
	t.Parallel()
	m := exampleCycle(1).Measurements[0]
	same := numbersOf(&m)
	if b := packNumbers(&m, same); b != nil {
		t.Errorf("nothing differs, and takes %d bytes", len(b))
	}
	m.Budget[1].Sensitivity = math.Copysign(0, -1)
	const mask, number = 2, 8 // ten numbers, so ten bits
	if b := packNumbers(&m, same); len(b) != mask+number {
		t.Errorf("one number takes %d bytes, want %d", len(b), mask+number)
	}
}

// Whatever bytes a damaged log gives, they are read or refused; what is read is
// packed into the same bytes again.
func FuzzUnpackNumbers(f *testing.F) {
	f.Add(uint8(0), []byte{})
	f.Add(uint8(2), []byte{1, 0, 1, 2, 3, 4, 5, 6, 7, 8})
	f.Add(uint8(1), []byte{0x7f})
	f.Fuzz(func(t *testing.T, lines uint8, b []byte) {
		m := analyze.Measurement{Budget: make([]gum.Component, lines%8)}
		same := make([]float64, numbersIn(len(m.Budget)))
		for i := range same {
			same[i] = float64(i) + 0.5
		}
		if err := unpackNumbers(&m, same, b); err != nil {
			if !errors.Is(err, ErrCorrupt) {
				t.Fatal(err)
			}
			return
		}
		var again analyze.Measurement
		again.Budget = make([]gum.Component, len(m.Budget))
		packedAgain := packNumbers(&m, same)
		if err := unpackNumbers(&again, same, packedAgain); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(packNumbers(&again, same), packedAgain) {
			t.Fatalf("%x read as %v", b, m)
		}
	})
}
