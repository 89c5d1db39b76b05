package tally

import (
	"bytes"
	"encoding/gob"
	"errors"
	"fmt"
	"hash/crc32"

	"makebreak/analyze/trend"
)

// magic begins a state; its last byte is the version.
const magic = "tally\x00\x03"

// ErrState says that bytes are not a tally's state, or one of another version. The
// tally can then be made again from the figures.
var ErrState = errors.New("not a tally's state, or one of another version")

// MarshalBinary returns the whole state. A tally read back from it goes on exactly
// as the original would.
func (t *Tally) MarshalBinary() ([]byte, error) {
	var b bytes.Buffer
	b.WriteString(magic)
	b.Write(make([]byte, 4))
	type plain Tally // without its methods, lest the encoder come back here
	if err := gob.NewEncoder(&b).Encode((*plain)(t)); err != nil {
		return nil, fmt.Errorf("state of a tally: %w", err)
	}
	out := b.Bytes()
	body := out[len(magic)+4:]
	sum := crc32.ChecksumIEEE(body)
	for i := range 4 {
		out[len(magic)+i] = byte(sum >> (8 * i))
	}
	return out, nil
}

// UnmarshalBinary replaces the tally by a state that MarshalBinary wrote. On an
// error the tally stays as it was.
func (t *Tally) UnmarshalBinary(data []byte) error {
	head := len(magic) + 4
	if len(data) < head || string(data[:len(magic)]) != magic {
		return ErrState
	}
	sum := uint32(0)
	for i := range 4 {
		sum |= uint32(data[len(magic)+i]) << (8 * i)
	}
	if crc32.ChecksumIEEE(data[head:]) != sum {
		return ErrState
	}
	type plain Tally
	var p plain
	if err := gob.NewDecoder(bytes.NewReader(data[head:])).Decode(&p); err != nil {
		return fmt.Errorf("%w: %w", ErrState, err)
	}
	if p.Outcomes == nil || !sound(p.Failed) {
		return ErrState
	}
	p.index = map[Key]*Row{}
	for _, x := range p.Rows {
		if x == nil || x.Trend == nil || !sound(x.Failed) {
			return ErrState
		}
		p.index[x.Key] = x
	}
	*t = Tally(p)
	return nil
}

func sound(m *trend.Marks) bool { return m == nil || m.Sound() }
