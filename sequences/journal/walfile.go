package journal

import (
	"encoding/binary"
	"hash/crc32"
	"io"
)

// The write-ahead file is read here as SQLite's page "WAL-mode File Format" has it, so that
// what SQLite believes to have written can be compared with what the disk holds.

const (
	walHead     = 32 // bytes of the file's header
	frameHead   = 24 // bytes of a frame's header, before its page
	walMagic    = 0x377f0682
	framesAhead = 64 // that are read together
)

// castagnoli is the table of the sums by which pages are known again.
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// sumOf returns a page's sum, which is never 0.
func sumOf(page []byte) uint32 { return max(1, crc32.Checksum(page, castagnoli)) }

// frame is one page in the write-ahead file.
type frame struct {
	page   uint32 // its number, from 1
	commit bool   // the last one of a transaction
	sum    uint32 // of its content, by sumOf
}

// generation is what the write-ahead file holds since it was last begun from its start.
type generation struct {
	head   [walHead]byte
	frames []frame
	sum    [2]uint32 // SQLite's, over all of it
}

func (g *generation) salts() [8]byte { return [8]byte(g.head[16:24]) }

// order is the byte order of SQLite's sums.
func (g *generation) order() binary.ByteOrder {
	if g.head[3]&1 != 0 {
		return binary.BigEndian
	}
	return binary.LittleEndian
}

// sound reports whether a header is that of a write-ahead file with pages of a size.
func (g *generation) sound(pageSize int) bool {
	b := binary.BigEndian
	sum := addSum(g.order(), [2]uint32{}, g.head[:24])
	return b.Uint32(g.head[0:])&^1 == walMagic && int(b.Uint32(g.head[8:])) == pageSize &&
		b.Uint32(g.head[24:]) == sum[0] && b.Uint32(g.head[28:]) == sum[1]
}

// addSum adds bytes, eight by eight, to one of SQLite's sums.
func addSum(order binary.ByteOrder, sum [2]uint32, b []byte) [2]uint32 {
	if order == binary.LittleEndian { // which the compiler then makes one load
		for ; len(b) >= 8; b = b[8:] {
			sum[0] += binary.LittleEndian.Uint32(b) + sum[1]
			sum[1] += binary.LittleEndian.Uint32(b[4:]) + sum[0]
		}
		return sum
	}
	for ; len(b) >= 8; b = b[8:] {
		sum[0] += order.Uint32(b) + sum[1]
		sum[1] += order.Uint32(b[4:]) + sum[0]
	}
	return sum
}

func frameAt(n, pageSize int) int64 { return walHead + int64(n)*int64(frameHead+pageSize) }

// extend reads the frames that the generation lacks of so many. It reports whether each of
// them is what SQLite wrote after the one before it.
func (g *generation) extend(f io.ReaderAt, count, pageSize int, buf []byte) (sound bool, err error) {
	size := frameHead + pageSize
	for len(g.frames) < count {
		n := min(framesAhead, count-len(g.frames))
		b := buf[:n*size]
		if _, err := f.ReadAt(b, frameAt(len(g.frames), pageSize)); err != nil {
			return false, err
		}
		for ; len(b) > 0; b = b[size:] {
			if [8]byte(b[8:16]) != g.salts() {
				return false, nil
			}
			g.sum = addSum(g.order(), g.sum, b[:8])
			g.sum = addSum(g.order(), g.sum, b[frameHead:size])
			if binary.BigEndian.Uint32(b[16:]) != g.sum[0] || binary.BigEndian.Uint32(b[20:]) != g.sum[1] {
				return false, nil
			}
			g.frames = append(g.frames, frame{page: binary.BigEndian.Uint32(b), commit: binary.BigEndian.Uint32(b[4:]) != 0, sum: sumOf(b[frameHead:size])})
		}
	}
	return true, nil
}

// unchanged returns how many frames from one on still hold what they held when they were
// read, and hands each on. It stops at the first that does not, or that use refuses.
func (g *generation) unchanged(f io.ReaderAt, from, to, pageSize int, buf []byte, use func(b []byte) error) (upTo int, err error) {
	size := frameHead + pageSize
	for from < to {
		n := min(framesAhead, to-from)
		b := buf[:n*size]
		if _, err := f.ReadAt(b, frameAt(from, pageSize)); err != nil {
			return from, nil
		}
		for ; len(b) > 0; b = b[size:] {
			if fr := g.frames[from]; [8]byte(b[8:16]) != g.salts() || binary.BigEndian.Uint32(b) != fr.page || sumOf(b[frameHead:size]) != fr.sum {
				return from, nil
			}
			if use != nil {
				if err := use(b[:size]); err != nil {
					return from, err
				}
			}
			from++
		}
	}
	return from, nil
}
