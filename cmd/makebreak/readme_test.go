package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"makebreak/analyze/metrics"
)

// TestReadme_HoldsWhatItQuotes compares what README quotes with its sources, so that
// neither can change alone.
func TestReadme_HoldsWhatItQuotes(t *testing.T) {
	read := func(parts ...string) string {
		b, err := os.ReadFile(filepath.Join(append([]string{"..", ".."}, parts...)...))
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	readme := read("README.md")
	for what, text := range map[string]string{
		"the rig file":      read("testdata", "rigs", "full.yaml"),
		"the sequence file": read("sequences", "builtin", "armed-high.yaml"),
		"the metrics":       metrics.Table(),
		"the two commands":  "    go run ./cmd/makebreak run armed-high     # the main job, on the simulated bench\n    go test ./...",
	} {
		if !strings.Contains(readme, strings.TrimSpace(text)) {
			t.Errorf("README.md does not hold %s as it is now", what)
		}
	}
}
