package exercise

import (
	"cmp"
	"math/bits"
	"slices"
	"time"
)

// step is an action on the shortest way, with the answers that it excludes.
type step struct {
	action Action
	cost   time.Duration
	out    set
	// shows says what it shows that excludes the first of some of them.
	shows func(set) string
}

// told are the actions of a way, each with what it shows against an answer that none before it
// excludes.
func told(way []step) (actions []Action, shows []string) {
	before := set(0)
	for _, s := range way {
		actions, shows = append(actions, s.action), append(shows, s.shows(s.out&^before))
		before |= s.out
	}
	return actions, shows
}

// mostTogether is up to how many actions are tried in all combinations; longer ways are
// found one action after the other.
const mostTogether = 3

// shortest returns the cheapest actions that together exclude all of the hypotheses wanted,
// or as many of them as can be.
func shortest(steps []step, wanted set) []step {
	reach := set(0)
	for _, s := range steps {
		reach |= s.out
	}
	wanted &= reach
	if wanted == 0 {
		return nil
	}
	steps = slices.Clone(steps)
	slices.SortStableFunc(steps, func(a, b step) int { return cmp.Compare(a.cost, b.cost) })
	steps = withoutWorse(steps, wanted)
	best := greedy(steps, wanted)
	for n := 1; n <= mostTogether; n++ {
		best = cheapest(steps, wanted, nil, n, best)
	}
	return best
}

// withoutWorse leaves out what excludes nothing more than a cheaper action does.
func withoutWorse(steps []step, wanted set) (kept []step) {
	for _, s := range steps {
		s.out &= wanted
		if s.out != 0 && !slices.ContainsFunc(kept, func(k step) bool { return s.out&^k.out == 0 }) {
			kept = append(kept, s)
		}
	}
	return kept
}

func total(steps []step) (d time.Duration) {
	for _, s := range steps {
		d += s.cost
	}
	return d
}

// cheapest tries each n more actions after those taken.
func cheapest(steps []step, wanted set, taken []step, n int, best []step) []step {
	if wanted == 0 {
		if best == nil || total(taken) < total(best) {
			return slices.Clone(taken)
		}
		return best
	}
	if n == 0 {
		return best
	}
	for i, s := range steps {
		if s.out&wanted == 0 || best != nil && total(taken)+s.cost >= total(best) {
			continue
		}
		best = cheapest(steps[i+1:], wanted&^s.out, append(taken, s), n-1, best)
	}
	return best
}

// greedy takes what excludes most for its time, one after the other.
func greedy(steps []step, wanted set) (taken []step) {
	for wanted != 0 {
		at, most := -1, 0.0
		for i, s := range steps {
			if r := float64(bits.OnesCount64(uint64(s.out&wanted))) / s.cost.Seconds(); r > most {
				at, most = i, r
			}
		}
		if at < 0 {
			return nil
		}
		taken = append(taken, steps[at])
		wanted &^= steps[at].out
	}
	return taken
}
