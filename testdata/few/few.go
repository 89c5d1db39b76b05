// Package few says where a test of figures takes few of its cases: with the race detector, which
// looks for goroutines that share what they must not and makes each case some ten times slower,
// and on emulated boards, where MAKEBREAK_FEW is set. Few cases show there what all would. Shares
// that must be reached need all cases, and are looked at by go test ./... without the detector.
package few

import (
	"os"
	"testing"
)

// Only reports whether few cases are to be taken.
func Only() bool { return Race || os.Getenv("MAKEBREAK_FEW") != "" }

// Of is all, or few where few cases are to be taken.
func Of(few, all int) int {
	if Only() {
		return few
	}
	return all
}

// Skip leaves out a test that looks at a share, or takes all its cases to show anything.
func Skip(t testing.TB) {
	t.Helper()
	if Only() {
		t.Skip("it needs all its cases")
	}
}
