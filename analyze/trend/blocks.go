package trend

import "slices"

const (
	// maxBlocks is how many blocks are kept before three become one.
	maxBlocks = 384
	join      = 3
	// medianLevels is how many times joining takes the median; after that, the mean.
	// Nine values give a block that bears four wild ones, and means lose less of the
	// information than medians of medians do.
	medianLevels = 2
	maxLevels    = 32 // 3^32 values: more than any run
)

// block is a row of successive values as one.
type block struct {
	first, last int     // cycles
	centre      float64 // mean cycle of its values
	value       float64
}

// blocks cuts a stream into at most maxBlocks blocks of 3^depth values each.
type blocks struct {
	done    []block
	depth   int
	pending [maxLevels][join - 1]block // at level i, blocks of 3^i values
	waiting [maxLevels]uint8           // how many of them
}

// add reports whether a block has been completed.
func (b *blocks) add(cycle int, x float64) bool {
	c := block{first: cycle, last: cycle, centre: float64(cycle), value: x}
	for level := range b.depth {
		n := b.waiting[level]
		if n < join-1 {
			b.pending[level][n] = c
			b.waiting[level]++
			return false
		}
		c = joined(level, b.pending[level][0], b.pending[level][1], c)
		b.waiting[level] = 0
	}
	if b.done == nil {
		b.done = make([]block, 0, maxBlocks)
	}
	b.done = append(b.done, c)
	if len(b.done) == maxBlocks {
		b.thin()
	}
	return true
}

// thin joins every three blocks.
func (b *blocks) thin() {
	for i := 0; i+join <= len(b.done); i += join {
		b.done[i/join] = joined(b.depth, b.done[i], b.done[i+1], b.done[i+2])
	}
	b.done = b.done[:len(b.done)/join]
	b.depth++
}

// size is the number of values in a block.
func (b *blocks) size() int {
	n := 1
	for range b.depth {
		n *= join
	}
	return n
}

// raw returns the values themselves while every block is one value, else nil.
func (b *blocks) raw() []float64 {
	if b.depth > 0 {
		return nil
	}
	x := make([]float64, len(b.done))
	for i, c := range b.done {
		x[i] = c.value
	}
	slices.Sort(x)
	return x
}

func joined(level int, a, b, c block) block {
	out := block{first: a.first, last: c.last, centre: a.centre/3 + b.centre/3 + c.centre/3}
	if level < medianLevels {
		out.value = max(min(a.value, b.value), min(max(a.value, b.value), c.value))
	} else {
		out.value = a.value/3 + b.value/3 + c.value/3
	}
	return out
}

// Block is a row of successive values as one, in the quantity's unit, at the mean of
// their cycles.
type Block struct{ Cycle, Value float64 }

// Blocks returns the blocks by which drift and step are judged, in order: at most 384,
// however long the run.
func (s *Series) Blocks() []Block {
	out := make([]Block, len(s.blocks.done))
	for i, b := range s.blocks.done {
		out[i] = Block{b.centre, b.value}
	}
	return out
}
