package gpioline

import (
	"bytes"
	"encoding/binary"
	"math"
	"strings"
	"testing"
	"unsafe"

	"makebreak/rig/line"
)

// Sizes, offsets and request numbers as a C compiler gives them for Linux's
// include/uapi/linux/gpio.h (printed with sizeof, offsetof and %x).
func TestLayout(t *testing.T) {
	var (
		chip  chipInfo
		attr  lineAttr
		cattr configAttr
		conf  lineConfig
		req   lineRequest
		info  lineInfo
	)
	cases := []struct {
		what      string
		got, want uintptr
	}{
		{"gpiochip_info", unsafe.Sizeof(chip), 68},
		{"gpiochip_info.label", unsafe.Offsetof(chip.label), 32},
		{"gpiochip_info.lines", unsafe.Offsetof(chip.lines), 64},
		{"gpio_v2_line_attribute", unsafe.Sizeof(attr), 16},
		{"gpio_v2_line_attribute.values", unsafe.Offsetof(attr.value), 8},
		{"gpio_v2_line_config_attribute", unsafe.Sizeof(cattr), 24},
		{"gpio_v2_line_config_attribute.mask", unsafe.Offsetof(cattr.mask), 16},
		{"gpio_v2_line_config", unsafe.Sizeof(conf), 272},
		{"gpio_v2_line_config.num_attrs", unsafe.Offsetof(conf.numAttrs), 8},
		{"gpio_v2_line_config.attrs", unsafe.Offsetof(conf.attrs), 32},
		{"gpio_v2_line_request", unsafe.Sizeof(req), 592},
		{"gpio_v2_line_request.consumer", unsafe.Offsetof(req.consumer), 256},
		{"gpio_v2_line_request.config", unsafe.Offsetof(req.config), 288},
		{"gpio_v2_line_request.num_lines", unsafe.Offsetof(req.numLines), 560},
		{"gpio_v2_line_request.event_buffer_size", unsafe.Offsetof(req.eventBufferSize), 564},
		{"gpio_v2_line_request.fd", unsafe.Offsetof(req.fd), 588},
		{"gpio_v2_line_values", unsafe.Sizeof(lineValues{}), 16},
		{"gpio_v2_line_info", unsafe.Sizeof(info), 256},
		{"gpio_v2_line_info.consumer", unsafe.Offsetof(info.consumer), 32},
		{"gpio_v2_line_info.offset", unsafe.Offsetof(info.offset), 64},
		{"gpio_v2_line_info.flags", unsafe.Offsetof(info.flags), 72},
		{"gpio_v2_line_info.attrs", unsafe.Offsetof(info.attrs), 80},
		{"GPIO_GET_CHIPINFO_IOCTL", getChipInfo, 0x8044b401},
		{"GPIO_V2_GET_LINEINFO_IOCTL", getLineInfo, 0xc100b405},
		{"GPIO_V2_GET_LINE_IOCTL", getLine, 0xc250b407},
		{"GPIO_V2_LINE_GET_VALUES_IOCTL", getLineValues, 0xc010b40e},
		{"GPIO_V2_LINE_SET_VALUES_IOCTL", setLineValues, 0xc010b40f},
	}
	for _, c := range cases {
		if c.got != c.want {
			t.Errorf("%s: %d (%#x), want %d (%#x)", c.what, c.got, c.got, c.want, c.want)
		}
	}
}

// The bytes that reach the kernel, against the header's layout and flags.
func TestNewRequest(t *testing.T) {
	const (
		activeLow, input, output  = 1 << 1, 1 << 2, 1 << 3
		both                      = 1<<4 | 1<<5
		pullUp, pullDown, pullOff = 1 << 8, 1 << 9, 1 << 10
	)
	cases := []struct {
		name  string
		line  line.Line
		role  line.Role
		flags uint64
	}{
		{"contact", line.Line{Pull: line.PullUp, ActiveLow: true}, line.Contact, input | both | pullUp | activeLow},
		{"reference", line.Line{Pull: line.PullDown}, line.Reference, input | both | pullDown},
		{"ready line", line.Line{Pull: line.PullNone}, line.Ready, input | 1<<4 | pullOff},
		{"pull not said", line.Line{}, line.Contact, input | both | pullOff},
		{"drive", line.Line{Pull: line.PullNone}, line.Drive, output},
		{"drive, active low", line.Line{ActiveLow: true, Pull: line.PullUp}, line.Drive, output | activeLow | pullUp},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			req, err := newRequest(17, c.line, c.role)
			if err != nil {
				t.Fatal(err)
			}
			want := make([]byte, 592)
			le := binary.NativeEndian
			le.PutUint32(want[0:], 17)
			copy(want[256:], "makebreak")
			le.PutUint64(want[288:], c.flags)
			le.PutUint32(want[560:], 1)
			if c.role == line.Drive {
				le.PutUint32(want[296:], 1) // one attribute:
				le.PutUint32(want[320:], 2) // output values,
				le.PutUint64(want[336:], 1) // of line 0, all inactive
			} else {
				le.PutUint32(want[564:], 1024)
			}
			got := unsafe.Slice((*byte)(unsafe.Pointer(req)), unsafe.Sizeof(*req))
			for i := range want {
				if got[i] != want[i] {
					t.Fatalf("byte %d: %#02x, want %#02x", i, got[i], want[i])
				}
			}
		})
	}
	if _, err := newRequest(0, line.Line{Pull: "sideways"}, line.Contact); err == nil || !strings.Contains(err.Error(), `"sideways"`) {
		t.Errorf("an unknown pull: %v", err)
	}
}

// event writes a struct gpio_v2_line_event.
func event(at uint64, id, offset, seq, lineSeq uint32) []byte {
	b := make([]byte, eventLen)
	binary.NativeEndian.PutUint64(b, at)
	for i, v := range []uint32{id, offset, seq, lineSeq} {
		binary.NativeEndian.PutUint32(b[8+4*i:], v)
	}
	return b
}

func TestAppendEvents(t *testing.T) {
	first := line.Edge{Line: 9, At: 1, Active: true, Seq: 1}
	cases := []struct {
		name string
		data []byte
		want []line.Edge
		err  string
	}{
		{name: "nothing"},
		{
			name: "two edges",
			data: append(event(1_000_000_007, 1, 3, 40, 7), event(math.MaxInt64, 2, 3, 41, 8)...),
			want: []line.Edge{{Line: 2, At: 1_000_000_007, Active: true, Seq: 7}, {Line: 2, At: math.MaxInt64, Seq: 8}},
		},
		{name: "half an event", data: event(1, 1, 0, 1, 1)[:24], err: "24 bytes"},
		{
			name: "a good one, then an unknown kind",
			data: append(event(5, 1, 0, 1, 1), event(6, 3, 0, 2, 2)...),
			want: []line.Edge{{Line: 2, At: 5, Active: true, Seq: 1}},
			err:  "kind 3",
		},
		{name: "a time beyond the clock", data: event(1<<63, 1, 0, 1, 1), err: "time stamp"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got, err := appendEvents([]line.Edge{first}, 2, c.data)
			if c.err == "" && err != nil || c.err != "" && (err == nil || !strings.Contains(err.Error(), c.err)) {
				t.Errorf("error %v, want %q", err, c.err)
			}
			if len(got) != 1+len(c.want) || got[0] != first {
				t.Fatalf("got %v, want %v after the first", got, c.want)
			}
			for i, w := range c.want {
				if got[1+i] != w {
					t.Errorf("edge %d: %+v, want %+v", i, got[1+i], w)
				}
			}
		})
	}
}

// Whatever the bytes: no panic; either an error, or one edge an event that,
// written again, gives the bytes that count.
func FuzzAppendEvents(f *testing.F) {
	f.Add([]byte{})
	f.Add(event(123456789, 1, 4, 2, 1))
	f.Add(append(event(1, 1, 4, 1, 1), event(2, 2, 4, 2, 2)...))
	f.Add(event(1<<63, 2, 4, 2, 1))
	f.Add(event(1, 7, 4, 2, 1)[:47])
	f.Fuzz(func(t *testing.T, data []byte) {
		edges, err := appendEvents(nil, 5, data)
		if err != nil {
			return
		}
		if len(edges)*eventLen != len(data) {
			t.Fatalf("%d edges of %d bytes", len(edges), len(data))
		}
		for i, e := range edges {
			in := data[i*eventLen:][:eventLen]
			id := uint32(eventFall)
			if e.Active {
				id = eventRising
			}
			again := event(uint64(e.At), id, 0, 0, e.Seq)
			if e.Line != 5 || !bytes.Equal(again[:12], in[:12]) || !bytes.Equal(again[20:24], in[20:24]) {
				t.Fatalf("event %d: %+v of % x", i, e, in)
			}
		}
	})
}

func TestLineInfo(t *testing.T) {
	in := lineInfo{offset: 4, flags: flagUsed | flagActiveLow | flagOutput | flagPullDown}
	copy(in.name[:], "GPIO4")
	copy(in.consumer[:], strings.Repeat("x", 40)) // fills it without a terminator
	want := LineInfo{Offset: 4, Name: "GPIO4", Used: true, Consumer: strings.Repeat("x", 32), Output: true, ActiveLow: true, Pull: line.PullDown}
	if got := in.info(); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	for flag, want := range map[uint64]line.Pull{0: "", flagPullUp: line.PullUp, flagPullNone: line.PullNone} {
		in.flags = flag
		if got := in.info().Pull; got != want {
			t.Errorf("flags %#x: pull %q, want %q", flag, got, want)
		}
	}
}
