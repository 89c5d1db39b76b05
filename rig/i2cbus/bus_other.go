//go:build !linux

package i2cbus

import (
	"errors"
	"fmt"

	"periph.io/x/conn/v3/i2c"
)

func openNode(node string) (i2c.BusCloser, error) {
	return nil, fmt.Errorf("%s: device nodes of I²C buses need Linux: %w", node, errors.ErrUnsupported)
}
