// Package ahead draws random figures before they are asked for, so that a second
// processor can do it. Whoever asks gets the same figures in the same order as if each were
// drawn when it is asked for.
package ahead

import "makebreak/rig/task"

// A block is as long as the first one, then twice that, and so on to the longest: who asks
// for few has few drawn. The longest lasts for some milliseconds of a simulated bench, in which
// the other processor is likely to have time once, and takes some 200 µs to draw.
const (
	firstBlock   = 64
	longestBlock = 32768
)

// Draws are figures drawn ahead. They are used from one goroutine.
type Draws[T any] struct {
	block []T
	left  int // of the block: the figures at its beginning, see fill
	draw  func() T
	next  chan []T // the block after this one, from the second block on
}

// New returns what a function draws, call after call. It must own whatever it draws from:
// it is called from other goroutines, though never from two at once.
func New[T any](draw func() T) *Draws[T] {
	d := &Draws[T]{draw: draw, next: make(chan []T, 1)}
	d.next <- nil // the first block is drawn when it is asked for
	return d
}

// Next returns the next figure.
func (d *Draws[T]) Next() T {
	if d.left == 0 {
		d.turn()
	}
	d.left--
	return d.block[d.left]
}

// turn goes on to the next block and has the one after it drawn. The goroutine that draws ends
// with its block, wanted or not, so nobody need end it.
func (d *Draws[T]) turn() {
	free := d.block
	d.block = <-d.next
	if d.block == nil {
		d.block = d.fill(make([]T, firstBlock))
	}
	d.left = len(d.block)
	if len(free) < longestBlock {
		free = make([]T, min(2*len(d.block), longestBlock))
	}
	task.Go(func() { d.next <- d.fill(free) })
}

// fill draws a block, the last figure first: counting down what is left is all that Next does.
func (d *Draws[T]) fill(block []T) []T {
	for i := len(block) - 1; i >= 0; i-- {
		block[i] = d.draw()
	}
	return block
}
