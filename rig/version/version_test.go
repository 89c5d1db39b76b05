package version

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"
)

// A program that no commit stands for is told by its own sum, whether or not its file has
// the linker's.
func TestVersion(t *testing.T) {
	t.Parallel()
	form := regexp.MustCompile(`^(\S+ )?build [0-9A-Za-z_-]{12}$`)
	if got := Program(""); !form.MatchString(got) {
		t.Errorf("the test's program is %q", got)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	if sum := linkerSum(self); len(sum) != 20 {
		t.Errorf("the linker's sum is %q", sum)
	}
	text := filepath.Join(t.TempDir(), "text")
	if err := os.WriteFile(text, []byte("abc"), 0o600); err != nil {
		t.Fatal(err)
	}
	if sum := linkerSum(text); sum != "" {
		t.Errorf("a text has the linker's sum %q", sum)
	}
	// FIPS 180-2, appendix B.1: SHA-256 of "abc"; from memory.
	if sum, err := fileSum(text); err != nil || sum != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" {
		t.Errorf("%s, %v", sum, err)
	}
}
