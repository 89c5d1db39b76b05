//go:build linux

// The init of an emulated Raspberry Pi 3 on Debian's own kernel for arm64: it runs one test
// binary and tells its status, at which the host ends QEMU.
package main

import (
	"fmt"
	"os"
	"os/exec"
	"time"

	"golang.org/x/sys/unix"
)

func main() {
	fmt.Printf("raspi3: exit %d\n", run())
	for {
		time.Sleep(time.Hour)
	}
}

func run() int {
	for _, m := range [][3]string{{"proc", "/proc", "proc"}, {"sysfs", "/sys", "sysfs"}, {"devtmpfs", "/dev", "devtmpfs"}, {"tmpfs", "/tmp", "tmpfs"}} {
		if err := os.MkdirAll(m[1], 0o755); err != nil {
			fmt.Println("raspi3:", err)
			return 1
		}
		if err := unix.Mount(m[0], m[1], m[2], 0, ""); err != nil && err != unix.EBUSY {
			fmt.Printf("raspi3: mounting %s: %v\n", m[1], err)
			return 1
		}
	}
	test := exec.Command("/kernelbench.test", "-test.v", "-test.run=^TestRaspi3_")
	test.Stdout, test.Stderr = os.Stdout, os.Stdout
	test.Env = []string{"HOME=/tmp", "TMPDIR=/tmp", "MAKEBREAK_RASPI3=1", "MAKEBREAK_BIN=/makebreak"}
	if err := test.Run(); err != nil {
		fmt.Println("raspi3:", err)
		return 1
	}
	return 0
}
