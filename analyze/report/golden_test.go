package report

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares with a file under the top-level testdata/golden.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "golden", name)
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v; go test -update writes it", err)
	}
	if !bytes.Equal(want, got) {
		t.Errorf("%s differs (-want +got):\n%s", path, cmp.Diff(string(want), string(got)))
	}
}

func TestGolden(t *testing.T) {
	t.Parallel()
	for name, write := range map[string]func(*bytes.Buffer) error{
		"report.csv":        func(b *bytes.Buffer) error { return CSV(b, invented()) },
		"report.json":       func(b *bytes.Buffer) error { return JSON(b, invented()) },
		"report.txt":        func(b *bytes.Buffer) error { return Text(b, invented(), TextOpts{Width: 100}) },
		"report-wide.txt":   func(b *bytes.Buffer) error { return Text(b, invented(), TextOpts{All: true}) },
		"report-all.txt":    func(b *bytes.Buffer) error { return Text(b, invented(), TextOpts{Width: 80, All: true}) },
		"report.html":       func(b *bytes.Buffer) error { return HTML(b, invented()) },
		"report-narrow.txt": func(b *bytes.Buffer) error { return Text(b, invented(), TextOpts{Width: 80}) },
		"report-colour.txt": func(b *bytes.Buffer) error {
			return Text(b, invented(), TextOpts{Width: 100, Colour: true})
		},
	} {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			if err := write(&b); err != nil {
				t.Fatal(err)
			}
			golden(t, name, b.Bytes())
		})
	}
}
