package exercise

import (
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/rig/sim"
	"makebreak/sequences"
	"makebreak/sequences/journal"
)

// Each cause that can be planted has words to be chosen by.
func TestCauses_Words(t *testing.T) {
	seen := map[string]string{}
	for _, f := range sim.Faults() {
		w := causeWords[f.Name]
		if w == "" {
			t.Errorf("%s has no words", f.Name)
		}
		if other := seen[w]; other != "" {
			t.Errorf("%s and %s have the same words", f.Name, other)
		}
		seen[w] = f.Name
	}
}

// An answer is read as it is typed and in the list's words, or in some of them that no other
// answer has. What can mean several is asked for again.
func TestParseAnswer(t *testing.T) {
	d, err := Load(t.Context(), "quiet-siren")
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"welded@K1": "welded@K1", "Welded": "welded@K1", " make contact  welded, at K1": "welded@K1", "make contact welded": "welded@K1", "contact welded at k1": "welded@K1",
		"output address wrong": "wrong-address@OUT3", "nothing is wrong": "nothing", "nothing": "nothing", "supply too low": "weak-supply", "weak supply": "weak-supply", "welded K1": "welded@K1", "dead relay, K1": "dead-relay@K1",
	} {
		if a, err := d.ParseAnswer(text); err != nil || a.String() != want {
			t.Errorf("%q: %s, %v; want %s", text, a, err, want)
		}
	}
	for text, want := range map[string]string{
		"supply": "is not on the list", "": "is not on the list", "welded@K2": "did you mean welded@K1", "output is wrong": "is not on the list",
		"wrong at OUT3": "can mean several", "adress wrong of the output": "is not on the list",
	} {
		if a, err := d.ParseAnswer(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %s, %v; want an error that says %q", text, a, err, want)
		}
	}
}

// The same word, exercise and name give the same state, however they are typed; another name
// gives another one, unless the class is to have the same.
func TestDraw_Word(t *testing.T) {
	d := Builtin()[0]
	of := func(word, trainee string) Drawn {
		t.Helper()
		rng, err := d.source(word, trainee)
		if err != nil {
			t.Fatal(err)
		}
		x, err := d.draw(rng)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	a := of("Larch Bridge", "A. Fitter")
	if b := of(" larch  bridge", "a. fitter "); b.Seed != a.Seed || !sameAnswers(a.Truth, b.Truth) {
		t.Errorf("typed otherwise it is another state: %+v, %+v", a, b)
	}
	if b := of("larch bridge", "B. Fitter"); b.Seed == a.Seed {
		t.Error("two trainees have the same bench")
	}
	d.Draw = Same
	if a, b := of("larch bridge", "A. Fitter"), of("larch bridge", "B. Fitter"); a.Seed != b.Seed {
		t.Error("a class that is to have the same has not")
	}
	if a, b := of("larch bridge", ""), of("larch ridge", ""); a.Seed == b.Seed {
		t.Error("two words give the same bench")
	}
}

// What is sealed is opened by the word, and by the log that it was sealed in, and by nothing
// else.
func TestSeal(t *testing.T) {
	h := &hidden{Definition: "name: x", Seed: 7, Faults: []string{"welded@K1"}, Truth: []Answer{{"welded", "K1"}}}
	s, err := seal(h, "larch", "here")
	if err != nil {
		t.Fatal(err)
	}
	for name, open := range map[string]func() (*hidden, error){
		"here": func() (*hidden, error) { return s.open("here") },
		"word": func() (*hidden, error) { return s.openByWord(" Larch", "here") },
	} {
		if got, err := open(); err != nil || got.Seed != 7 || got.Faults[0] != "welded@K1" {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
	for name, open := range map[string]func() (*hidden, error){
		"elsewhere":         func() (*hidden, error) { return s.open("there") },
		"another word":      func() (*hidden, error) { return s.openByWord("birch", "here") },
		"word elsewhere":    func() (*hidden, error) { return s.openByWord("larch", "there") },
		"a bit of it moved": func() (*hidden, error) { s.State[20] ^= 1; return s.open("here") },
	} {
		if got, err := open(); err == nil {
			t.Errorf("%s opens it: %+v", name, got)
		}
	}
}

func newLog(t *testing.T) *journal.DB {
	t.Helper()
	db, err := journal.Open(filepath.Join(t.TempDir(), "log.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close() })
	return db
}

func noon() time.Time { return time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC) }

// The example of a file in the README is one.
func TestReadme_File(t *testing.T) {
	text, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, after, found := strings.Cut(string(text), "```yaml\n")
	file, _, ends := strings.Cut(after, "```")
	if !found || !ends {
		t.Fatal("the README has no file")
	}
	if _, err := Parse(t.Context(), "README.md", []byte(file)); err != nil {
		t.Error(err)
	}
	for k, cost := range costs {
		if cost > 0 && !strings.Contains(string(text), "| "+BenchTime(cost)+" |") {
			t.Errorf("the README does not say that %s costs %s", k, BenchTime(cost))
		}
	}
}

// What is wrong with a file is said with its place, and what is right.
func TestParse_Bad(t *testing.T) {
	const good = "name: own\ntitle: A relay\nstory: It stays.\nsequence: relay-only\ngrade: 1\nallow: [try, look]\nstates:\n  - {weight: 1}\n  - {weight: 1, faults: [{fault: long-bounce, value: 8 ms to 30 ms, place: K1}]}\nanswers: [dead-relay]\n"
	if _, err := Parse(t.Context(), "f.yaml", []byte(good)); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ old, now, want string }{
		{"grade: 1", "grade: 4", `f.yaml:5:8: grade: "4": must be a whole number from 1 to 3`},
		{"name: own", "name: Own One", `f.yaml:1:7: name: "Own One": must be small letters`},
		{"[try, look]", "[try, sleep]", `f.yaml:6:14: allow[1]: "sleep": use one of: try, look, probe, change`},
		{"sequence: relay-only", "sequence: relay-onli", `did you mean relay-only?`},
		{"fault: long-bounce", "fault: long-bouncy", `did you mean long-bounce?`},
		{"8 ms to 30 ms", "30 ms to 8 ms", `the range ends below its beginning`},
		{"8 ms to 30 ms", "8 to 30 ms", `"8" has no unit`},
		{"8 ms to 30 ms", "8 ms to 30 h", `108000 s must be more than 0 and at most 10 s`},
		{"place: K1", "place: K9", `"K9": did you mean K1?`},
		{"  - {weight: 1}\n", "", `there is no state in which nothing is wrong`},
		{"answers: [dead-relay]", "answers: [dead-relay, {fault: dead-relay, place: K1}]", `f.yaml:10:23: answers[1]: dead-relay is given twice: write it once, with all of its places`},
		{"answers: [dead-relay]", "answers: [dead-relay, {fault: long-bounce, value: 3 ms}]", `the states say which values long-bounce has: leave it out here`},
		{"{fault: long-bounce, value: 8 ms to 30 ms, place: K1}", "{fault: reference-inverted}", `f.yaml:9:26: states[1].faults[0]: this bench cannot have it: fault reference-inverted: `},
		{"{fault: long-bounce, value: 8 ms to 30 ms, place: K1}", "{fault: welded}, {fault: welded, place: K1}", `f.yaml:9:25: states[1].faults: welded is given twice in one state: write it once, or at two places`},
		{"fault: long-bounce", "fault: adc-lost", `"adc-lost": use one of`},
		{"answers: [dead-relay]", "answers: [dead-relay, supply-reset]", `f.yaml:10:23: answers[1]: this bench cannot have it: fault supply-reset: `},
		{"answers: [dead-relay]", "answers: [long-bounce]", `the list names no cause beyond those of the states`},
		{"answers: [dead-relay]", "answers: [dead-relay]\nmarks: 3", `there is no key of this name here`},
		{"answers: [dead-relay]", "answers: [dead-relay]\nmarking: {right: 2, half: 3}", `half an answer is worth more than a right one`},
		{"answers: [dead-relay]", "answers: [dead-relay]\nchanges: [board]", `changes are not allowed`},
	} {
		_, err := Parse(t.Context(), "f.yaml", []byte(strings.Replace(good, c.old, c.now, 1)))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", c.now, err, c.want)
		}
	}
}

// Whatever a file holds, it is read or refused, and what is read can be drawn from.
func FuzzParse(f *testing.F) {
	for _, name := range library.Names {
		src, err := files.ReadFile("builtin/" + name + ".yaml")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(src)
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		d, err := parse("f.yaml", src, true, func(name string) (*sequences.Sequence, error) {
			if !slices.Contains([]string{"relay-only", "armed-high", "armed-low"}, name) {
				return nil, errors.New("no such sequence") // no file of this machine is read
			}
			return sequences.Load(t.Context(), name)
		})
		if err != nil {
			return
		}
		for n := range 3 {
			if _, err := d.draw(rand.New(rand.NewPCG(1, uint64(n)))); err != nil {
				t.Fatalf("it cannot be drawn from: %v", err)
			}
		}
		if len(d.hypotheses()) > maxAnswers {
			t.Fatal("too many answers")
		}
	})
}

// An answer is worth what is right of it, and less for what is too much.
func TestMarks_Score(t *testing.T) {
	p := Points{Right: 10, Half: 5, Danger: 2}
	a := func(texts ...string) (all []Answer) {
		for _, s := range texts {
			all = append(all, AnswerOf(s))
		}
		return all
	}
	for _, c := range []struct {
		truth, given []Answer
		points       int
		result       string
	}{
		{a("welded@K1"), a("welded@K1"), 10, "right"},
		{a("welded@K1"), a("welded@K2"), 5, "half right"},
		{a("welded@K1"), a("dead-relay@K1"), 5, "half right"},
		{a("welded@K1"), a("weak-supply"), 0, "wrong"},
		{a("nothing"), a("nothing"), 10, "right"},
		{a("nothing"), a("welded@K1"), 0, "wrong"},
		{a("weak-supply"), a("nothing"), 0, "wrong"},
		{a("weak-supply", "welded@K1"), a("welded@K1", "weak-supply"), 10, "right"},
		{a("weak-supply", "welded@K1"), a("welded@K1"), 5, "half right"},
		{a("welded@K1"), a("welded@K1", "weak-supply"), 5, "half right"},
	} {
		m := &Marks{}
		if m.score(c.given, c.truth, p); m.Points != c.points || m.Result() != c.result {
			t.Errorf("%v for %v: %d points, %s; want %d, %s", c.given, c.truth, m.Points, m.Result(), c.points, c.result)
		}
	}
}

// The shortest way is the cheapest that excludes all, also where one action alone excludes most.
func TestShortest(t *testing.T) {
	of := func(name string, cost time.Duration, out set) step {
		return step{action: Action{Kind: Probe, A: name}, cost: cost, out: out}
	}
	steps := []step{of("a", 10, 0b0111), of("b", 4, 0b0011), of("c", 5, 0b1100), of("d", 3, 0b1000), of("e", 20, 0b1111)}
	for _, c := range []struct {
		wanted set
		want   string
		cost   time.Duration
	}{
		{0b1111, "bc", 9}, {0b0011, "b", 4}, {0b0111, "bc", 9}, {0b1000, "d", 3}, {0, "", 0}, {0b11111, "bc", 9},
	} {
		got, names := shortest(steps, c.wanted), ""
		for _, s := range got {
			names += s.action.A
		}
		letters := []byte(names)
		slices.Sort(letters)
		if string(letters) != c.want || total(got) != c.cost {
			t.Errorf("%b: %s for %d, want %s for %d", c.wanted, letters, total(got), c.want, c.cost)
		}
	}
}

// Where two trainees share a log, a name takes up that trainee's bench, and nobody else's.
func TestResume_TwoTrainees(t *testing.T) {
	db := newLog(t)
	begin := func(exercise, trainee string) string {
		t.Helper()
		d, err := Load(t.Context(), exercise)
		if err != nil {
			t.Fatal(err)
		}
		s, err := Start(db, Begin{Definition: d, Trainee: trainee, Word: "larch", Now: noon})
		if err != nil {
			t.Fatal(err)
		}
		return s.row.UUID
	}
	first, ofA, ofB := begin("dead-line", "A. Fitter"), begin("quiet-siren", "A. Fitter"), begin("quiet-siren", "B. Fitter")
	for _, c := range []struct{ name, trainee, want string }{
		{"", "", ofB}, {"quiet-siren", "", ofB}, {"", "A. Fitter", ofA}, {"quiet-siren", " a.  fitter", ofA},
		{"dead-line", "A. Fitter", first}, {"", "B. Fitter", ofB},
	} {
		s, err := Resume(db, c.name, c.trainee, noon)
		if err != nil || s.row.UUID != c.want {
			t.Errorf("%q by %q: %v", c.name, c.trainee, err)
		}
	}
	for _, c := range []struct{ name, trainee string }{{"dead-line", "B. Fitter"}, {"", "C. Fitter"}, {"two-grounds", ""}} {
		if _, err := Resume(db, c.name, c.trainee, noon); !errors.Is(err, journal.ErrNoExercise) {
			t.Errorf("%q by %q: %v, want that none was begun", c.name, c.trainee, err)
		}
	}
}
