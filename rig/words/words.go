// Package words makes the small parts of sentences that all messages share: lists,
// counts, and the name that was probably meant.
package words

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/agnivade/levenshtein"
)

// List joins names by commas: "a, b, c". No names give "none".
func List(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(safeNames(names), ", ")
}

// safeNames are names that may come from outside, as they can be printed.
func safeNames(names []string) []string { return Texts(names, Safe) }

// And joins names as "a, b and c". No names give "none".
func And(names []string) string { return joined(names, " and ") }

// Or joins names as "a, b or c". No names give "none".
func Or(names []string) string { return joined(names, " or ") }

func joined(names []string, conjunction string) string {
	if len(names) < 2 {
		return List(names)
	}
	last := len(names) - 1
	return List(names[:last]) + conjunction + Safe(names[last])
}

// First joins the first most names and counts the others: "a, b and 3 more".
func First(names []string, most int) string {
	if len(names) <= most {
		return List(names)
	}
	return fmt.Sprintf("%s and %d more", List(names[:most]), len(names)-most)
}

// Capital returns a text with its first letter as a capital.
func Capital(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if !unicode.IsLower(first) {
		return s
	}
	return string(unicode.ToUpper(first)) + s[size:]
}

// ThinSpace stands between the thousands of a number.
const ThinSpace = "\u2009"

// Grouped puts thin spaces between the thousands of a whole number without a sign.
func Grouped(digits string) string {
	for i := len(digits) - 3; i > 0; i -= 3 {
		digits = digits[:i] + ThinSpace + digits[i:]
	}
	return digits
}

// Texts returns the text of each value, for the functions that join.
func Texts[T any](values []T, text func(T) string) []string {
	out := make([]string, len(values))
	for i, v := range values {
		out[i] = text(v)
	}
	return out
}

// Count writes a number of things: "1 cycle", "7 cycles". The plural may be given where
// it is not the singular with an s, as in Count(2, "entry", "entries").
func Count[N int | int32 | int64 | uint | uint32 | uint64](n N, one string, many ...string) string {
	switch {
	case n == 1:
		return "1 " + one
	case len(many) > 0:
		return fmt.Sprintf("%d %s", n, many[0])
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// longest is how many bytes of a text are compared. The time that a comparison takes
// grows with the square of the length, and what was read may be anything.
const longest = 64

// Nearest returns those of the names that somebody who wrote name may have meant, the
// likeliest first; equals keep their order. Near is a name that up to half of the letters
// tell apart (Levenshtein's distance), or that holds the other. Capitals do not count.
func Nearest(name string, names []string) []string {
	type near struct {
		name     string
		distance int
	}
	name = strings.ToLower(name)
	var found []near
	for _, other := range names {
		low := strings.ToLower(other)
		d := distance(name, low)
		if d <= len([]rune(name))/2 || holds(name, low) || holds(low, name) {
			found = append(found, near{other, d})
		}
	}
	slices.SortStableFunc(found, func(a, b near) int { return a.distance - b.distance })
	return Texts(found, func(n near) string { return n.name })
}

func holds(outer, inner string) bool { return inner != "" && strings.Contains(outer, inner) }

func distance(a, b string) int {
	if len(a) > longest || len(b) > longest {
		return longest
	}
	return levenshtein.ComputeDistance(a, b)
}

// NearestFirst returns all names, the one that was probably meant first; the others keep
// their order.
func NearestFirst(name string, names []string) []string {
	out := slices.Clone(names)
	near := Nearest(name, names)
	if len(near) == 0 {
		return out
	}
	at := slices.Index(out, near[0])
	return slices.Insert(slices.Delete(out, at, at+1), 0, near[0])
}

// Guess returns the one name that was probably meant: nearer than any other. It is empty
// where no name is near or two are equally so.
func Guess(name string, names []string) string {
	near := Nearest(name, names)
	if len(near) == 0 {
		return ""
	}
	low := strings.ToLower(name)
	if len(near) > 1 && distance(low, strings.ToLower(near[0])) == distance(low, strings.ToLower(near[1])) {
		return ""
	}
	return near[0]
}

// UseOneOf says what to use in place of a name that is not known: "use one of: OUT1, OUT2",
// after "did you mean OUT1?" where one of them is nearer than any other.
func UseOneOf(name string, names []string) string {
	switch {
	case len(names) == 0:
		return "there is none to use"
	case len(names) == 1 && Guess(name, names) != "":
		return "did you mean " + Safe(names[0]) + "?"
	case len(names) == 1:
		return "use " + Safe(names[0])
	}
	all := "se one of: " + List(NearestFirst(name, names))
	if guess := Guess(name, names); guess != "" {
		return "did you mean " + Safe(guess) + "? U" + all
	}
	return "u" + all
}

// Complaint makes the sentence about a value that is refused:
//
//	chips.A.supply: "1 V": must be from 2 V to 5.5 V
//	events.a.pulse: "300 ms": longer than drive KEY may be on; must be at most 200 ms
//	drives.KEY: longest_on is missing: add it, for example longest_on: 5 s
//
// path is where the value is, read the value, why what is wrong with it, and remedy what to
// do. All but one may be empty.
func Complaint(path, read, why, remedy string) string {
	var b strings.Builder
	between := ""
	add := func(s string) {
		if s != "" {
			b.WriteString(between + Safe(s))
			between = ": "
		}
	}
	add(path)
	if read != "" {
		add(quoted(read))
	}
	add(why)
	if read != "" && why != "" {
		between = "; "
	}
	add(remedy)
	return b.String()
}

// quoted shows text that was read: on one line, at most 60 characters of it.
func quoted(s string) string {
	const most = 60
	if utf8.RuneCountInString(s) > most {
		s = string([]rune(s)[:most]) + "…"
	}
	return strconv.Quote(s)
}
