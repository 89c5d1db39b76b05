package exercise

import (
	"path/filepath"
	"testing"
	"time"

	"makebreak/rig/sim"
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
