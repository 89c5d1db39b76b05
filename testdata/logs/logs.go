// Package logs unpacks the logs that earlier programs wrote, for tests.
package logs

import (
	"compress/gzip"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Unpack writes a packed log to a file of its own, which ends with the test, and returns its
// path.
func Unpack(t testing.TB, packed string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), strings.TrimSuffix(filepath.Base(packed), ".gz"))
	if err := os.WriteFile(path, Read(t, packed), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// Read returns what a packed file holds.
func Read(t testing.TB, packed string) []byte {
	t.Helper()
	f, err := os.Open(packed)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	b, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
