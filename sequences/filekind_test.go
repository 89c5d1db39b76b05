package sequences_test

import (
	"os"
	"path/filepath"
	"testing"

	"makebreak/sequences"
)

// Every file that the project has is taken for what it is.
func TestFileKindOf(t *testing.T) {
	for pattern, want := range map[string]sequences.FileKind{
		"builtin/*.yaml":               sequences.SequenceFile,
		"../rig/wiring/rigfile/*.yaml": sequences.RigFile,
		"../testdata/rigs/full.yaml":   sequences.RigFile,
		"../testdata/captures/*.csv":   sequences.CaptureFile,
	} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: no file", pattern)
		}
		for _, f := range files {
			text, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			if got := sequences.FileKindOf(text); got != want {
				t.Errorf("%s is taken for %q, want %q", f, got, want)
			}
		}
	}
	for _, text := range []string{"", "name: x\n", "steps: []\nchips: {}\n", "time,V\n"} {
		if got := sequences.FileKindOf([]byte(text)); got != "" {
			t.Errorf("%q is taken for %q", text, got)
		}
	}
}
