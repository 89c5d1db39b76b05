package gpioline

import (
	"encoding/binary"
	"fmt"
	"unsafe"

	"makebreak/rig/capture"
	"makebreak/rig/line"
)

// The structures and numbers of include/uapi/linux/gpio.h, version 2. They
// have no implicit padding, so they are laid out alike on 32 and 64 bit
// machines.

const (
	nameLen     = 32 // GPIO_MAX_NAME_SIZE
	maxLines    = 64 // GPIO_V2_LINES_MAX
	maxAttrs    = 10 // GPIO_V2_LINE_NUM_ATTRS_MAX
	eventLen    = 48 // sizeof(struct gpio_v2_line_event)
	eventsAt    = 64 // events taken by one read
	eventRising = 1  // GPIO_V2_LINE_EVENT_RISING_EDGE
	eventFall   = 2  // GPIO_V2_LINE_EVENT_FALLING_EDGE
	attrOutputs = 2  // GPIO_V2_LINE_ATTR_ID_OUTPUT_VALUES
)

// Line flags, GPIO_V2_LINE_FLAG_*.
const (
	flagUsed uint64 = 1 << iota
	flagActiveLow
	flagInput
	flagOutput
	flagEdgeRising
	flagEdgeFalling
	flagOpenDrain
	flagOpenSource
	flagPullUp
	flagPullDown
	flagPullNone
)

type chipInfo struct {
	name  [nameLen]byte
	label [nameLen]byte
	lines uint32
}

type lineAttr struct {
	id      uint32
	padding uint32
	value   uint64 // flags, values or debounce period, by id
}

type configAttr struct {
	attr lineAttr
	mask uint64
}

type lineConfig struct {
	flags    uint64
	numAttrs uint32
	padding  [5]uint32
	attrs    [maxAttrs]configAttr
}

type lineRequest struct {
	offsets         [maxLines]uint32
	consumer        [nameLen]byte
	config          lineConfig
	numLines        uint32
	eventBufferSize uint32
	padding         [5]uint32
	fd              int32
}

type lineValues struct {
	bits, mask uint64
}

type lineInfo struct {
	name     [nameLen]byte
	consumer [nameLen]byte
	offset   uint32
	numAttrs uint32
	flags    uint64
	attrs    [maxAttrs]lineAttr
	padding  [4]uint32
}

// The compiler refuses a machine on which a structure is not what the kernel
// expects.
var (
	_ [68]byte  = [unsafe.Sizeof(chipInfo{})]byte{}
	_ [592]byte = [unsafe.Sizeof(lineRequest{})]byte{}
	_ [16]byte  = [unsafe.Sizeof(lineValues{})]byte{}
	_ [256]byte = [unsafe.Sizeof(lineInfo{})]byte{}
	_ [588]byte = [unsafe.Offsetof(lineRequest{}.fd)]byte{}
)

// Request numbers: _IOR and _IOWR of asm-generic/ioctl.h with the type 0xB4.
const (
	iocRead  = 2 << 30
	iocWrite = 1 << 30
	iocType  = 0xB4 << 8

	getChipInfo   = iocRead | 68<<16 | iocType | 0x01
	getLineInfo   = iocRead | iocWrite | 256<<16 | iocType | 0x05
	getLine       = iocRead | iocWrite | 592<<16 | iocType | 0x07
	getLineValues = iocRead | iocWrite | 16<<16 | iocType | 0x0E
	setLineValues = iocRead | iocWrite | 16<<16 | iocType | 0x0F
)

// newRequest returns the kernel's request for one line.
func newRequest(offset int, l line.Line, role line.Role) (*lineRequest, error) {
	req := &lineRequest{numLines: 1}
	req.offsets[0] = uint32(offset)
	copy(req.consumer[:nameLen-1], Consumer)
	flags, err := lineFlags(l, role)
	if err != nil {
		return nil, err
	}
	req.config.flags = flags
	if role == line.Drive {
		// The value goes out together with the direction: value 0 of line 0.
		req.config.numAttrs = 1
		req.config.attrs[0] = configAttr{attr: lineAttr{id: attrOutputs, value: 0}, mask: 1}
		return req, nil
	}
	req.eventBufferSize = QueueLen
	return req, nil
}

func lineFlags(l line.Line, role line.Role) (uint64, error) {
	flags := flagInput | flagEdgeRising | flagEdgeFalling
	switch role {
	case line.Drive:
		flags = flagOutput
	case line.Ready:
		// A converter's ready pulse is some 8 µs long and over before the kernel
		// looks at the level, so that with both edges asked for it would be
		// reported as "inactive". With one edge the kernel does not look.
		flags = flagInput | flagEdgeRising
	}
	if l.ActiveLow {
		flags |= flagActiveLow
	}
	switch l.Pull {
	case line.PullUp:
		flags |= flagPullUp
	case line.PullDown:
		flags |= flagPullDown
	case line.PullKept:
	case line.PullNone, "":
		if role != line.Drive {
			flags |= flagPullNone
		}
	default:
		return 0, fmt.Errorf("pull %q: may be %q, %q or %q", l.Pull, line.PullNone, line.PullUp, line.PullDown)
	}
	return flags, nil
}

// appendEvents appends the edges in data, as many whole events as a read of a
// line's descriptor gave.
func appendEvents(buf []line.Edge, index int, data []byte) ([]line.Edge, error) {
	if len(data)%eventLen != 0 {
		return buf, fmt.Errorf("%d bytes read, not a multiple of an event's %d", len(data), eventLen)
	}
	for ; len(data) > 0; data = data[eventLen:] {
		e, err := decodeEvent(data)
		if err != nil {
			return buf, err
		}
		e.Line = index
		buf = append(buf, e)
	}
	return buf, nil
}

// decodeEvent reads one struct gpio_v2_line_event; data holds at least
// eventLen bytes.
func decodeEvent(data []byte) (line.Edge, error) {
	at := binary.NativeEndian.Uint64(data)
	id := binary.NativeEndian.Uint32(data[8:])
	seq := binary.NativeEndian.Uint32(data[20:])
	if id != eventRising && id != eventFall {
		return line.Edge{}, fmt.Errorf("event of kind %d read: may be %d (rising) or %d (falling)", id, eventRising, eventFall)
	}
	if int64(at) < 0 {
		return line.Edge{}, fmt.Errorf("event with the time stamp %d ns, beyond the clock's range", at)
	}
	return line.Edge{At: capture.Instant(at), Active: id == eventRising, Seq: seq}, nil
}

// info returns the kernel's words about a line in the project's.
func (i *lineInfo) info() LineInfo {
	out := LineInfo{
		Offset:    int(i.offset),
		Name:      text(i.name),
		Used:      i.flags&flagUsed != 0,
		Consumer:  text(i.consumer),
		Output:    i.flags&flagOutput != 0,
		ActiveLow: i.flags&flagActiveLow != 0,
	}
	switch {
	case i.flags&flagPullUp != 0:
		out.Pull = line.PullUp
	case i.flags&flagPullDown != 0:
		out.Pull = line.PullDown
	case i.flags&flagPullNone != 0:
		out.Pull = line.PullNone
	}
	return out
}

// text returns a kernel name up to its terminating zero.
func text(b [nameLen]byte) string {
	n := 0
	for n < len(b) && b[n] != 0 {
		n++
	}
	return string(b[:n])
}
