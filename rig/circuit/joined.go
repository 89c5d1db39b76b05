package circuit

// joined keeps which names belong together. The first name that was added stands for all
// that are joined with it.
type joined struct {
	names []string
	index map[string]int
	up    []int // towards the name that stands for it
}

func newJoined() *joined { return &joined{index: map[string]int{}} }

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

// of returns the name that stands for one that was added.
func (j *joined) of(name string) string { return j.names[j.root(j.index[name])] }

func (j *joined) join(a, b string) {
	x, y := j.root(j.index[a]), j.root(j.index[b])
	j.up[max(x, y)] = min(x, y)
}
