package table

import (
	"errors"
	"io"
	"slices"
	"strings"
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

// The first text is written as it is, each later one over all lines of the one before.
func TestScreen(t *testing.T) {
	var out strings.Builder
	s := Screen{Out: &out}
	for _, text := range []string{"a\nb\n", "c\n", "d\n"} {
		if err := s.Draw(func(w io.Writer) error { _, err := io.WriteString(w, text); return err }); err != nil {
			t.Fatal(err)
		}
	}
	if want := "a\nb\n\x1b[2A\x1b[Jc\n\x1b[1A\x1b[Jd\n"; out.String() != want {
		t.Errorf("%q, want %q", out.String(), want)
	}
	if err := s.Draw(func(io.Writer) error { return errFull }); !errors.Is(err, errFull) {
		t.Errorf("%v", err)
	}
	s.Out = full{}
	if err := s.Draw(func(w io.Writer) error { return nil }); !errors.Is(err, errFull) {
		t.Errorf("%v", err)
	}
}
