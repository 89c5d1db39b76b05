package words

import (
	"fmt"
	"io"
	"regexp"
	"sync"
	"unicode/utf16"
	"unicode/utf8"
)

// A Writer passes text on to W so that none of it is obeyed by a terminal or hidden from the
// reader. It is the last gate of a way out: what is not printable is escaped, as Safe does it,
// whoever wrote it. Line feeds and tabs pass, and a carriage return before a line feed. It
// may be used from several goroutines.
type Writer struct {
	W io.Writer
	// JSON says that the text is JSON, in which a character is escaped as JSON has it. Whoever
	// reads it gets the text as it was.
	JSON bool
	// Colours lets through the colours of verdicts.
	Colours bool
	// Whole says that no character is ever split between two writes.
	Whole bool
	// MostLine is how many bytes of a line pass; what follows is left out, and … says so. 0: all.
	MostLine int

	mu   sync.Mutex // guards what follows
	rest []byte     // not passed on yet: the beginning of something longer
	out  []byte
	line int // bytes of the line so far
}

// colours are the escape sequences that reports use, and their beginnings.
var (
	colours      = regexp.MustCompile(`^\x1b\[(0|1|3[123]|1;3[123])m`)
	colourBegins = regexp.MustCompile(`^\x1b(\[[0-9;]{0,4})?$`)
)

// Write passes text on. The number is of the bytes given.
func (w *Writer) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	b := p
	if len(w.rest) > 0 {
		b = append(w.rest, p...)
	}
	taken := w.take(b, w.Whole)
	err := w.passOn()
	w.rest = append(w.rest[:0:0], b[taken:]...)
	if err != nil {
		return 0, err
	}
	return len(p), nil
}

// Flush passes on what the last Write kept back.
func (w *Writer) Flush() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.take(w.rest, true)
	w.rest = nil
	return w.passOn()
}

func (w *Writer) passOn() error {
	if len(w.out) == 0 {
		return nil
	}
	_, err := w.W.Write(w.out)
	w.out = w.out[:0]
	return err
}

// take makes the text safe and returns how much of it was taken. At the end, all is.
func (w *Writer) take(b []byte, end bool) int {
	for i := 0; i < len(b); {
		n := 0
		for i+n < len(b) && plain[b[i+n]] {
			n++
		}
		if w.addPlain(b[i : i+n]); i+n == len(b) {
			break
		}
		i += n
		before := len(w.out)
		n, whole := w.next(b[i:])
		if !whole && !end {
			return i
		}
		w.add(b[i : i+n])
		w.measure(before)
		i += n
	}
	return len(b)
}

// plain are the bytes that pass as they are.
var plain = func() (all [256]bool) {
	for c := range all {
		all[c] = c >= ' ' && c < 0x7f || c == '\n' || c == '\t'
	}
	return all
}()

// addPlain adds plain bytes.
func (w *Writer) addPlain(b []byte) {
	if w.MostLine == 0 {
		w.out = append(w.out, b...)
		return
	}
	for _, c := range b {
		w.out = append(w.out, c)
		w.measure(len(w.out) - 1)
	}
}

// measure counts what was added to the line, and takes back what is too much of it.
func (w *Writer) measure(before int) {
	if w.MostLine == 0 {
		return
	}
	added := len(w.out) - before
	switch {
	case w.out[len(w.out)-1] == '\n':
		w.line = 0
	case w.line > w.MostLine:
		w.out = w.out[:before]
	case w.line+added > w.MostLine:
		w.out = append(w.out[:before], "…"...)
		fallthrough
	default:
		w.line += added
	}
}

// next is how long the next character or mark is, and whether it is all there.
func (w *Writer) next(b []byte) (n int, whole bool) {
	switch {
	case b[0] == '\r':
		if len(b) > 1 && b[1] == '\n' {
			return 2, true
		}
		return 1, len(b) > 1
	case b[0] == 0x1b && w.Colours:
		if mark := colours.Find(b); mark != nil {
			return len(mark), true
		}
		return 1, !colourBegins.Match(b)
	}
	_, n = utf8.DecodeRune(b)
	return n, utf8.FullRune(b)
}

// add adds one character or mark.
func (w *Writer) add(b []byte) {
	r, _ := utf8.DecodeRune(b)
	switch {
	case len(b) > 1 && (b[0] == '\r' || b[0] == 0x1b):
		w.out = append(w.out, b...)
	case !w.JSON:
		w.out = append(w.out, escaped(r, string(b))...)
	case Printable(r) && !(r == utf8.RuneError && len(b) == 1):
		w.out = append(w.out, b...)
	case r > 0xffff:
		high, low := utf16.EncodeRune(r)
		w.out = fmt.Appendf(w.out, `\u%04x\u%04x`, high, low)
	default:
		w.out = fmt.Appendf(w.out, `\u%04x`, r)
	}
}
