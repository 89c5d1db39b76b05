// Package goldenfile compares what a test made with the file that it made before.
package goldenfile

import (
	"os"
	"path/filepath"
	"testing"
)

// Check compares a text with a file of testdata/golden, or writes it there where MAKEBREAK_UPDATE
// is set. The test's package is two folders below the project's own.
func Check(t testing.TB, name, got string) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "golden", name)
	if os.Getenv("MAKEBREAK_UPDATE") != "" {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs from what the test made (MAKEBREAK_UPDATE=1 writes it anew):\n%s", path, got)
	}
}
