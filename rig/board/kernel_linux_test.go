package board

import (
	"io"
	"os"
	"os/exec"
	"strings"
	"testing"

	"periph.io/x/host/v3/gpioioctl"

	"makebreak/rig/kernelbench"
)

// With two device nodes for one chip, standard input survives the search, and
// the chip is found once.
func TestKernel_TwoNodes(t *testing.T) {
	if name := os.Getenv("BOARD_TEST_CHIP"); name != "" {
		searchAndRead(t, name)
		return
	}
	chip := kernelbench.NewChip(t, "two nodes", "A")
	const link = "/dev/gpiochip99"
	if err := os.Symlink(chip.Name, link); err != nil {
		t.Fatal(err)
	}
	defer os.Remove(link)
	cmd := exec.Command("/proc/self/exe", "-test.run=^TestKernel_TwoNodes$", "-test.v")
	cmd.Env = append(os.Environ(), "BOARD_TEST_CHIP="+chip.Name)
	cmd.Stdin = strings.NewReader("typed at the bench")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
}

func searchAndRead(t *testing.T, name string) {
	if err := Init(); err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, c := range gpioioctl.Chips {
		if c.Name() == name {
			found++
		}
	}
	if found != 1 {
		t.Errorf("%s found %d times", name, found)
	}
	got, err := io.ReadAll(os.Stdin)
	if err != nil || string(got) != "typed at the bench" {
		t.Errorf("standard input gave %q, %v", got, err)
	}
}
