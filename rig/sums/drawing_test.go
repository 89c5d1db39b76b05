package sums

import (
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"makebreak/rig/table"
)

// drawn holds a sheet's drawing to a terminal's 80 columns, two of which are left free before it.
func drawn(t failing, s *Sheet) {
	t.Helper()
	for _, line := range s.Drawing() {
		if n := utf8.RuneCountInString(line); n > 78 || strings.TrimRight(line, " ") != line {
			t.Fatalf("%d columns: %q", n, line)
		}
	}
	if len(s.Drawing()) < 3 {
		t.Fatalf("the drawing is %q", s.Drawing())
	}
}

// A cable of 29 m, 1 ohm for both conductors, as it is drawn; by hand.
func TestDrawing_Cable(t *testing.T) {
	in := cable()
	in.Length = 29
	s, err := Drop(in)
	want := []string{
		"10 V ○───[ 0.5 ohm ]───────┐",
		"      cable: 29 m of 1 mm² █ load of 1 A",
		"                           █ sees 9 V",
		" 0 V ○───[ 0.5 ohm ]───────┘",
	}
	if err != nil || !slices.Equal(s.Drawing(), want) {
		t.Errorf("%v\n%s\nwant\n%s", err, strings.Join(s.Drawing(), "\n"), strings.Join(want, "\n"))
	}
}

// 24 h of 30 h are four fifths of what is counted on, which is four fifths of what is rated: 23 of 29
// of 36 columns.
func TestDrawing_Battery(t *testing.T) {
	got := barsText(batteryBars(10, 8, 0.8, 0.1, 24, 0.5))
	for i, want := range []int{36, 29, 23, 3, 3} {
		if n := strings.Count(got[i], "█") + strings.Count(got[i], "▒") + strings.Count(got[i], "░"); n != want {
			t.Errorf("%d columns, want %d: %q", n, want, got[i])
		}
	}
	if tiny := barsText(batteryBars(10, 10, 0, 1e-4, 0, 0.1)); strings.Count(tiny[3], "▒") != 1 {
		t.Errorf("a share that is small must show: %q", tiny[3])
	}
	if short := barsText(batteryBars(10, 8, 3, 0.5, 72, 0.5)); len(short) != 4 || strings.Count(short[2], "▒") != 36 {
		t.Errorf("a battery that is too small: %q", short)
	}
}

// A page that is too narrow for the drawing goes without.
func TestDrawing_NarrowPage(t *testing.T) {
	in := cable()
	s, err := Drop(in)
	if err != nil {
		t.Fatal(err)
	}
	for columns, want := range map[int]bool{0: true, 80: true, 30: false} {
		var b strings.Builder
		if err := s.Text(&table.Page{W: &b, Columns: columns, Hang: 2}); err != nil || strings.Contains(b.String(), "○") != want {
			t.Errorf("%d columns: %v\n%s", columns, err, &b)
		}
	}
}
