package circuit

import "slices"

// joined keeps which names belong together. The first name that was added stands for all
// that are joined with it.
type joined struct {
	names []string
	index map[string]int
	up    []int // towards the name that stands for it
}

// newJoined has room for so many names.
func newJoined(names int) *joined {
	return &joined{names: make([]string, 0, names), index: make(map[string]int, names), up: make([]int, 0, names)}
}

func (j *joined) add(names ...string) {
	for _, n := range names {
		if _, ok := j.index[n]; !ok {
			j.index[n] = len(j.up)
			j.names, j.up = append(j.names, n), append(j.up, len(j.up))
		}
	}
}

func (j *joined) has(name string) bool { _, ok := j.index[name]; return ok }

func (j *joined) root(i int) int {
	for j.up[i] != i {
		i = j.up[i]
	}
	return i
}

// at returns the index of the name that stands for one that was added.
func (j *joined) at(name string) int { return j.root(j.index[name]) }

// of returns the name that stands for one that was added.
func (j *joined) of(name string) string { return j.names[j.at(name)] }

func (j *joined) join(a, b string) {
	x, y := j.at(a), j.at(b)
	j.up[max(x, y)] = min(x, y)
}

// clone returns a copy, in which further names of those that were added can be joined.
func (j *joined) clone() *joined { return &joined{j.names, j.index, slices.Clone(j.up)} }
