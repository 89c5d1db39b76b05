// Package i2cbus opens the I²C bus that the converters are on.
//
// The buses are found through periph. Transfers on a Linux bus are made here,
// because periph's own drop the errno, and the rig must tell a chip that does
// not answer from a bus that is stuck or has gone.
package i2cbus
