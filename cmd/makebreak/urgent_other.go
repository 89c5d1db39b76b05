//go:build !linux

package main

// urgent does nothing: there is no real rig to be in time for.
func urgent() (calm func()) { return func() {} }

// patient does nothing: there is nobody to let go first.
func patient() {}

// smallPages does nothing: how memory is paged matters to nobody.
func smallPages() {}
