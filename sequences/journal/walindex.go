package journal

import (
	"encoding/binary"
	"errors"
	"io"
	"os"
	"sync"
	"syscall"
)

// The shared index is read here as SQLite's page "WAL-mode File Format", 2, has it. SQLite
// finds a page by it and does not look whether what it finds there is true: with an index
// that somebody has written over it goes on from pages that are out of date, and writes
// those. The index is in the machine's own byte order.

const (
	indexBlock  = 32 << 10
	indexHead   = 136                // bytes before the first block's page numbers
	blockFrames = 4096               // of each block
	firstFrames = 4096 - indexHead/4 // of the first
	hashSlots   = 8192
	hashFactor  = 383
)

// walIndex is the beginning of the shared index.
type walIndex struct {
	head     [48]byte
	pageSize int
	frames   int // that count
	pages    int // of the database
	sum      [2]uint32
	salts    [8]byte
	// So many frames are in the main file for certain, and so many somebody has begun to
	// bring there.
	backfilled, attempted int
}

// parse reads the beginning of the index. It reports whether it is one; while somebody
// writes it, it is none.
func (x *walIndex) parse(b []byte) (sound bool) {
	e := binary.NativeEndian
	x.head = [48]byte(b)
	if x.head != [48]byte(b[48:]) || b[12] == 0 {
		return false
	}
	size := int(e.Uint16(b[14:]))
	x.pageSize = size&0xfe00 | size&1<<16
	x.frames, x.pages = int(e.Uint32(b[16:])), int(e.Uint32(b[20:]))
	x.sum = [2]uint32{e.Uint32(b[24:]), e.Uint32(b[28:])}
	x.salts = [8]byte(b[32:])
	x.backfilled, x.attempted = int(e.Uint32(b[96:])), int(e.Uint32(b[128:]))
	var sum [2]uint32
	for c := b[:40]; len(c) > 0; c = c[8:] {
		sum[0] += e.Uint32(c) + sum[1]
		sum[1] += e.Uint32(c[4:]) + sum[0]
	}
	return sum == [2]uint32{e.Uint32(b[40:]), e.Uint32(b[44:])}
}

// blockOf returns the block of the index that a frame is in, from 0.
func blockOf(frame int) int {
	if frame < firstFrames {
		return 0
	}
	return 1 + (frame-firstFrames)/blockFrames
}

// findsIn reports whether a block of the index leads to each of the frames in it.
func findsIn(block int, b []byte, frames []frame) bool {
	e := binary.NativeEndian
	first, numbers := 0, b[:indexBlock/2]
	if block == 0 {
		numbers = numbers[indexHead:]
	} else {
		first = firstFrames + (block-1)*blockFrames
	}
	slots := b[indexBlock/2 : indexBlock]
	for i := first; i < min(len(frames), first+len(numbers)/4); i++ {
		page := frames[i].page
		if e.Uint32(numbers[4*(i-first):]) != page {
			return false
		}
		key, found := page*hashFactor%hashSlots, false
		for range hashSlots {
			at := int(e.Uint16(slots[2*key:]))
			if found = at == i-first+1; found || at == 0 {
				break
			}
			key = (key + 1) % hashSlots
		}
		if !found {
			return false
		}
	}
	return true
}

// indexes are the shared indexes that this program has open beside SQLite. Closing one would
// release the locks that SQLite has on it in this program, so that it is closed when the last
// log that uses it has been closed.
var indexes struct {
	sync.Mutex
	open []*sharedIndex
}

type sharedIndex struct {
	*os.File
	info  os.FileInfo
	users int
}

// openIndex opens the shared index at a path.
func openIndex(path string) (*sharedIndex, error) {
	indexes.Lock()
	defer indexes.Unlock()
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	for _, x := range indexes.open {
		if os.SameFile(x.info, info) {
			x.users++
			return x, nil
		}
	}
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	if info, err = f.Stat(); err != nil {
		return nil, err // left open: it must not be closed
	}
	x := &sharedIndex{File: f, info: info, users: 1}
	indexes.open = append(indexes.open, x)
	return x, nil
}

// release closes the index when nobody uses it any more.
func (x *sharedIndex) release() error {
	indexes.Lock()
	defer indexes.Unlock()
	if x.users--; x.users > 0 {
		return nil
	}
	for i := range indexes.open {
		if indexes.open[i] == x {
			indexes.open = append(indexes.open[:i], indexes.open[i+1:]...)
			break
		}
	}
	return x.Close()
}

// readFull reads so many bytes, or reports how many there are.
func readFull(f io.ReaderAt, b []byte, at int64) (n int, err error) {
	n, err = f.ReadAt(b, at)
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return n, err
}
