package words_test

import (
	"slices"
	"strings"
	"testing"

	"makebreak/rig/words"
)

func TestJoined(t *testing.T) {
	for _, tc := range []struct {
		names              []string
		list, and, or, two string
	}{
		{nil, "none", "none", "none", "none"},
		{[]string{"a"}, "a", "a", "a", "a"},
		{[]string{"a", "b"}, "a, b", "a and b", "a or b", "a, b"},
		{[]string{"a", "b", "c"}, "a, b, c", "a, b and c", "a, b or c", "a, b and 1 more"},
		{[]string{"a", "b", "c", "d"}, "a, b, c, d", "a, b, c and d", "a, b, c or d", "a, b and 2 more"},
	} {
		if got := words.List(tc.names); got != tc.list {
			t.Errorf("List(%q) = %q, want %q", tc.names, got, tc.list)
		}
		if got := words.And(tc.names); got != tc.and {
			t.Errorf("And(%q) = %q, want %q", tc.names, got, tc.and)
		}
		if got := words.Or(tc.names); got != tc.or {
			t.Errorf("Or(%q) = %q, want %q", tc.names, got, tc.or)
		}
		if got := words.First(tc.names, 2); got != tc.two {
			t.Errorf("First(%q, 2) = %q, want %q", tc.names, got, tc.two)
		}
	}
}

func TestCapital(t *testing.T) {
	t.Parallel()
	for s, want := range map[string]string{"": "", "a run": "A run", "öffnen": "Öffnen", "7 cycles": "7 cycles", "\xffx": "\xffx", "ready": "Ready"} {
		if got := words.Capital(s); got != want {
			t.Errorf("%q: %q, want %q", s, got, want)
		}
	}
}

// The distances of the textbook's pairs, counted by hand, decide what is near.
func TestNearest_distances(t *testing.T) {
	for _, tc := range []struct {
		a, b string
		near bool
	}{
		{"kitten", "sitting", true},  // 3 of 6
		{"flaw", "lawn", true},       // 2 of 4
		{"fla", "lawn", false},       // 3 of 3
		{"Ω1", "Ω2", true},           // 1 of 2
		{"Ω1", "ω1", true},           // capitals
		{"saturday", "sunday", true}, // 3 of 8
	} {
		if got := len(words.Nearest(tc.a, []string{tc.b})) == 1; got != tc.near {
			t.Errorf("%s, %s: near is %v", tc.a, tc.b, got)
		}
	}
}

func TestCount(t *testing.T) {
	for want, got := range map[string]string{
		"0 cycles":  words.Count(0, "cycle"),
		"1 cycle":   words.Count(1, "cycle"),
		"7 cycles":  words.Count(uint64(7), "cycle"),
		"1 entry":   words.Count(1, "entry", "entries"),
		"2 entries": words.Count(int64(2), "entry", "entries"),
	} {
		if got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

func TestNearest(t *testing.T) {
	outputs := []string{"OUT1", "OUT2", "OUT3", "SIREN"}
	lines := []string{"GPIO17", "GPIO18", "ID_SDA", "ID_SCL", "GPIO7", "", "RGMII_MDIO", "GPIO17"}
	for _, tc := range []struct {
		name  string
		names []string
		near  []string
		guess string
	}{
		{"out3", outputs, []string{"OUT3", "OUT1", "OUT2"}, "OUT3"},
		{"OTU3", outputs, []string{"OUT3"}, "OUT3"},
		{"OUT9", outputs, []string{"OUT1", "OUT2", "OUT3"}, ""}, // all three are equally near
		{"SIRNE", outputs, []string{"SIREN"}, "SIREN"},
		{"siren relay", outputs, []string{"SIREN"}, "SIREN"},                   // holds it
		{"gpio17", lines, []string{"GPIO17", "GPIO17", "GPIO18", "GPIO7"}, ""}, // two of the name
		{"GPIO", lines, []string{"GPIO7", "GPIO17", "GPIO18", "GPIO17"}, "GPIO7"},
		{"ID_SD", lines, []string{"ID_SDA", "ID_SCL"}, "ID_SDA"},
		{"header pin 11", lines, nil, ""},
		{"2026-11-25.12", []string{"2026-11-25.2", "2026-11-25.1", "2026-10-02.1"}, []string{"2026-11-25.2", "2026-11-25.1", "2026-10-02.1"}, ""},
		{"gpio", []string{"GPIO17", "x"}, []string{"GPIO17"}, "GPIO17"},
		{"zzzzzz", outputs, nil, ""},
		{"", outputs, nil, ""},
		{"x", []string{""}, nil, ""},
		{"mä", []string{"mä", "ma"}, []string{"mä", "ma"}, "mä"}, // letters are compared, not bytes
		{"é", []string{"è"}, nil, ""},
		{"OUT1", nil, nil, ""},
		{strings.Repeat("a", 65), []string{strings.Repeat("a", 64) + "b"}, nil, ""}, // too long to be compared
		{strings.Repeat("a", 64), []string{strings.Repeat("a", 63) + "b"}, []string{strings.Repeat("a", 63) + "b"}, strings.Repeat("a", 63) + "b"},
	} {
		given := slices.Clone(tc.names)
		if got := words.Nearest(tc.name, tc.names); !slices.Equal(got, tc.near) {
			t.Errorf("Nearest(%q) = %q, want %q", tc.name, got, tc.near)
		}
		if got := words.Guess(tc.name, tc.names); got != tc.guess {
			t.Errorf("Guess(%q) = %q, want %q", tc.name, got, tc.guess)
		}
		all := words.NearestFirst(tc.name, tc.names)
		if len(tc.near) > 0 && all[0] != tc.near[0] || len(all) != len(tc.names) {
			t.Errorf("NearestFirst(%q) = %q, want %q first", tc.name, all, tc.near)
		}
		if !slices.Equal(given, tc.names) {
			t.Errorf("the names given were changed to %q", tc.names)
		}
	}
	if got := words.NearestFirst("sireen", outputs); !slices.Equal(got, []string{"SIREN", "OUT1", "OUT2", "OUT3"}) {
		t.Errorf("the others did not keep their order: %q", got)
	}
	for name, want := range map[string]string{
		"OTU3": "did you mean OUT3? Use one of: OUT3, OUT1, OUT2, SIREN",
		"OUT9": "use one of: OUT1, OUT2, OUT3, SIREN",
		"zzzz": "use one of: OUT1, OUT2, OUT3, SIREN",
	} {
		if got := words.UseOneOf(name, outputs); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
	if got := words.UseOneOf("STAEG", []string{"STAGE"}) + " " + words.UseOneOf("KEY", []string{"STAGE"}); got != "did you mean STAGE? use STAGE" {
		t.Error(got)
	}
	if got := words.UseOneOf("OUT1", nil); got != "there is none to use" {
		t.Error(got)
	}
}

func TestComplaint(t *testing.T) {
	for _, tc := range []struct{ path, read, why, remedy, want string }{
		{"chips.A.supply", "1 V", "", "must be from 2 V to 5.5 V", `chips.A.supply: "1 V": must be from 2 V to 5.5 V`},
		{"a", "b", "too long", "must be short", `a: "b": too long; must be short`},
		{"drives.KEY", "", "longest_on is missing", "add it", `drives.KEY: longest_on is missing: add it`},
		{"", "x\ny", "bad", "", `"x\ny": bad`},
		{"", "", "the file is too large", "must be at most 256 KiB", "the file is too large: must be at most 256 KiB"},
		{"p", "", "", "must be b", "p: must be b"},
		{"", strings.Repeat("é", 100), "", "", `"` + strings.Repeat("é", 60) + `…"`},
	} {
		if got := words.Complaint(tc.path, tc.read, tc.why, tc.remedy); got != tc.want {
			t.Errorf("got  %s\nwant %s", got, tc.want)
		}
	}
}
