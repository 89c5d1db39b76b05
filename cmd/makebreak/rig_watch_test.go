package main

import (
	"slices"
	"testing"
)

// A picture that is drawn over fits the terminal: no line reaches its last column, and its
// last row is left to the cursor.
func TestCutTo(t *testing.T) {
	picture := func() []string { return []string{"output\n", "ÄÖÜ 1.5 V\n", "\n", "line\n", ""} }
	for _, c := range []struct {
		columns, rows int
		want          []string
	}{
		{80, 24, []string{"output\n", "ÄÖÜ 1.5 V\n", "\n", "line\n"}},
		{0, 0, []string{"output\n", "ÄÖÜ 1.5 V\n", "\n", "line\n"}},
		{6, 5, []string{"outpu\n", "ÄÖÜ 1\n", "\n", "line\n"}},
		{80, 4, []string{"output\n", "ÄÖÜ 1.5 V\n", "… (more lines than the terminal has)\n"}},
		{80, 1, []string{"output\n", "ÄÖÜ 1.5 V\n", "\n", "line\n"}},
	} {
		if got := cutTo(picture(), c.columns, c.rows); !slices.Equal(got, c.want) {
			t.Errorf("%d columns, %d rows: %q, want %q", c.columns, c.rows, got, c.want)
		}
	}
}
