package exercise

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// inventedClass is an invented class of two exercises.
func inventedClass() *Class {
	right := func(points int) *Marks {
		return &Marks{Points: points, Of: 10, Right: 1, Spent: 9 * time.Minute, Actions: 4, Shortest: 4 * time.Minute, Possible: 1}
	}
	entry := func(name, title, trainee string, grade int, m *Marks, done ...Action) Entry {
		e := Entry{Exercise: name, Title: title, Trainee: trainee, Grade: grade, Marks: m, Deeds: Deeds{Done: done, Spent: 9 * time.Minute}}
		return e
	}
	look, probe, try := Action{Kind: Look}, Action{Kind: Probe, A: "panel.OUT3", B: "panel.0V", Meter: "volts"}, Action{Kind: Try}
	const siren, lamp = "The siren that stays quiet", "The lamp that stays on"
	c := &Class{Entries: []Entry{
		entry("siren", siren, "Zoë Bauer", 1, &Marks{Of: 10, Wrong: []string{"dead-relay@K1"}, Spent: time.Minute, Actions: 2, Possible: 4, Shortest: 4 * time.Minute}, try),
		entry("siren", siren, "zoë  bauer", 1, right(10), try, look, probe),
		entry("siren", siren, "Ali Demir", 1, &Marks{Points: 5, Of: 10, Half: 1, Spent: 20 * time.Minute, Actions: 7, Possible: 3, Shortest: 4 * time.Minute}, try, try, look, probe, probe),
		entry("siren", siren, "", 1, nil, look),
		entry("lamp", lamp, "Ali Demir", 2, &Marks{Of: 10, Wrong: []string{"welded@K1", "nothing"}, Spent: 3 * time.Minute, Actions: 2, Possible: 9}, try, probe),
		entry("lamp", lamp, "<b>Bo</b>", 2, &Marks{Points: 6, Of: 10, Right: 1, Spent: 5 * time.Minute, Actions: 3, Possible: 2, Dangers: []string{cautionsUnread}}, try),
	}}
	c.Entries[5].Dangers = []string{cautionsUnread}
	c.add()
	return c
}

var tags = regexp.MustCompile(`<[^>]*>`)

// A class's page says of each trainee what the answer was, by a word and a mark of its own shape,
// and of each exercise where the class is stuck.
func TestClass_HTML(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	c := inventedClass()
	if err := c.HTML(&b); err != nil {
		t.Fatal(err)
	}
	if dir := os.Getenv("MAKEBREAK_PICTURES"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "class.html"), b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	page := b.String()
	board, stuck, found := strings.Cut(page, "Where the class is stuck")
	if !found {
		t.Fatalf("the page is\n%s", page)
	}
	rows := map[string]string{}
	for _, row := range strings.Split(board, "<tr>") {
		if name, rest, is := strings.Cut(row, "</th>"); is {
			rows[tags.ReplaceAllString(name, "")] = strings.Join(strings.Fields(tags.ReplaceAllString(rest, " ")), " ")
		}
	}
	for name, want := range map[string]string{
		"Zoë Bauer": "● right 10 of 10 begun 2 times 10 of 10", "Ali Demir": "◐ half right 5 of 10 ○ wrong 0 of 10 5 of 20", "(no name)": "– not answered",
		"&lt;b&gt;Bo&lt;/b&gt;": "● right 6 of 10 6 of 10",
	} {
		if rows[name] != want {
			t.Errorf("%s: %q, want %q", name, rows[name], want)
		}
	}
	text := strings.Join(strings.Fields(tags.ReplaceAllString(stuck, " ")), " ")
	for _, want := range []string{
		"Begun 4, answered 3: right 1, half right 1, wrong 1.", "Not answered yet: (no name).", "4 answers still fitted; taken for dead-relay@K1",
		"Right with luck, as other answers still fitted: 1.", "taken for welded@K1; taken for nothing", "The median way: 4 actions, 9 min of bench time (the shortest: 4 min)",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("there is no %q in\n%s", want, text)
		}
	}
	if strings.Contains(page, "<b>Bo") {
		t.Error("a name is obeyed")
	}
	b.Reset()
	if err := (&Class{}).HTML(&b); err != nil || !strings.Contains(b.String(), "No exercise has been begun.") {
		t.Errorf("of an empty class: %v, %s", err, b.String())
	}
}
