//go:build linux

// Package kernelbench works the simulated hardware of the kernel bench's guest
// from tests: the kernel's GPIO simulator and the bus of converters. It is for
// tests only.
//
// Outside the guest every test that needs it is skipped, and the skip says how
// to run it.
package kernelbench

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"

	"golang.org/x/sys/unix"
)

const (
	configDir = "/sys/kernel/config/gpio-sim"
	deviceDir = "/sys/devices/platform"
)

// Need skips the test unless it runs in the guest.
func Need(t testing.TB) {
	t.Helper()
	if os.Getenv("MAKEBREAK_KERNEL_BENCH") != "1" {
		t.Skip("needs the kernel bench: run .ci/kernel-bench/run")
	}
}

// Chip is a simulated GPIO chip. Its lines are inputs whose level is their
// pull, until a program drives them. As on a Raspberry Pi's own kernel a line
// keeps its level when that program has gone, until another asks for it.
type Chip struct {
	t     testing.TB
	Name  string // "gpiochip0"
	Path  string // "/dev/gpiochip0"
	lines []string
	dir   string // in configfs
	sys   string // the chip's folder in sysfs
	pulls []int  // descriptors of the lines' pull files
	gone  bool
}

var chipCount atomic.Int32

// NewChip plugs in a chip with a driver's label and one line for each name; an
// empty name leaves the line without one. It is unplugged when the test ends.
func NewChip(t testing.TB, label string, names ...string) *Chip {
	t.Helper()
	Need(t)
	c := &Chip{t: t, lines: names}
	c.dir = filepath.Join(configDir, fmt.Sprintf("kb%d-%d", os.Getpid(), chipCount.Add(1)))
	bank := filepath.Join(c.dir, "bank0")
	c.mkdir(c.dir)
	c.mkdir(bank)
	c.write(filepath.Join(bank, "num_lines"), strconv.Itoa(len(names)))
	c.write(filepath.Join(bank, "label"), label)
	for i, name := range names {
		if name != "" {
			c.mkdir(filepath.Join(bank, "line"+strconv.Itoa(i)))
			c.write(filepath.Join(bank, "line"+strconv.Itoa(i), "name"), name)
		}
	}
	c.write(filepath.Join(c.dir, "live"), "1")
	t.Cleanup(c.remove)
	c.Name = c.read(filepath.Join(bank, "chip_name"))
	c.Path = "/dev/" + c.Name
	c.sys = filepath.Join(deviceDir, c.read(filepath.Join(c.dir, "dev_name")), c.Name)
	for i := range names {
		fd, err := unix.Open(c.PullFile(i), unix.O_WRONLY|unix.O_CLOEXEC, 0)
		if err != nil {
			t.Fatal(err)
		}
		c.pulls = append(c.pulls, fd)
	}
	return c
}

// PullFile is the file whose text, "pull-up" or "pull-down", is the line's
// level.
func (c *Chip) PullFile(line int) string {
	return filepath.Join(c.sys, "sim_gpio"+strconv.Itoa(line), "pull")
}

var pullText = map[bool][]byte{false: []byte("pull-down"), true: []byte("pull-up")}

// Set makes the line electrically high or low. It is fast and allocates
// nothing.
func (c *Chip) Set(line int, high bool) {
	if _, err := unix.Pwrite(c.pulls[line], pullText[high], 0); err != nil {
		c.t.Errorf("line %d of %s: %v", line, c.Name, err)
	}
}

// High returns the line's electrical level, whoever drives it.
func (c *Chip) High(line int) bool {
	c.t.Helper()
	return c.read(c.ValueFile(line)) == "1"
}

// ValueFile is the file that shows the line's level, "0" or "1".
func (c *Chip) ValueFile(line int) string {
	return filepath.Join(c.sys, "sim_gpio"+strconv.Itoa(line), "value")
}

// Unplug takes the chip away as pulling its plug would.
func (c *Chip) Unplug() {
	c.t.Helper()
	c.closePulls()
	c.write(filepath.Join(c.dir, "live"), "0")
	c.gone = true
}

func (c *Chip) closePulls() {
	for _, fd := range c.pulls {
		unix.Close(fd)
	}
	c.pulls = nil
}

func (c *Chip) remove() {
	if !c.gone {
		c.Unplug()
	}
	bank := filepath.Join(c.dir, "bank0")
	for i, name := range c.lines {
		if name != "" {
			c.rmdir(filepath.Join(bank, "line"+strconv.Itoa(i)))
		}
	}
	c.rmdir(bank)
	c.rmdir(c.dir)
}

func (c *Chip) mkdir(path string) {
	c.t.Helper()
	if err := os.Mkdir(path, 0o755); err != nil {
		c.t.Fatal(err)
	}
}

func (c *Chip) rmdir(path string) {
	c.t.Helper()
	if err := unix.Rmdir(path); err != nil {
		c.t.Errorf("%s: %v", path, err)
	}
}

func (c *Chip) write(path, text string) {
	c.t.Helper()
	if err := os.WriteFile(path, []byte(text), 0); err != nil {
		c.t.Fatal(err)
	}
}

func (c *Chip) read(path string) string {
	c.t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		c.t.Fatal(err)
	}
	return strings.TrimSpace(string(b))
}
