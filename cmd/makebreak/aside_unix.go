//go:build unix

package main

import "syscall"

// aside keeps what is typed at the terminal, Ctrl-C say, from a process.
func aside() *syscall.SysProcAttr { return &syscall.SysProcAttr{Setpgid: true} }
