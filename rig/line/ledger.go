package line

// Ledger finds the edges that happened on a set's lines and were never
// reported. It is fed every edge in the order in which Set.Edges gives them.
//
// There are two signs of a loss. A gap in the sequence number: the queue was
// full and the oldest edges were dropped. And a direction that cannot follow
// from the one before: a line that is already active cannot become active, so
// edges closer together than the kernel's interrupt thread can tell apart were
// merged into one event, with no gap in the number. An even number of edges
// merged away leaves no sign at all, so what a ledger counts is the least
// that was lost.
//
// The zero value is ready for use. It is not safe for several goroutines.
type Ledger struct {
	lines []entry
}

// Lost are edges that happened and were not reported, by how that showed.
type Lost struct {
	Dropped int // from the queue, before the edge
	Merged  int // with the edge, or where some were dropped with any of them
}

// Edges returns the sum of both.
func (l Lost) Edges() int { return l.Dropped + l.Merged }

// entry is what the ledger knows of one line.
type entry struct {
	seq    uint32 // of the last edge; 0: none yet
	known  bool   // active says the state
	active bool
	// told are edges that a level has shown to be lost already, and the next edge will show
	// again.
	told int
}

// Add takes one edge and returns how many edges of its line must have happened
// since the one before and were not reported; none is the usual answer.
//
// The kernel's number is 32 bits wide and goes round; a step of more than half
// that range is taken as a step back. A number that repeats or steps back says
// that the line was requested anew, and the count goes on from there without a
// loss.
//
// What Level has told of is not told again.
func (l *Ledger) Add(edge Edge) (lost Lost) {
	e := l.entry(edge.Line)
	step := edge.Seq - e.seq
	restarted := step == 0 || step > 1<<31
	if !restarted {
		lost.Dropped = int(step - 1)
	}
	// With lost edges in between, the direction must still fit their number:
	// it changes with each.
	if e.known && !restarted && edge.Active != (e.active != (step%2 == 1)) {
		lost.Merged = 1
	}
	for ; e.told > 0 && lost.Edges() > 0; e.told-- {
		if lost.Dropped > 0 {
			lost.Dropped--
		} else {
			lost.Merged--
		}
	}
	e.seq, e.known, e.active, e.told = edge.Seq, true, edge.Active, 0
	return lost
}

// Level takes the state in which a line was found while none of its edges waited to be read.
// It reports whether that shows that one was lost since the last edge, or since the last
// time that one showed so.
func (l *Ledger) Level(line int, active bool) (lost bool) {
	e := l.entry(line)
	if !e.known || active == (e.active != (e.told%2 == 1)) {
		return false
	}
	e.told++
	return true
}

// Begin sets a line's state before its first edge, so that a loss can be told from that one
// already. It does nothing once there has been an edge.
func (l *Ledger) Begin(line int, active bool) {
	if e := l.entry(line); e.seq == 0 {
		e.known, e.active = true, active
	}
}

func (l *Ledger) entry(line int) *entry {
	if line >= len(l.lines) {
		l.lines = append(l.lines, make([]entry, line+1-len(l.lines))...)
	}
	return &l.lines[line]
}
