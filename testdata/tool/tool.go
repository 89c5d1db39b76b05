// Package tool finds the outside tools that tests compare with. Where one is not there a test
// is left out, or fails where the environment demands all tools.
package tool

import (
	"os"
	"os/exec"
	"testing"
)

// Demanded reports whether the environment demands all tools.
func Demanded() bool { return os.Getenv("MAKEBREAK_REQUIRE_TOOLS") == "1" }

// Find returns a tool's path.
func Find(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	switch {
	case err == nil:
	case Demanded():
		t.Fatalf("%s is required here: %v", name, err)
	default:
		t.Skipf("NOT CHECKED: %s is not installed; MAKEBREAK_REQUIRE_TOOLS=1 makes this a failure", name)
	}
	return path
}
