package rigfile

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"makebreak/rig/yamlfile"
)

var update = flag.Bool("update", false, "rewrite the expected messages")

// Every bad rig file is refused with the messages that stand beside it.
func TestParse_badFiles(t *testing.T) {
	files, err := filepath.Glob("../../../testdata/rigs/bad/*.yaml")
	if err != nil || len(files) < 5 {
		t.Fatalf("bad files: %d, %v", len(files), err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			src, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			r, err := Parse(filepath.Base(file), src)
			if err == nil || r != nil {
				t.Fatal("the file is read without an error")
			}
			if first := new(yamlfile.Error); !errors.As(err, &first) {
				t.Errorf("the error is no *yamlfile.Error: %v", err)
			}
			golden := strings.TrimSuffix(file, ".yaml") + ".txt"
			if *update {
				if err := os.WriteFile(golden, []byte(err.Error()+"\n"), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, readErr := os.ReadFile(golden)
			if readErr != nil {
				t.Fatal(readErr)
			}
			if d := cmp.Diff(string(want), err.Error()+"\n"); d != "" {
				t.Error(d)
			}
		})
	}
}
