package words_test

import (
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"
	"unicode/utf8"

	"makebreak/rig/words"
)

// dangerous reports whether a text holds anything that a terminal obeys, that changes a
// line's direction, or that does not show. It is written apart from what it checks, by the
// ranges of the Unicode Standard, from memory.
func dangerous(s string) bool {
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == utf8.RuneError && n == 1,
			r < 0x20 && r != '\n', r >= 0x7f && r < 0xa0, r == 0xad,
			r == 0x61c, r >= 0x200b && r <= 0x200f, r >= 0x2028 && r <= 0x202e, r >= 0x2060 && r <= 0x206f,
			r == 0x34f, r == 0x115f, r == 0x1160, r == 0x17b4, r == 0x17b5, r >= 0x180b && r <= 0x180f, r == 0x3164, r == 0xffa0,
			r >= 0xfe00 && r <= 0xfe0f, r == 0xfeff, r >= 0xfff9 && r <= 0xfffb, r == 0xfffe, r == 0xffff, r >= 0xe0000 && r <= 0xe0fff:
			return true
		}
		i += n
	}
	return false
}

func TestSafe(t *testing.T) {
	for in, want := range map[string]string{
		"":                    "",
		"OUT3 Ω ± 1 – “é” 日本": "OUT3 Ω ± 1 – “é” 日本",
		"a\x1b[31mb":          `a\x1b[31mb`,
		"a\nb\r\tc\a\x00\x7f": `a\nb\r\tc\a\x00\x7f`,
		"\x9b31m":             `\x9b31m`,
		"\u009b31m":           `\u009b31m`,
		"pass\u202eliaf":      `pass\u202eliaf`,
		"a\u2066\u2069\u061c": `a\u2066\u2069\u061c`,
		"a\u2028\u2029b":      `a\u2028\u2029b`,
		"a\u200b\ufeff\u00ad": `a\u200b\ufeff\u00ad`,
		"tag \U000e0041":      `tag \U000e0041`,
		"\u3164":              `\u3164`,
		"half \xe2\x80":       `half \xe2\x80`,
		"lone \xed\xa0\x80":   `lone \xed\xa0\x80`,
		"\ufffd":              "\ufffd",
		"a\u00a0b":            "a\u00a0b",
	} {
		if got := words.Safe(in); got != want {
			t.Errorf("Safe(%q) = %q, want %q", in, got, want)
		} else if again := words.Safe(got); again != got {
			t.Errorf("twice: %q", again)
		}
	}
	if got := words.SafeLines("a\n\tb\x1b\n"); got != "a\n\tb\\x1b\n" {
		t.Errorf("%q", got)
	}
}

// No character of Unicode gets through that does something other than show.
func TestSafe_AllCharacters(t *testing.T) {
	for r := rune(0); r <= 0x10ffff; r++ {
		if s := words.Safe(string(r)); dangerous(s) || s == "" {
			t.Errorf("%U gives %q", r, s)
		}
	}
	for b := range 256 {
		if s := words.Safe(string([]byte{'a', byte(b), 'b'})); dangerous(s) {
			t.Errorf("the byte %#02x gives %q", b, s)
		}
	}
}

func TestShort(t *testing.T) {
	for _, c := range []struct {
		in   string
		most int
		want string
	}{
		{"OUT3", 4, "OUT3"}, {"OUT33", 4, "OUT…"}, {"ΩΩΩΩ", 4, "ΩΩΩΩ"}, {"a\x1bb", 4, `a\x…`}, {strings.Repeat("x", 1e6), 5, "xxxx…"}, {"", 3, ""},
	} {
		if got := words.Short(c.in, c.most); got != c.want {
			t.Errorf("Short(%.20q, %d) = %q, want %q", c.in, c.most, got, c.want)
		}
	}
}

func TestCell(t *testing.T) {
	for in, want := range map[string]string{
		"":               "",
		"OUT3":           "OUT3",
		"a-b=c+d@e":      "a-b=c+d@e",
		"=1+1":           "'=1+1",
		"+1":             "'+1",
		"-1":             "'-1",
		"@SUM(A1)":       "'@SUM(A1)",
		"  =1":           "'  =1",
		"\u00a0=1":       "'\u00a0=1",
		`"=1`:            `'"=1`,
		"\t=1":           `\t=1`,
		"\r=1":           `\r=1`,
		"＝1":             "'＝1",
		"'=1":            "'=1",
		"a;=1":           "a;'=1",
		"a; @b;c;-d":     "a;' @b;c;'-d",
		"too late; wait": "too late; wait",
	} {
		if got := words.Cell(in); got != want {
			t.Errorf("Cell(%q) = %q, want %q", in, got, want)
		} else if again := words.Cell(got); again != got {
			t.Errorf("twice: %q", again)
		}
	}
}

func TestCheckName(t *testing.T) {
	for _, good := range []string{"", "B-0001", "José Ñ.", "日本", "a b", "5+5", strings.Repeat("é", 80)} {
		if err := words.CheckName(good); err != nil {
			t.Errorf("%q: %v", good, err)
		}
	}
	for bad, want := range map[string]string{
		"   ":                   "it is blank",
		" a":                    "begin or end with a blank",
		"a\u00a0":               "begin or end with a blank",
		"a\nb":                  "control character U+000A",
		"a\u009b":               "control character U+009B",
		"a\u202eb":              "invisible character U+202E",
		"\u202eb":               "invisible character U+202E",
		"\x1b[2J":               "control character U+001B",
		"a\xff":                 "UTF-8",
		"=1":                    `starts with "="`,
		"＋1":                    `starts with "＋"`,
		`"@a`:                   `starts with "@"`,
		strings.Repeat("é", 81): "81 characters; must be at most 80",
	} {
		if err := words.CheckName(bad); err == nil || !strings.Contains(err.Error(), want) || dangerous(err.Error()) || len(err.Error()) > 400 {
			t.Errorf("%q: %v, want %q", bad, err, want)
		}
	}
}

// Whatever is written, in whichever pieces, what comes out is what Safe gives of the whole.
func FuzzWriter(f *testing.F) {
	f.Add("plain\r\n± 5 \x1b[31mred\u202e\xc2", uint8(3))
	f.Add("\r\r\n\x1b[\xf0\x9f", uint8(1))
	f.Fuzz(func(t *testing.T, text string, piece uint8) {
		var out strings.Builder
		w := &words.Writer{W: &out}
		for b := []byte(text); len(b) > 0; {
			n := min(int(piece)+1, len(b))
			if got, err := w.Write(b[:n]); got != n || err != nil {
				t.Fatal(got, err)
			}
			b = b[n:]
		}
		if err := w.Flush(); err != nil {
			t.Fatal(err)
		}
		want := strings.ReplaceAll(words.SafeLines(strings.ReplaceAll(text, "\r\n", "\n")), "\n", "\r\n")
		if got := strings.ReplaceAll(strings.ReplaceAll(out.String(), "\r\n", "\n"), "\n", "\r\n"); got != want {
			t.Errorf("%q gives %q, want %q", text, got, want)
		}
	})
}

// JSON says the same after as before, in characters that are safe to print.
func TestWriter_JSON(t *testing.T) {
	text := "a\u202e\u009b\x7f\U000e0041\u2028 ± \"q\" \n\x1b"
	var out strings.Builder
	w := &words.Writer{W: &out, JSON: true}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	if err := errors.Join(e.Encode(text), w.Flush()); err != nil {
		t.Fatal(err)
	}
	var back string
	if err := json.Unmarshal([]byte(out.String()), &back); err != nil || back != text || dangerous(out.String()) {
		t.Errorf("%q comes back as %q: %v", out.String(), back, err)
	}
}

// A line that is too long is cut, and the next one begins anew.
func TestWriter_MostLine(t *testing.T) {
	var out strings.Builder
	w := &words.Writer{W: &out, MostLine: 10}
	for range 2 {
		if _, err := w.Write([]byte("0123456789\n0123456\x1babc\nab\n" + strings.Repeat("x", 1000))); err != nil {
			t.Fatal(err)
		}
	}
	long := "\nab\nxxxxxxxxxx…"
	if want := "0123456789\n0123456…" + long + "\n0123456…" + long; w.Flush() != nil || out.String() != want {
		t.Errorf("%q, want %q", out.String(), want)
	}
}

// A report's colours pass where they are wanted, in pieces too, and nothing like them.
func TestWriter_Colours(t *testing.T) {
	const text = "\x1b[32mpass\x1b[0m \x1b[1;31mfail\x1b[0m"
	for _, c := range []struct {
		colours  bool
		in, want string
	}{
		{true, text, text},
		{true, "\x1b[8mhidden\x1b[2J\x1b]0;t\a\x1b", `\x1b[8mhidden\x1b[2J\x1b]0;t\a\x1b`},
		{false, "\x1b[32mpass", `\x1b[32mpass`},
	} {
		var out strings.Builder
		w := &words.Writer{W: &out, Colours: c.colours}
		for i := range len(c.in) {
			if _, err := w.Write([]byte{c.in[i]}); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Flush(); err != nil || out.String() != c.want {
			t.Errorf("%q gives %q: %v", c.in, out.String(), err)
		}
	}
}

// BenchmarkWriter passes on a row of CSV, most of it plain.
func BenchmarkWriter(b *testing.B) {
	row := []byte(strings.Repeat("2031-04-05-001,INV-0042,3,arm-away,OUT3,high_level,13.232047,V,0.000086,12,14.5,pass,± ok,,Zoë\r\n", 600))
	w := &words.Writer{W: io.Discard}
	b.SetBytes(int64(len(row)))
	for b.Loop() {
		if _, err := w.Write(row); err != nil {
			b.Fatal(err)
		}
	}
}
