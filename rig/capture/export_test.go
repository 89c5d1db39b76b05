package capture

import "io"

// ReadCSV reads a file of comma separated values. The package that can is built on this one
// and sets it, so that tests in here have the captures with known truth.
var ReadCSV func(io.Reader) (*Capture, error)
