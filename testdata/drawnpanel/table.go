package drawnpanel

import (
	"fmt"
	"slices"
	"strings"
)

// Counted is what surveys told of a number of panels.
type Counted struct {
	Outputs []Told
	Panels  int
	Right   int      // panels of which all is right
	Relays  []string // those told behind another output
}

// Add counts a panel.
func (c *Counted) Add(outputs []Told, relays []string) {
	c.Panels++
	c.Outputs, c.Relays = append(c.Outputs, outputs...), append(c.Relays, relays...)
	if len(relays) == 0 && !slices.ContainsFunc(outputs, func(t Told) bool { return !t.Right() }) {
		c.Right++
	}
}

// Shares is the table of how many outputs of each behaviour were told right, in markdown.
func (c *Counted) Shares() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d of %d panels are told right in all: eight outputs each, their conditions, times and counts, and what their relays are behind.\n\n", c.Right, c.Panels)
	b.WriteString("| what the output does | outputs | right | kind wrong | condition, time or count wrong |\n| --- | ---: | ---: | ---: | ---: |\n")
	row := func(name string, of func(t *Told) bool) {
		n, right, kind, acts := 0, 0, 0, 0
		for i := range c.Outputs {
			switch t := &c.Outputs[i]; {
			case !of(t):
				continue
			case t.Right():
				right++
			case !t.Kind:
				kind++
			default:
				acts++
			}
			n++
		}
		fmt.Fprintf(&b, "| %s | %d | %d | %d | %d |\n", name, n, right, kind, acts)
	}
	for _, k := range Kinds() {
		row(string(k), func(t *Told) bool { return t.Output.Kind == k })
	}
	row("**all**", func(*Told) bool { return true })
	fmt.Fprintf(&b, "\nRelays told behind another output: %d.\n", len(c.Relays))
	return b.String()
}

// Confusion lists what outputs were told as that were not told right, most frequent first.
func (c *Counted) Confusion() string {
	type pair struct{ is, as string }
	count, seeds := map[pair]int{}, map[pair][]string{}
	var all []pair
	for i := range c.Outputs {
		t := &c.Outputs[i]
		if t.Right() {
			continue
		}
		p := pair{string(t.Output.Kind), t.As}
		if t.Kind {
			p.as += ", with another condition, time or count"
		}
		if count[p] == 0 {
			all = append(all, p)
		}
		count[p]++
		seeds[p] = append(seeds[p], fmt.Sprintf("%d %s", t.Panel.Seed, t.Output.Name))
	}
	if len(all) == 0 {
		return "None.\n"
	}
	slices.SortStableFunc(all, func(x, y pair) int { return count[y] - count[x] })
	var b strings.Builder
	b.WriteString("| what the output does | told as | outputs | for instance |\n| --- | --- | ---: | --- |\n")
	for _, p := range all {
		fmt.Fprintf(&b, "| %s | %s | %d | seed %s |\n", p.is, p.as, count[p], seeds[p][0])
	}
	return b.String()
}
