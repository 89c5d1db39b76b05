package sequences

import (
	"bytes"
	"regexp"
)

// FileKind is what a file that the user names is for.
type FileKind string

// The kinds, as they are named to the user.
const (
	SequenceFile FileKind = "a sequence"
	RigFile      FileKind = "a rig file"
	CaptureFile  FileKind = "a capture"
)

var (
	sequenceKeys = regexp.MustCompile(`(?m)^(steps|baseline|cycles)[ \t]*:`)
	rigKeys      = regexp.MustCompile(`(?m)^(bus|bus_speed|chips|drives|contacts)[ \t]*:`)
	captureHead  = []byte("time_s")
)

// FileKindOf tells the kind of a file by its text, also where the file has errors; empty
// where it may be any.
func FileKindOf(text []byte) FileKind {
	sequence, rig := sequenceKeys.Match(text), rigKeys.Match(text)
	switch {
	case bytes.HasPrefix(bytes.TrimLeft(text, "\ufeff\""), captureHead):
		return CaptureFile
	case sequence && !rig:
		return SequenceFile
	case rig && !sequence:
		return RigFile
	}
	return ""
}
