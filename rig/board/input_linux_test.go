package board

import (
	"errors"
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
	case "taken":
		takeInputWhileGuarded(t)
		return
	}
	for _, name := range []string{"closed", "missing", "taken"} {
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

// The one who took the number keeps it, and the loss is told.
func takeInputWhileGuarded(t *testing.T) {
	restore, err := guardInput()
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.Close(0); err != nil {
		t.Fatal(err)
	}
	if fd, err := unix.Open("/dev/zero", unix.O_RDONLY, 0); fd != 0 || err != nil {
		t.Fatalf("opened at %d, %v", fd, err)
	}
	if err := restore(); !errors.Is(err, errInputTaken) {
		t.Errorf("%v", err)
	}
	var b [1]byte
	if n, err := unix.Read(0, b[:]); n != 1 || err != nil || b[0] != 0 {
		t.Errorf("the other file gave %d bytes, %v", n, err)
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
