package sequences

import (
	"os"
	"path/filepath"
	"testing"

	"makebreak/testdata/unknownkey"
)

// An unknown key is refused wherever it is put, in every built-in sequence and in the sample
// that has all that a sequence can have.
func TestParse_unknownKeys(t *testing.T) {
	files, err := filepath.Glob("builtin/*.yaml")
	if err != nil || len(files) != len(order) {
		t.Fatalf("built in: %q, %v", files, err)
	}
	mappings := 0
	for _, file := range append(files, "../testdata/sequences/full.yaml") {
		t.Run(filepath.Base(file), func(t *testing.T) {
			src, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			mappings += unknownkey.Check(t, src, func(b []byte) error { _, err := Parse("f.yaml", b); return err })
		})
	}
	if mappings < 100 {
		t.Errorf("only %d mappings were tried", mappings)
	}
}
