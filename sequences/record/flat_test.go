package record

import (
	"fmt"
	"io"
	"runtime"
	"testing"

	"makebreak/analyze"
)

// longFile is a capture file of one output that is told to go high on row 2,000, and drops out
// for one row in the middle. inUse is how many bytes of memory were in use when its last row
// was read.
type longFile struct {
	rows, next int
	rest       []byte
	inUse      int64
}

func (f *longFile) Read(p []byte) (int, error) {
	for len(f.rest) < len(p) && f.next <= f.rows {
		f.row()
	}
	if len(f.rest) == 0 {
		return 0, io.EOF
	}
	n := copy(p, f.rest)
	f.rest = append(f.rest[:0], f.rest[n:]...)
	return n, nil
}

func (f *longFile) row() {
	const told = 2000
	i := f.next
	f.next++
	volts, event := 0.61+0.001*float64(i%5), ""
	if i > told+100 {
		volts += 12.6
	}
	switch i {
	case 0:
		f.rest = append(f.rest, "time_s,OUT1_V,event\n"...)
	case told:
		event = "arm-away"
	case f.rows / 2:
		volts = 4
	case f.rows:
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		f.inUse = int64(m.HeapAlloc)
	}
	f.rest = fmt.Appendf(f.rest, "%.3f,%.3f,%s\n", float64(i)/1000, volts, event)
}

// A capture file of one long state takes no more memory than a short one, and a dropout of one
// row of it is found.
func TestOfCapture_FlatMemory(t *testing.T) {
	used := map[int]int64{}
	for _, rows := range []int{200_000, 1_500_000} {
		f := &longFile{rows: rows}
		rec, _, err := OfCapture(t.Context(), "long.csv", f, 0, nil)
		if err != nil {
			t.Fatal(err)
		}
		used[rows] = f.inUse
		found := false
		for m := range rec.Measurements {
			if m.Event == "arm-away" && m.Quantity == analyze.Hold {
				found = m.Value > 0.0005 && m.Value < 0.0015
			}
		}
		if !found {
			t.Errorf("%d rows: the dropout of one row is not found", rows)
		}
	}
	if grown := used[1_500_000] - used[200_000]; grown > 4<<20 { // all samples are 16 MB more
		t.Errorf("%d bytes more are in use for 1,500,000 rows than for 200,000", grown)
	}
	t.Log(used)
}
