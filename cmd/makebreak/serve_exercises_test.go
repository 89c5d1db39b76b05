package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"makebreak/rig/problem"
	"makebreak/sequences/exercise"
)

// The page offers the built-in exercises and a trainer's own on the simulated bench, and none
// beside a real rig.
func TestServedExercises(t *testing.T) {
	t.Parallel()
	own := filepath.Join(t.TempDir(), "own.yaml")
	text := "name: own\ntitle: The relay\nstory: A relay stays in.\ngrade: 1\nsequence: armed-high\nallow: [try, look]\n" +
		"states:\n  - {weight: 1}\n  - {weight: 1, faults: [{fault: welded, place: K1}]}\nanswers: [dead-relay]\n"
	if err := os.WriteFile(own, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	builtin := len(exercise.Builtin())
	for _, c := range []struct {
		rig   string
		files []string
		want  int // exercises; -1: none are served
		fault string
	}{
		{"", nil, builtin, ""},
		{"relay", nil, builtin, ""},
		{"", []string{own}, builtin + 1, ""},
		{"", []string{own, own}, 0, "there is an exercise \"own\" already"},
		{"", []string{filepath.Join(t.TempDir(), "none.yaml")}, 0, "none.yaml"},
		{filepath.Join(root, starter), []string{own}, -1, ""},
		{filepath.Join(t.TempDir(), "none.yaml"), nil, 0, "none.yaml"},
	} {
		a := &app{ctx: t.Context(), rig: c.rig}
		got, err := a.servedExercises(&serveOpts{exercises: c.files})
		switch {
		case c.fault != "":
			if err == nil || !strings.Contains(err.Error(), c.fault) || problem.KindOf(err) == problem.Unknown {
				t.Errorf("%q %q: %v, want %q", c.rig, c.files, err, c.fault)
			}
		case err != nil:
			t.Errorf("%q %q: %v", c.rig, c.files, err)
		case (got == nil) != (c.want < 0) || got != nil && len(got.Definitions) != c.want:
			t.Errorf("%q %q: %+v, want %d", c.rig, c.files, got, c.want)
		}
	}
}
