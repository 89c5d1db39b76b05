package board

import (
	"io"
	"os"
	"os/exec"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// Each case runs in a process of its own, since it closes standard input.
func TestGuardInput(t *testing.T) {
	switch os.Getenv("BOARD_TEST_CASE") {
	case "":
	case "closed":
		closeInputWhileGuarded(t)
		return
	case "missing":
		guardWithoutInput(t)
		return
	}
	for _, name := range []string{"closed", "missing"} {
		t.Run(name, func(t *testing.T) {
			cmd := exec.Command(os.Args[0], "-test.run=^TestGuardInput$", "-test.v")
			cmd.Env = append(os.Environ(), "BOARD_TEST_CASE="+name)
			cmd.Stdin = strings.NewReader("typed at the bench")
			out, err := cmd.CombinedOutput()
			if err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
		})
	}
}

func closeInputWhileGuarded(t *testing.T) {
	restore, err := guardInput()
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.Close(0); err != nil {
		t.Fatal(err)
	}
	if err := restore(); err != nil {
		t.Fatal(err)
	}
	got, err := io.ReadAll(os.Stdin)
	if err != nil || string(got) != "typed at the bench" {
		t.Errorf("read %q, %v", got, err)
	}
}

func guardWithoutInput(t *testing.T) {
	if err := unix.Close(0); err != nil {
		t.Fatal(err)
	}
	restore, err := guardInput()
	if err != nil {
		t.Fatal(err)
	}
	if err := restore(); err != nil {
		t.Fatal(err)
	}
	if _, err := unix.FcntlInt(0, unix.F_GETFD, 0); err != nil {
		t.Errorf("nothing stands at descriptor 0: %v", err)
	}
}

func TestInitTwice(t *testing.T) {
	if err := Init(); err != nil {
		t.Fatal(err)
	}
	if err := Init(); err != nil {
		t.Fatal(err)
	}
}
