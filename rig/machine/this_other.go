//go:build !linux

package machine

import "os"

// This is the system that the program runs on.
func This() System { return System{Root: os.DirFS("/")} }
