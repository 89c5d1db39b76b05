package capture

import (
	"encoding/binary"
	"math/bits"
)

// Numbers are packed in groups: one byte with the width of the group's largest
// number in bits, then the numbers of the group at that width, lowest bit first,
// in whole bytes. A group is short, so that one large number (a step, a gap) makes
// only its neighbours wide.
const (
	groupLen = 32
	// maxPacked is the widest that numbers are packed bit by bit; wider ones take
	// 8 bytes each and have the width wide.
	maxPacked = 32
	wide      = 64
)

// zigzag maps numbers of either sign and small size to small ones.
func zigzag(x int64) uint64 { return uint64(x)<<1 ^ uint64(x>>63) }

func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }

// appendPacked appends the numbers in groups.
func appendPacked(b []byte, all []uint64) []byte {
	for len(all) > 0 {
		group := all[:min(groupLen, len(all))]
		all = all[len(group):]
		used := uint64(0)
		for _, x := range group {
			used |= x
		}
		width := bits.Len64(used)
		if width > maxPacked {
			b = append(b, wide)
			for _, x := range group {
				b = binary.LittleEndian.AppendUint64(b, x)
			}
			continue
		}
		b = append(b, byte(width))
		if width > 0 {
			b = appendBits(b, group, uint(width))
		}
	}
	return b
}

// appendBits appends numbers of at most 32 bits at the width.
func appendBits(b []byte, group []uint64, width uint) []byte {
	var held uint64 // bits not yet appended, n of them
	var n uint
	for _, x := range group {
		held |= x << n
		if n += width; n >= 32 {
			b = binary.LittleEndian.AppendUint32(b, uint32(held))
			held >>= 32
			n -= 32
		}
	}
	for ; n > 0; n -= min(n, 8) {
		b = append(b, byte(held))
		held >>= 8
	}
	return b
}

// packed reads len(all) numbers from b and returns what follows them; ok is false
// where b ends too soon or holds no such numbers.
func packed(all []uint64, b []byte) (rest []byte, ok bool) {
	for len(all) > 0 {
		group := all[:min(groupLen, len(all))]
		all = all[len(group):]
		if len(b) == 0 {
			return b, false
		}
		width := uint(b[0])
		b = b[1:]
		switch {
		case width == wide:
			if len(b) < 8*len(group) {
				return b, false
			}
			for i := range group {
				group[i] = binary.LittleEndian.Uint64(b[8*i:])
			}
			b = b[8*len(group):]
		case width <= maxPacked:
			size := (int(width)*len(group) + 7) / 8
			if len(b) < size {
				return b, false
			}
			unpackBits(group, b[:size], width)
			b = b[size:]
		default:
			return b, false
		}
	}
	return b, true
}

// unpackBits reads numbers of at most 32 bits at the width, which b holds whole.
func unpackBits(group []uint64, b []byte, width uint) {
	mask := uint64(1)<<width - 1
	var held uint64
	var n uint
	for i := range group {
		for n < width {
			if len(b) >= 4 {
				held |= uint64(binary.LittleEndian.Uint32(b)) << n
				b = b[4:]
				n += 32
				break
			}
			held |= uint64(b[0]) << n
			b = b[1:]
			n += 8
		}
		group[i] = held & mask
		held >>= width
		n -= width
	}
}
