//go:build !linux

// Package kernelbench works the simulated hardware of the kernel bench's guest
// from tests. It needs Linux.
package kernelbench
