// Package i2cbus opens the I²C bus that the converters are on.
//
// It gives periph's bus interface, and buses that were registered with periph
// are found. The kernel's buses are opened and worked here: periph's transfers
// drop the errno, and the rig must tell a chip that does not answer from a bus
// that is stuck or has gone.
package i2cbus
