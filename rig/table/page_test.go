package table

import (
	"fmt"
	"io"
	"strings"
	"testing"
	"unicode/utf8"

	_ "makebreak/testdata/fixedseed"

	"pgregory.net/rapid"
)

// Lines break at blanks and go on beneath where their text began; words are never broken.
func TestPage(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		columns, hang int
		in, want      string
	}{
		{20, 0, "one two three four five six\n", "one two three four\nfive six\n"},
		{20, 0, "  - one two three four five\n\nsix\n", "  - one two three\n    four five\n\nsix\n"},
		{20, 0, "name  what is said of it\n", "name  what is said\n      of it\n"},
		{20, 2, "one two three four five six", "one two three four\n  five six"},
		{10, 0, "a /path/that/is/longer than\n", "a\n/path/that/is/longer\nthan\n"},
		{0, 0, "one two three four five six seven eight nine ten\n", "one two three four five six seven eight nine ten\n"},
		{12, 0, "äöü äöü äöü äöü\n", "äöü äöü äöü\näöü\n"},
		{11, 0, "\x1b[32mpass\x1b[0m (1 of 1)\n", "\x1b[32mpass\x1b[0m (1 of\n1)\n"},
		{80, 0, "Type yes: ", "Type yes: "},
	} {
		var b strings.Builder
		if _, err := io.WriteString(&Page{W: &b, Columns: c.columns, Hang: c.hang}, c.in); err != nil {
			t.Fatal(err)
		}
		if b.String() != c.want {
			t.Errorf("%q in %d columns: %q, want %q", c.in, c.columns, b.String(), c.want)
		}
	}
	if _, err := io.WriteString(&Page{W: full{}, Columns: 10}, "x"); err == nil {
		t.Error("a writer that is full was not told of")
	}
}

// Whatever is written, nothing is lost but blanks and line feeds that stand between words, and
// no line is too long but for one word that has no place anywhere.
func TestPage_Drawn(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(rapid.StringMatching(`[a-z]{1,14}`), 1, 30).Draw(t, "words")
		columns := rapid.IntRange(20, 60).Draw(t, "columns")
		var b strings.Builder
		p := &Page{W: &b, Columns: columns}
		for i, w := range words {
			fmt.Fprint(p, map[bool]string{true: " "}[i > 0], w)
		}
		if got := strings.Fields(b.String()); strings.Join(got, " ") != strings.Join(words, " ") {
			t.Fatalf("%q became %q", words, got)
		}
		for line := range strings.SplitSeq(b.String(), "\n") {
			if utf8.RuneCountInString(line) > columns {
				t.Fatalf("%q in %d columns", line, columns)
			}
		}
	})
}

// A table that is too wide has its sentences broken or beneath, or its rows on several lines.
func TestWrite_Fitting(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		columns int
		rows    [][]any
		want    string
	}{
		{80, [][]any{{"a", 1, "b"}}, "name  n  what\na     1  b\n"},
		{48, [][]any{{"a", 1, "it is said of this that it breaks where it must"}}, "name  n  what\na     1  it is said of this that it breaks\n         where it must\n"},
		{30, [][]any{{"a-long-name", 1, "it is said of this that it stands beneath"}}, "name         n\n  what\na-long-name  1\n  it is said of this that it\n  stands beneath\n"},
		{20, [][]any{{"a-long-name", 10, "short-words-here"}}, "name\n  n\n  what\na-long-name\n  10\n  short-words-here\n"},
	} {
		var b strings.Builder
		err := Write(&Page{W: &b, Columns: c.columns}, []string{"name", "n", "what"}, func(row func(...any)) {
			for _, r := range c.rows {
				row(r...)
			}
		})
		if err != nil || b.String() != c.want {
			t.Errorf("%d columns, %v:\n%q\nwant\n%q", c.columns, err, b.String(), c.want)
		}
	}
}
