package sequences

import (
	"context"
	"embed"

	"makebreak/rig/yamlfile"
)

//go:embed builtin/*.yaml
var files embed.FS

// order is that in which the built-in sequences are listed.
var order = []string{"armed-high", "armed-low", "armed-pulse", "exit-delay", "alarm-latch", "arming-chirps", "entry-buzzer", "strobe", "all-quiet", "relay-only", "relay-supply"}

var library = yamlfile.Library[*Sequence]{Kind: "sequence", Files: files, Names: order, Parse: parseNew}

// Builtin returns the built-in sequences.
func Builtin() []*Sequence { return library.Builtin() }

// Load reads a sequence: a built-in name first, then a file. Where there is neither,
// the error lists the built-in names and wraps fs.ErrNotExist.
// Waiting for a pipe ends with the context.
func Load(ctx context.Context, nameOrPath string) (*Sequence, error) {
	return library.Load(ctx, nameOrPath)
}

// parseNew reads a sequence that is to judge something from now on.
func parseNew(_ context.Context, file string, src []byte) (*Sequence, error) {
	s, err := Parse(file, src)
	if err == nil {
		err = s.judged()
	}
	if err != nil {
		return nil, err
	}
	return s, nil
}
