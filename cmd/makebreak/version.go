package main

import (
	"sync"

	"github.com/spf13/cobra"

	programs "makebreak/rig/version"
)

// release is what a release's build gives itself: -ldflags "-X main.release=v1.2.0".
var release string

// version says which code this is, for every record.
var version = sync.OnceValue(func() string { return programs.Program(release) })

func init() { cobra.AddTemplateFunc("program", version) }
