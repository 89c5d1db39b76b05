package i2cbus

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/capture"
)

// Speed is a bus's clock as it was measured.
type Speed struct {
	// Hz is the bus clock in hertz. With Faster it is a lower bound: the clock takes less
	// time than could be told from none.
	Hz     float64
	Faster bool
	// Doubt is the standard uncertainty of Hz as a share of it, from the scatter.
	Doubt float64
	// Overhead is what a transfer takes besides its bits: the driver's way there and back.
	// Least is that of the quickest transfer. With Faster the bits are in them.
	Overhead, Least time.Duration
}

// Reads of two lengths are timed in turn. The longer one takes 30 bytes of nine clocks
// more, and all else that a transfer takes is the same in both: start, address, stop,
// and the driver's way there and back.
const (
	shortRead, longRead = 2, 32
	moreClocks          = 9 * (longRead - shortRead)
	shortBits           = 9*(1+shortRead) + 2 // its address, a start and a stop as well
)

// How many pairs of reads are timed. Few take some 15 ms at 400 kHz, and are enough for how
// much a bus carries; a scatter shows with many.
const (
	ManyReads = 25
	FewReads  = 7
)

// fastestMode is high-speed mode (NXP UM10204), beyond which no bus of these chips goes.
const fastestMode = 3.4e6

// MeasureSpeed measures a bus's clock by reading, so many times, from a chip that answers, and
// what a transfer takes besides. Only reads are made, from the register that the chip stands at; longer ones than its register has
// bytes give ones. The clock is the one that now reads.
func MeasureSpeed(bus i2c.Bus, addr uint16, reads int, now func() capture.Instant) (Speed, error) {
	var short, long []float64
	var buf [longRead]byte
	for range reads {
		for _, n := range []int{shortRead, longRead} {
			began := now()
			if err := bus.Tx(addr, nil, buf[:n]); err != nil {
				return Speed{}, err
			}
			took := now().Sub(began).Seconds()
			if n == shortRead {
				short = append(short, took)
			} else {
				long = append(long, took)
			}
		}
	}
	return speedOf(short, long), nil
}

// speedOf is the clock by what the shorter and the longer reads took, in seconds: time grows
// with the bits by a straight line, through the medians.
func speedOf(short, long []float64) Speed {
	s, sDoubt := middle(short)
	l, lDoubt := middle(long)
	more, doubt := l-s, math.Hypot(sDoubt, lDoubt)
	if more <= 3*doubt || more <= moreClocks/fastestMode {
		return Speed{Hz: min(moreClocks/max(more+2*doubt, 0), fastestMode), Faster: true, Overhead: seconds(s), Least: seconds(slices.Min(short))}
	}
	hz := moreClocks / more
	besides := func(took float64) time.Duration { return seconds(took - shortBits/hz) }
	return Speed{Hz: hz, Doubt: doubt / more, Overhead: besides(s), Least: besides(slices.Min(short))}
}

// seconds is a time that is not below zero.
func seconds(v float64) time.Duration { return time.Duration(max(v, 0) * 1e9) }

// middle returns the median of some values, with its standard uncertainty by the median
// of their deviations (both factors are those of a normal distribution, textbook). A
// transfer that was held up now and then moves neither.
func middle(values []float64) (median, doubt float64) {
	half := func(v []float64) float64 {
		v = slices.Clone(v)
		slices.Sort(v)
		return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
	}
	median = half(values)
	off := make([]float64, len(values))
	for i, v := range values {
		off[i] = math.Abs(v - median)
	}
	return median, 1.4826 * half(off) * math.Sqrt(math.Pi/2/float64(len(values)))
}

// TreeHz returns the bus's clock in hertz as the device tree asks for it. It is false
// where the tree does not say, or there is none.
func TreeHz(bus fmt.Stringer) (hz int, ok bool) {
	return treeHz("/sys/class/i2c-adapter", bus.String())
}

// TreeHzOf is TreeHz for a bus by its name, as OpenBus takes it.
func TreeHzOf(name string) (hz int, ok bool) {
	return treeHz("/sys/class/i2c-adapter", nodeOf(name))
}

func treeHz(adapters, node string) (int, bool) {
	number, isNode := strings.CutPrefix(node, nodePrefix)
	if !isNode {
		return 0, false
	}
	b, err := os.ReadFile(filepath.Join(adapters, "i2c-"+number, "of_node", "clock-frequency"))
	if err != nil || len(b) != 4 {
		return 0, false
	}
	return int(binary.BigEndian.Uint32(b)), true
}
