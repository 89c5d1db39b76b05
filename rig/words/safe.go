package words

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Printable reports whether a character may be printed as it is. Not printable are control
// characters (C0, DEL, C1), line and paragraph separators, whatever changes a line's
// direction, and what shows nothing at all (Unicode's default ignorable code points), nor is
// what no version of Unicode known here assigns. A space of any width is printable.
func Printable(r rune) bool {
	if r < utf8.RuneSelf {
		return r >= ' ' && r < 0x7f
	}
	return unicode.IsGraphic(r) && !unicode.In(r, unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector)
}

// Safe returns text from outside (a name, a path, an argument, the text of a file, of a log
// or of the kernel) so that it can be printed in a line: what is not printable is escaped as
// in \n, \x9b or \u202e, bytes that are not UTF-8 as well. Text of printable characters stays
// as it is.
func Safe(s string) string { return safe(s, false) }

// SafeLines is Safe for text of several lines: line feeds and tabs stay.
func SafeLines(s string) string { return safe(s, true) }

func safe(s string, lines bool) string {
	if isSafe(s, lines) {
		return s
	}
	var b strings.Builder
	for len(s) > 0 {
		r, n := utf8.DecodeRuneInString(s)
		if lines && (r == '\n' || r == '\t') {
			b.WriteRune(r)
		} else {
			b.WriteString(escaped(r, s[:n]))
		}
		s = s[n:]
	}
	return b.String()
}

// isSafe reports whether a text may be printed as it is.
func isSafe(s string, lines bool) bool {
	for i := 0; i < len(s); {
		c := s[i]
		if c >= ' ' && c < 0x7f || lines && (c == '\n' || c == '\t') {
			i++
			continue
		}
		r, n := utf8.DecodeRuneInString(s[i:])
		if r == utf8.RuneError && n == 1 || !Printable(r) {
			return false
		}
		i += n
	}
	return true
}

// escaped is one character as it is printed; raw are its bytes, one where they are not UTF-8.
func escaped(r rune, raw string) string {
	switch {
	case r == utf8.RuneError && len(raw) == 1:
		return fmt.Sprintf(`\x%02x`, raw[0])
	case Printable(r):
		return raw
	case r < utf8.RuneSelf:
		quoted := strconv.QuoteRuneToASCII(r)
		return quoted[1 : len(quoted)-1]
	case r <= 0xffff:
		return fmt.Sprintf(`\u%04x`, r)
	}
	return fmt.Sprintf(`\U%08x`, r)
}

// Short is Safe for a place that has room for so many characters: what is longer is cut and
// ends in ….
func Short(s string, most int) string {
	if len(s) > 16*most { // a character has up to 4 bytes; no more need be looked at
		s = s[:16*most]
	}
	s = Safe(s)
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most-1]) + "…"
}

// ShortLines is SafeLines with so many characters a line at most.
func ShortLines(s string, most int) string {
	lines := strings.Split(SafeLines(s), "\n")
	for i, line := range lines {
		if utf8.RuneCountInString(line) > most {
			lines[i] = string([]rune(line)[:most-1]) + "…"
		}
	}
	return strings.Join(lines, "\n")
}

// MostName is how many characters a name from outside may have.
const MostName = 80

// NameFault says what is wrong with a name from outside: a unit's serial, a person, a
// sequence, a rig, a meter, a column of a capture. It is empty where nothing is. A name is
// printed in tables, cells and labels for as long as the log lasts. So it is one line of
// printable characters, not longer than MostName, without blanks around it, and no formula.
func NameFault(s string) string { return TextFault(s, MostName) }

// TextFault is NameFault for a text of one line that may have so many characters.
func TextFault(s string, most int) string {
	if !utf8.ValidString(s) {
		return "it is not valid UTF-8"
	}
	if i := strings.IndexFunc(s, func(r rune) bool { return !Printable(r) }); i >= 0 {
		r, _ := utf8.DecodeRuneInString(s[i:])
		if unicode.IsControl(r) {
			return fmt.Sprintf("it holds the control character %U", r)
		}
		return fmt.Sprintf("it holds the invisible character %U", r)
	}
	switch trimmed := strings.TrimSpace(s); {
	case trimmed == "":
		return "it is blank"
	case trimmed != s:
		return "it must not begin or end with a blank"
	}
	if n := utf8.RuneCountInString(s); n > most {
		return fmt.Sprintf("it has %d characters; must be at most %d", n, most)
	}
	if Formula(s) {
		first := strings.TrimLeftFunc(s, passedOver)
		_, n := utf8.DecodeRuneInString(first)
		return fmt.Sprintf("it starts with %q, which a spreadsheet takes for a formula; start it with a letter or a digit", first[:n])
	}
	return ""
}

// CheckName is NameFault as an error that shows the name. An empty name passes.
func CheckName(s string) error {
	if s == "" {
		return nil
	}
	if fault := NameFault(s); fault != "" {
		return fmt.Errorf("\"%s\" is not a usable name: %s", Short(s, MostName), fault)
	}
	return nil
}

// formulaStarts are what a spreadsheet takes for the beginning of a formula when it opens a
// CSV file, quotes or not; the wide and small forms too, which some take for the plain ones.
const formulaStarts = "=+-@" + "＝＋－＠" + "﹦﹢﹣﹫" + "−"

// passedOver reports whether a spreadsheet may drop a character at the beginning of a cell.
func passedOver(r rune) bool {
	return unicode.IsSpace(r) || r == '"' || r == '“' || r == '”' || r == '„'
}

// Formula reports whether a spreadsheet may take a cell of the text for a formula.
func Formula(s string) bool {
	if s == "" || s[0] >= '0' && s[0] <= '9' || s[0] >= 'A' && s[0] <= 'Z' || s[0] >= 'a' && s[0] <= 'z' {
		return false // nearly all are so
	}
	s = strings.TrimLeftFunc(s, passedOver)
	r, _ := utf8.DecodeRuneInString(s)
	return s != "" && strings.ContainsRune(formulaStarts, r)
}

// Cell returns text as it stands in a cell of CSV: safe to print, and no formula. An
// apostrophe stands before what a spreadsheet would take for one, as people put it there
// themselves; so before what follows a semicolon, by which some spreadsheets part cells.
// A number is no text: it is written as it is.
func Cell(s string) string {
	s = Safe(s)
	if !strings.Contains(s, ";") && !Formula(s) {
		return s
	}
	parts := strings.SplitAfter(s, ";")
	for i, part := range parts {
		if Formula(part) {
			parts[i] = "'" + part
		}
	}
	return strings.Join(parts, "")
}
