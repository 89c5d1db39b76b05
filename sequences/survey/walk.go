package survey

// Walk returns events in an order in which each of them follows each, itself included. It
// begins and ends with the first one, so that walks can follow each other. No walk of that kind
// is shorter: each ordered pair is there once.
func Walk(events []string) []string {
	n := len(events)
	if n == 0 {
		return nil
	}
	// Hierholzer's way through a graph in which each event leads to each: go on while there is
	// a pair left, and put what is left over in between on the way back.
	next := make([]int, n)
	stack, back := []int{0}, []int{}
	for len(stack) > 0 {
		at := stack[len(stack)-1]
		if next[at] == n {
			back = append(back, at)
			stack = stack[:len(stack)-1]
			continue
		}
		to := (at + 1 + next[at]) % n // the next one in the rig's order first, itself last
		next[at]++
		stack = append(stack, to)
	}
	walk := make([]string, len(back))
	for i, at := range back {
		walk[len(back)-1-i] = events[at]
	}
	return walk
}
