//go:build !unix

package main

import "syscall"

// aside leaves a process as it is.
func aside() *syscall.SysProcAttr { return nil }
