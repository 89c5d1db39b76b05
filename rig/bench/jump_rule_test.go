package bench

import (
	"math"
	"testing"
)

// A step is doubtful beyond 32 codes, and beyond four times the usual one: an output
// that ripples is not read twice all the time, and one that has come to rest is watched
// as closely as before. Steps of the output and readings put right do not blunt that.
func TestJumps_Doubtful(t *testing.T) {
	var j jumps
	if !j.doubtful(0) {
		t.Error("nothing vouches for the first reading, and it is not doubtful")
	}
	j.add(1000)
	for code, want := range map[int16]bool{1000: false, 1032: false, 968: false, 1033: true, 967: true, math.MinInt16: true} {
		if got := j.doubtful(code); got != want {
			t.Errorf("after 1000, %d: doubtful %v, want %v", code, got, want)
		}
	}
	doubts := func(n int, wave func(i int) float64) (count int) {
		for i := range n {
			code := int16(1000 + math.Round(wave(i)))
			if j.doubtful(code) {
				count++
			}
			j.add(code)
		}
		return count
	}
	// 100 Hz of 800 codes peak to peak at 860 readings a second.
	sine := func(i int) float64 { return 400 * math.Sin(2*math.Pi*100/860*float64(i)) }
	if n := doubts(200, sine); n > 100 {
		t.Errorf("%d of the first 200 readings of a ripple are doubtful", n)
	}
	if n := doubts(10_000, sine); n != 0 {
		t.Errorf("%d readings of a steady ripple are doubtful", n)
	}
	if !j.doubtful(j.last ^ 1<<14) {
		t.Error("bit 14 turned over passes among the ripple")
	}
	doubts(1000, func(int) float64 { return 0 })
	if !j.doubtful(1033) {
		t.Errorf("at rest again, a step of 33 passes; the usual one is %g", j.meanStep)
	}
	// An output that steps now and then stays watched.
	doubts(3000, func(i int) float64 { return float64(i / 300 % 2 * 20_000) })
	if most := j.most(); most > leastJump {
		t.Errorf("an output that steps every 300 readings is doubtful beyond %g codes only", most)
	}
}
