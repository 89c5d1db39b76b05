package drawnbench

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"makebreak/analyze/reliability"
)

// Counted is what many benches showed.
type Counted struct {
	Singles []*Single
	Pairs   []*Pair
	Healthy [][]Claim
}

// Told are the benches with one fault that was noticed, or breaks a limit by the simulator's truth.
func (c *Counted) Told() []*Single {
	return slices.DeleteFunc(slices.Clone(c.Singles), (*Single).TooSmall)
}

// Seen are the benches with two faults of which neither hides the other.
func (c *Counted) Seen() []*Pair {
	return slices.DeleteFunc(slices.Clone(c.Pairs), func(p *Pair) bool { return p.Hidden })
}

func number[T any](all []T, is func(T) bool) int {
	n := 0
	for _, x := range all {
		if is(x) {
			n++
		}
	}
	return n
}

// First counts those whose true cause is first; Alike adds those of which what is first shows
// the same.
func (c *Counted) First() int { return number(c.Told(), func(s *Single) bool { return s.Rank() == 1 }) }

// Alike counts those whose true cause is first, or of which what is first shows the same.
func (c *Counted) Alike() int {
	return number(c.Told(), func(s *Single) bool { return s.Rank() == 1 || s.Alike })
}

// Three counts those whose true cause is among the first three.
func (c *Counted) Three() int {
	return number(c.Told(), func(s *Single) bool { return s.Rank() > 0 && s.Rank() <= 3 })
}

// ThreeAlike counts those as well of which what is first shows the same.
func (c *Counted) ThreeAlike() int {
	return number(c.Told(), func(s *Single) bool { return s.Rank() > 0 && s.Rank() <= 3 || s.Alike })
}

// Claimed counts the healthy benches of which a fault is claimed.
func (c *Counted) Claimed() int {
	return number(c.Healthy, func(all []Claim) bool { return len(all) > 0 })
}

// Summary is the table of the shares.
func (c *Counted) Summary() string {
	var t strings.Builder
	t.WriteString("| benches | what is counted | so many | share | 95 % confidence |\n| --- | --- | --- | --- | --- |\n")
	row := func(benches, what string, n, of int) {
		if of == 0 {
			return
		}
		p, err := reliability.ProportionOf(int64(n), int64(of), 0.95)
		if err != nil {
			panic(err) // n of "of" are counted here
		}
		fmt.Fprintf(&t, "| %s | %s | %d of %d | %.2f %% | %.2f to %.2f %% |\n", benches, what, n, of, 100*p.Value, 100*p.Lower, 100*p.Upper)
	}
	told := c.Told()
	row("one fault", "true cause first", c.First(), len(told))
	row("one fault", "true cause first, at its place", number(told, (*Single).Placed), len(told))
	row("one fault", "true cause first, or what is first shows the same on that bench", c.Alike(), len(told))
	row("one fault", "true cause among the first three", c.Three(), len(told))
	row("one fault", "true cause among the first three, or what is first shows the same", c.ThreeAlike(), len(told))
	row("healthy", "a fault is claimed", c.Claimed(), len(c.Healthy))
	seen := c.Seen()
	both := func(first int) int { return number(seen, func(p *Pair) bool { return p.Both(first) }) }
	row("two faults", "both causes among the first three", both(3), len(seen))
	row("two faults", "both causes among the first four", both(4), len(seen))
	row("two faults", "one of them first", number(seen, func(p *Pair) bool {
		return rankOf(p.Faults[0], p.Claims) == 1 || rankOf(p.Faults[1], p.Claims) == 1
	}), len(seen))
	small := slices.DeleteFunc(slices.Clone(c.Singles), func(s *Single) bool { return !s.TooSmall() })
	row("fault too small", "a fault is claimed", number(small, func(s *Single) bool { return len(s.Claims) > 0 }), len(small))
	row("fault too small", "another fault than the true one is first", number(small, func(s *Single) bool { return len(s.Claims) > 0 && s.Rank() != 1 }), len(small))
	return t.String()
}

// Confusion is the table of the causes ranked first, a row for each true cause.
func (c *Counted) Confusion(kinds []string) string {
	var t strings.Builder
	t.WriteString("| true cause | benches | first | at its place | among three | shows the same | ranked first instead | too small |\n| --- | --- | --- | --- | --- | --- | --- | --- |\n")
	for _, kind := range kinds {
		var n, first, placed, three, alike, small int
		instead := map[string]int{}
		for _, s := range c.Singles {
			switch {
			case s.Fault.Name != kind:
				continue
			case s.TooSmall():
				small++
				continue
			case s.Rank() == 1:
				first++
				if s.Placed() {
					placed++
				}
			default:
				name := "none"
				if len(s.Claims) > 0 {
					name = "`" + s.Claims[0].Cause + "`"
				}
				instead[name]++
			}
			n++
			if r := s.Rank(); r > 0 && r <= 3 {
				three++
			}
			if s.Alike && s.Rank() != 1 {
				alike++
			}
		}
		fmt.Fprintf(&t, "| `%s` | %d | %d | %d | %d | %d | %s | %d |\n", kind, n, first, placed, three, alike, listed(instead), small)
	}
	return t.String()
}

// listed lists how often what was ranked first, the most frequent first.
func listed(n map[string]int) string {
	var names []string
	for name := range n {
		names = append(names, name)
	}
	slices.SortFunc(names, func(a, b string) int { return cmp.Or(cmp.Compare(n[b], n[a]), cmp.Compare(a, b)) })
	for i, name := range names {
		names[i] = fmt.Sprintf("%s %d", name, n[name])
	}
	return strings.Join(names, ", ")
}
