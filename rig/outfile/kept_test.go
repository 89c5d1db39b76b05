package outfile_test

import (
	"os"
	"path/filepath"
	"testing"

	"makebreak/rig/outfile"
)

// A file is known by each of its names: its path, links to it, other names, and before it
// is there.
func TestReplaced(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	for _, name := range []string{"log.db", "other"} {
		if err := os.WriteFile(at(name), []byte(name), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for to, from := range map[string]string{"link": "log.db", "dangling": "log.db-wal", "folder": "."} {
		if err := os.Symlink(from, at(to)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Link(at("log.db"), at("second")); err != nil {
		t.Fatal(err)
	}
	kept := []string{at("log.db"), at("log.db-wal"), os.DevNull}
	for name, want := range map[string]string{
		at("log.db"): kept[0], at("link"): kept[0], at("second"): kept[0], at("folder/log.db"): kept[0], at("./x/../log.db"): kept[0],
		at("log.db-wal"): kept[1], at("dangling"): kept[1], at("folder/log.db-wal"): kept[1],
		at("other"): "", at("new"): "", at("log.db-reserve"): "", os.DevNull: "",
	} {
		if got := outfile.Replaced(name, kept); got != want {
			t.Errorf("%s: replaces %q, want %q", name, got, want)
		}
	}
}
