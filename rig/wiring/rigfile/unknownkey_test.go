package rigfile

import (
	"os"
	"path/filepath"
	"testing"

	"makebreak/rig/wiring"
	"makebreak/testdata/unknownkey"
)

// An unknown key is refused wherever it is put, in every sample of a rig file and in the
// files that stand beside one.
func TestParse_unknownKeys(t *testing.T) {
	var files []string
	for _, pattern := range []string{"*.yaml", "../../../testdata/rigs/*.yaml"} {
		found, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, found...)
	}
	if len(files) < 5 {
		t.Fatalf("samples: %q", files)
	}
	mappings := 0
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			src, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			mappings += unknownkey.Check(t, src, func(b []byte) error { _, err := Parse("f.yaml", b); return err })
		})
	}
	mappings += unknownkey.Check(t, []byte(stageFile), func(b []byte) error { _, err := Parse("f.yaml", b); return err })
	if mappings < 100 {
		t.Errorf("only %d mappings were tried", mappings)
	}
	latency := FormatLatency(&wiring.Latency{Drive: "D", Line: "L", Pulses: 2, Date: "2026-03-31", Output: "O"})
	if n := unknownkey.Check(t, latency, func(b []byte) error { _, err := ParseLatency("f.yaml", b); return err }); n != 1 {
		t.Errorf("a latency file has %d mappings", n)
	}
}
