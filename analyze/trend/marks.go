package trend

// maxMarks is how many marks there are at most, less one.
const maxMarks = 400

// Mark is a place in the run where something happened.
type Mark struct {
	First, Last int // cycles within which all of it happened
	N           int // cycles in which it happened
}

// Marks are the cycles of a run in which something happened: each one as long as they are few,
// and then how many there are in each so many cycles.
type Marks struct {
	// Width is how many cycles a mark covers, a power of two.
	Width int
	List  []Mark // rising
}

// Add takes a cycle in which it happened. Cycles count from 1 and never go back; a cycle that
// comes again counts once.
func (m *Marks) Add(cycle int) {
	if m.Width == 0 {
		m.Width = 1
	}
	if n := len(m.List); n > 0 {
		last := &m.List[n-1]
		if last.Last == cycle {
			return
		}
		if last.place(m.Width) == (cycle-1)/m.Width {
			last.Last = cycle
			last.N++
			return
		}
	}
	m.List = append(m.List, Mark{cycle, cycle, 1})
	for len(m.List) > maxMarks {
		m.widen()
	}
}

// place says in which row of so many cycles the mark lies.
func (m Mark) place(width int) int { return (m.First - 1) / width }

// widen makes each mark cover twice as many cycles.
func (m *Marks) widen() {
	m.Width *= 2
	out := m.List[:1]
	for _, x := range m.List[1:] {
		if last := &out[len(out)-1]; last.place(m.Width) == x.place(m.Width) {
			last.Last = x.Last
			last.N += x.N
			continue
		}
		out = append(out, x)
	}
	m.List = out
}

// Sound reports whether marks that were read can be such.
func (m *Marks) Sound() bool {
	if m.Width < 0 || m.Width&(m.Width-1) != 0 || len(m.List) > maxMarks || m.Width == 0 && len(m.List) > 0 {
		return false
	}
	before := 0
	for _, x := range m.List {
		if x.First <= before || x.Last < x.First || x.N < 1 || x.N > x.Last-x.First+1 || x.place(m.Width) != (x.Last-1)/m.Width {
			return false
		}
		before = x.Last
	}
	return true
}
