package capture_test

import (
	"errors"
	"io"

	"makebreak/rig/capture"
	"makebreak/rig/capture/csvfile"
)

func init() {
	capture.ReadCSV = func(r io.Reader) (*capture.Capture, error) {
		rd, err := csvfile.NewReader(r, "in.csv", 0)
		for err == nil {
			_, err = rd.Next()
		}
		if !errors.Is(err, io.EOF) {
			return nil, err
		}
		return rd.Capture(), nil
	}
}
