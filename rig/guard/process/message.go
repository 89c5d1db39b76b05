package process

import (
	"errors"
	"strconv"
)

// The program and its guard write each other messages, one a packet. A message begins with
// its kind.
const (
	Watch   = 'w' // number, acts and alarms, with their descriptors; answered
	Unwatch = 'u' // number; answered once the acts are done and the descriptors closed
	Keep    = 'k' // where a report of the program's end goes, and what it says of the program
	End     = 'e' // the program ends as it should
)

// LongestMessage is beyond any message, in bytes.
const LongestMessage = 64 << 10

// MostDescriptors is how many descriptors the kernel takes with a message (SCM_MAX_FD).
const MostDescriptors = 253

// An Act puts one thing at rest: a drive, or a chip on a bus.
type Act struct {
	Descriptor int
	// Ioctl is the number of the call whose argument Bytes are; 0: they are written.
	Ioctl uint32
	Bytes []byte
}

// WatchMessage tells of what must be put at rest when the program ends or an alarm goes off.
// The descriptors of the acts, then those of the alarms, go with it.
func WatchMessage(number int, acts []Act, alarms int) []byte {
	m := putNumber([]byte{Watch}, number)
	m = putNumber(m, alarms)
	for _, a := range acts {
		m = putNumber(m, int(a.Ioctl))
		m = putText(m, string(a.Bytes))
	}
	return m
}

// UnwatchMessage takes a WatchMessage back.
func UnwatchMessage(number int) []byte { return putNumber([]byte{Unwatch}, number) }

// KeepMessage says where a report of the program's end goes, and what it says of the program.
func KeepMessage(r Report) []byte {
	m := []byte{Keep}
	for _, text := range []string{r.Path, r.Program, r.Run} {
		m = putText(m, text)
	}
	return m
}

// Rested is the number of an answer that nothing asked for: the guard has put things at rest by
// itself, and goes on with that.
const Rested = 0

// AnswerMessage answers a message: empty text says that it was done.
func AnswerMessage(number int, failed string) []byte {
	return putText(putNumber(nil, number), failed)
}

// Answer reads what AnswerMessage made.
func Answer(m []byte) (number int, failed string, err error) {
	r := reader{m: m}
	number, failed = r.number(), r.text()
	return number, failed, r.end()
}

// putNumber appends a number of 32 bits.
func putNumber(m []byte, n int) []byte {
	return append(m, byte(n>>24), byte(n>>16), byte(n>>8), byte(n))
}

func putText(m []byte, text string) []byte { return append(putNumber(m, len(text)), text...) }

// reader takes a message apart.
type reader struct {
	m   []byte
	bad bool
}

func (r *reader) number() int {
	if len(r.m) < 4 {
		r.bad, r.m = true, nil
		return 0
	}
	n := int(uint32(r.m[0])<<24 | uint32(r.m[1])<<16 | uint32(r.m[2])<<8 | uint32(r.m[3]))
	r.m = r.m[4:]
	return n
}

func (r *reader) text() string {
	n := r.number()
	if n < 0 || n > len(r.m) {
		r.bad, r.m = true, nil
		return ""
	}
	text := string(r.m[:n])
	r.m = r.m[n:]
	return text
}

// end returns an error where the message was not as long as its parts.
func (r *reader) end() error {
	if r.bad || len(r.m) > 0 {
		return errors.New("a message of another form, with " + strconv.Itoa(len(r.m)) + " bytes left over")
	}
	return nil
}
