//go:build !linux

package board

// guardInput has nothing to guard: there are no GPIO character devices.
func guardInput() (restore func() error, err error) {
	return func() error { return nil }, nil
}
