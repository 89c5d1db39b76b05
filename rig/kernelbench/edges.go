//go:build linux

package kernelbench

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
)

const edgeDir = "/sys/module/kb_gpio_sim/parameters/"

// Edges are the knobs by which edges get lost or late between the pins and the kernel.
// The lines' levels are right all the same.
type Edges struct{ t testing.TB }

// NewEdges has every edge arrive on time, now and when the test ends.
func NewEdges(t testing.TB) *Edges {
	t.Helper()
	Need(t)
	e := &Edges{t}
	e.reset()
	t.Cleanup(e.reset)
	return e
}

func (e *Edges) reset() {
	for _, name := range []string{"lines", "lose_every", "late_every", "late_us", "close_us"} {
		e.set(name, 0)
	}
}

// LoseEvery loses every n-th edge of the lines, by their numbers on whichever chip.
func (e *Edges) LoseEvery(n int, lines ...int) {
	e.t.Helper()
	e.choose(lines)
	e.set("lose_every", n)
}

// ServeLate has the interrupt of a whole chip served late at every n-th edge of the lines.
// Edges that come to one line meanwhile become one.
func (e *Edges) ServeLate(n int, late time.Duration, lines ...int) {
	e.t.Helper()
	e.choose(lines)
	e.set("late_us", int(late.Microseconds()))
	e.set("late_every", n)
}

// LoseClose loses the later one of two edges on different lines of a chip that are no
// further apart.
func (e *Edges) LoseClose(within time.Duration) {
	e.t.Helper()
	e.set("close_us", int(within.Microseconds()))
}

func (e *Edges) choose(lines []int) {
	mask := 0
	for _, l := range lines {
		mask |= 1 << l
	}
	e.set("lines", mask)
}

func (e *Edges) set(name string, value int) {
	e.t.Helper()
	if err := os.WriteFile(edgeDir+name, []byte(strconv.Itoa(value)), 0); err != nil {
		e.t.Fatalf("%s: %v", name, err)
	}
}

// EdgeCounts are what has become of edges since the guest started.
type EdgeCounts struct{ Lost, Merged, LostClose int }

// Less returns the counts since others were taken.
func (c EdgeCounts) Less(before EdgeCounts) EdgeCounts {
	return EdgeCounts{c.Lost - before.Lost, c.Merged - before.Merged, c.LostClose - before.LostClose}
}

// Counts returns the counts so far.
func (e *Edges) Counts() (c EdgeCounts) {
	e.t.Helper()
	for name, to := range map[string]*int{"lost": &c.Lost, "merged": &c.Merged, "lost_close": &c.LostClose} {
		b, err := os.ReadFile(edgeDir + name)
		if err == nil {
			*to, err = strconv.Atoi(strings.TrimSpace(string(b)))
		}
		if err != nil {
			e.t.Fatal(fmt.Errorf("%s: %w", name, err))
		}
	}
	return c
}
