package fields

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"makebreak/rig/problem"
	"makebreak/rig/wiring"
	"makebreak/sequences/journal"
	_ "makebreak/testdata/fixedseed"
)

func TestParse(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]journal.Field{
		"job=1234":                      {Name: "job", Value: "1234"},
		" job number = 12 34 ":          {Name: "job number", Value: "12 34"},
		"formula=a=b":                   {Name: "formula", Value: "a=b"},
		"Kunde=Größe & Söhne":           {Name: "Kunde", Value: "Größe & Söhne"},
		"a=" + strings.Repeat("ä", 200): {Name: "a", Value: strings.Repeat("ä", 200)},
	} {
		if got, err := Parse(text, false); err != nil || got != want {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
	for text, want := range map[string]string{
		"":                              "write NAME=VALUE",
		"job":                           "write NAME=VALUE",
		"=1":                            "name of a field: it is blank",
		"job=":                          "value of the field job: it is blank",
		"job= \t":                       "value of the field job: it is blank",
		"a=" + strings.Repeat("ä", 201): "it has 201 characters; must be at most 200",
		strings.Repeat("n", 41) + "=1":  "it has 41 characters; must be at most 40",
		"@job=1":                        "a spreadsheet takes for a formula",
		"job==1":                        "a spreadsheet takes for a formula",
		"job=\x1b[2J":                   "control character U+001B",
		"job=a\nb":                      "control character U+000A",
		"j\u202eob=1":                   "invisible character U+202E",
		"job=\xff":                      "not valid UTF-8",
	} {
		_, err := Parse(text, false)
		if problem.KindOf(err) != problem.Usage || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
	if f, err := Parse("job=", true); err != nil || f.Value != "" {
		t.Errorf("taken away: %+v, %v", f, err)
	}
}

func TestParseAll(t *testing.T) {
	t.Parallel()
	for _, texts := range [][]string{{"job=1", "JOB=2"}, strings.Split(strings.Repeat("x", 21), "")} {
		for i := range texts {
			if len(texts) > 2 {
				texts[i] = strings.Repeat("x", i+1) + "=1"
			}
		}
		if _, err := ParseAll(texts, false); problem.KindOf(err) != problem.Usage {
			t.Errorf("%q: %v", texts, err)
		}
	}
}

// What is asked for can be given beforehand; what is required cannot be left out, and an answer
// that cannot be taken is asked for again.
func TestComplete(t *testing.T) {
	t.Parallel()
	wanted := []wiring.Field{{Name: "job", Required: true}, {Name: "customer"}, {Name: "remarks"}}
	given := []journal.Field{{Name: "place", Value: "bench 2"}, {Name: "Customer", Value: "C"}}
	var asked, noted []string
	answers := []string{"", "=1", "77", ""}
	got, err := Complete(given, wanted, func(question string) (string, error) {
		asked = append(asked, question)
		a := answers[0]
		answers = answers[1:]
		return a, nil
	}, func(text string) { noted = append(noted, text) })
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]journal.Field{{Name: "job", Value: "77"}, {Name: "customer", Value: "C"}, {Name: "place", Value: "bench 2"}}, got); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"job: ", "job: ", "job: ", "remarks (Enter: none): "}, asked); d != "" || len(noted) != 2 {
		t.Errorf("%s; noted %q", d, noted)
	}
	if _, err := Complete(given, wanted, nil, nil); problem.KindOf(err) != problem.Usage || !strings.Contains(err.Error(), "the field job is required") {
		t.Error(err)
	}
	if got, err := Complete(given, wanted[1:], nil, nil); err != nil || len(got) != 2 {
		t.Errorf("without a terminal: %v, %v", got, err)
	}
	gone := errors.New("gone")
	if _, err := Complete(nil, wanted, func(string) (string, error) { return "", gone }, nil); !errors.Is(err, gone) {
		t.Error(err)
	}
}

func TestWant(t *testing.T) {
	t.Parallel()
	var wanted []wiring.Field
	for _, f := range []wiring.Field{{Name: "job"}, {Name: "JOB", Required: true}, {Name: "job"}, {Name: "place"}} {
		wanted = Want(wanted, f)
	}
	if d := cmp.Diff([]wiring.Field{{Name: "job", Required: true}, {Name: "place"}}, wanted); d != "" {
		t.Error(d)
	}
}

// A run has what is wanted whichever way the names are written, and no other does.
func TestMatch(t *testing.T) {
	t.Parallel()
	has := []journal.Field{{Name: "job", Value: "1"}, {Name: "place", Value: "P"}}
	for _, c := range []struct {
		wanted string
		want   bool
	}{{"", true}, {"JOB=1", true}, {"job=1 place=P", true}, {"job=2", false}, {"place=p", false}, {"job=1 customer=C", false}} {
		wanted, err := ParseAll(strings.Fields(c.wanted), false)
		if err != nil {
			t.Fatal(err)
		}
		if Match(has, wanted) != c.want {
			t.Errorf("%q: not %v", c.wanted, c.want)
		}
	}
}

// Whatever is taken can be typed again as it was taken.
func TestParse_Again(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f, err := Parse(rapid.String().Draw(t, "name")+"="+rapid.String().Draw(t, "value"), false)
		if err != nil {
			return
		}
		if again, err := Parse(f.Name+"="+f.Value, false); err != nil || again != f {
			t.Fatalf("%+v became %+v, %v", f, again, err)
		}
	})
}
