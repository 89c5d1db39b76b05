package ahead_test

import (
	"math/rand/v2"
	"testing"

	"makebreak/rig/ahead"
)

// Figures drawn ahead are those that are drawn when asked for, block after block.
func TestDraws_SameOrder(t *testing.T) {
	plain := rand.New(rand.NewPCG(1, 2))
	other := rand.New(rand.NewPCG(1, 2))
	d := ahead.New(other.NormFloat64)
	for i := range 200_000 {
		if got, want := d.Next(), plain.NormFloat64(); got != want {
			t.Fatalf("figure %d is %v, want %v", i+1, got, want)
		}
	}
}

// Who asks for nothing has nothing drawn, and who asks for one figure has a few drawn.
func TestDraws_FewForFew(t *testing.T) {
	drawn := make(chan bool, 1000)
	draw := func() int { drawn <- true; return 0 }
	d := ahead.New(draw)
	if n := len(drawn); n != 0 {
		t.Errorf("%d drawn before one is asked for", n)
	}
	d.Next()
	if n := len(drawn); n == 0 || n > 500 {
		t.Errorf("%d drawn for one", n)
	}
}

func BenchmarkDraws(b *testing.B) {
	d := ahead.New(rand.New(rand.NewPCG(1, 2)).NormFloat64)
	b.ReportAllocs()
	for b.Loop() {
		d.Next()
	}
}
